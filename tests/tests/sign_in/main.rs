//! Signing in at the program itself: over TLS with a real client, the first manager, people who
//! come and go while it runs, and connections that are slow or greedy.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod greedy;
mod plant;

use std::time::Duration;

use plant::Plant;
use serde_json::{Value, json};
use stencilward_domain::event::{Event, PeopleEvent, Role};
use stencilward_tests::child::Signal;
use stencilward_tests::wait::eventually;
use stencilward_tests::{ledger_read, said};

pub(crate) const LIMIT: Duration = Duration::from_secs(30);
const NEW: &str = "kettle orbit lamp sand";

#[tokio::test]
async fn beyond_loopback_it_needs_a_certificate() {
    let plant = Plant::new("0.0.0.0", "");
    let output = plant.command("run", &[]).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("add tls with a certificate and its key"), "{said}");
}

/// The first start makes one manager, whose password is told once and must be changed; with
/// nobody left, the gateway does not start, and says what to do.
#[tokio::test]
async fn the_first_manager_signs_in_over_tls() {
    let plant = Plant::secured("0.0.0.0");
    let Some(client) = plant.client() else { return };
    let mut gateway = plant.run().await;
    let password = said::after(&gateway.transcript(), "with the password ");
    assert_eq!(password.matches(|c: char| c.is_ascii_alphanumeric()).count(), 20, "{password}");

    // Nobody comes in without, nor without TLS.
    assert_eq!(client.get("/api/v1/stencils").0, 401);
    assert_eq!(client.get("/healthz").0, 200);
    let plain = stencilward_tests::http::get(plant.address(), "/healthz").await;
    assert!(plain.is_none_or(|answer| answer.status != 200), "plain HTTP is not answered");

    let sign_in = |password: &str| json!({ "name": "manager", "secret": password });
    assert_eq!(client.post("/api/v1/sign-in", &sign_in("not the password")).0, 401);
    let (status, said) = client.post("/api/v1/sign-in", &sign_in(&password));
    assert_eq!(status, 200, "{said}");
    let cookie = client.jar();
    assert!(cookie.contains("__Host-stencilward") && cookie.contains("#HttpOnly_"), "{cookie}");
    assert_eq!(client.get("/api/v1/stencils").0, 403, "first another password");
    let change = json!({ "old": password, "password": NEW });
    assert_eq!(client.post("/api/v1/me/secret", &change).0, 200);
    assert_eq!(client.get("/api/v1/stencils").0, 401, "signed out everywhere");
    assert_eq!(client.post("/api/v1/sign-in", &sign_in(NEW)).0, 200);
    assert_eq!(client.get("/api/v1/stencils").0, 200);
    gateway.stop();

    let mut again = plant.run().await;
    assert!(!again.transcript().contains("password"), "told once: {}", again.transcript());
    again.stop();

    std::fs::write(plant.path("plant.people.json"), r#"{"people": [], "turn": 9}"#).unwrap();
    let output = plant.command("run", &[]).output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success() && said.contains("stencilward people FILE admit"), "{said}");
}

/// A certificate is renewed without a restart; one that cannot be read changes nothing.
#[tokio::test]
async fn a_certificate_is_renewed() {
    let plant = Plant::secured("127.0.0.1");
    let Some(before) = plant.client() else { return };
    let mut gateway = plant.run().await;
    assert_eq!(before.get("/healthz").0, 200);
    std::fs::write(plant.path("own.pem"), "no certificate").unwrap();
    gateway.signal(Signal::HUP);
    gateway.line("that it stays", LIMIT, |line| line.contains("stays").then_some(())).await;
    assert_eq!(before.get("/healthz").0, 200);

    plant.certify();
    let after = plant.client().unwrap();
    assert_eq!(after.get("/healthz").0, 0, "the old one is still shown");
    gateway.signal(Signal::HUP);
    eventually("the new certificate", LIMIT, async || match after.get("/healthz").0 {
        200 => Ok(()),
        other => Err(other),
    })
    .await;
    gateway.stop();
}

/// People come, change and go while it runs, and all of it is in the ledger, without a secret.
#[tokio::test]
async fn people_come_and_go_while_it_runs() {
    let plant = Plant::new("127.0.0.1", "sign-in: { stations: [127.0.0.1] }\n");
    let mut gateway = plant.run().await;
    let first = said::after(&gateway.transcript(), "with the password ");
    let Some(client) = plant.client() else { return };
    let told = |arguments: &[&str]| {
        let said = ["--by", "the test", "--why", "to see"];
        let output = plant.command("people", &[arguments, &said].concat()).output().unwrap();
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    let admitted = told(&["admit", "Anna", "--role", "technician", "--pin", "--badge", "B-7"]);
    let pin = said::after(&admitted, "PIN, not shown again: ");
    let password = said::after(&admitted, "first password, not shown again: ");
    let mes = told(&["admit", "mes", "--role", "operator", "--program", "--ends", "90days"]);
    let token = said::after(&mes, "token, not shown again: ");

    let sign_in = json!({ "name": "B-7", "secret": pin });
    eventually("Anna signs in", LIMIT, async || match client.post("/api/v1/sign-in", &sign_in) {
        (200, _) => Ok(()),
        other => Err(other.1),
    })
    .await;
    assert_eq!(client.get("/api/v1/reload").0, 403, "a technician may not");
    let hold = json!({ "by": "somebody else", "why": "a dent" });
    assert_eq!(client.post("/api/v1/stencils/ST-1/hold", &hold).0, 200);
    let bearer = format!("Authorization: Bearer {token}");
    assert_eq!(client.ask(&["-H", &bearer], "/api/v1/stencils").0, 200);

    told(&["change", "Anna", "--role", "operator"]);
    eventually("Anna is signed out", LIMIT, async || match client.get("/api/v1/me").0 {
        401 => Ok(()),
        other => Err(other),
    })
    .await;
    told(&["dismiss", "mes"]);
    eventually("the token is none", LIMIT, async || {
        match client.ask(&["-H", &bearer], "/api/v1/stencils").0 {
            401 => Ok(()),
            other => Err(other),
        }
    })
    .await;
    for _ in 0..20 {
        client.post("/api/v1/sign-in", &json!({ "name": "Anna", "secret": "wrong" }));
        client.post("/api/v1/sign-in", &json!({ "name": "my secret by mistake", "secret": "x" }));
    }
    gateway.stop();

    ledger_tells_who_did_what(&plant).await;
    let log = gateway.transcript().replace(&format!("password {first}"), "");
    nothing_holds_a_secret(&plant, &log, &[first, password, token]);
}

async fn ledger_tells_who_did_what(plant: &Plant) {
    let events = ledger_read::events(&plant.path("plant.db")).await;
    let held = events.iter().any(|event| {
        matches!(event, Event::HoldPlaced { by, why, .. } if by == "Anna" && why == "a dent")
    });
    assert!(held, "who acted is who signed in");
    let people: Vec<&PeopleEvent> = events
        .iter()
        .filter_map(|event| match event {
            Event::People(people) => Some(people),
            _ => None,
        })
        .collect();
    let count = |wanted: &dyn Fn(&PeopleEvent) -> bool| people.iter().filter(|e| wanted(e)).count();
    for (name, admitted) in [("manager", Role::Manager), ("Anna", Role::Technician)] {
        let known = |event: &PeopleEvent| matches!(event, PeopleEvent::Admitted { name: n, role, .. } if n == name && *role == admitted);
        assert_eq!(count(&known), 1, "{people:?}");
    }
    assert_eq!(
        count(&|event| matches!(event, PeopleEvent::SignedIn { by, .. } if by == "Anna")),
        1
    );
    assert_eq!(
        count(&|event| matches!(event, PeopleEvent::SignedOut { by, .. } if by == "Anna")),
        1
    );
    assert_eq!(
        count(&|event| matches!(event, PeopleEvent::Dismissed { by, .. } if by == "the test")),
        1
    );
    let refused: Vec<(Option<&str>, u64)> = people
        .iter()
        .filter_map(|event| match event {
            PeopleEvent::Refused { name, count } => Some((name.as_deref(), *count)),
            _ => None,
        })
        .collect();
    let all = |name: Option<&str>| {
        refused.iter().filter(|(of, _)| *of == name).map(|(_, count)| count).sum::<u64>()
    };
    assert!(all(Some("Anna")) >= 20 && all(None) == 20, "{refused:?}");
    assert!(refused.len() <= 6, "guessing floods nothing: {refused:?}");
}

fn nothing_holds_a_secret(plant: &Plant, log: &str, secrets: &[String]) {
    let ledger =
        String::from_utf8_lossy(&std::fs::read(plant.path("plant.db")).unwrap()).into_owned();
    let people = std::fs::read_to_string(plant.path("plant.people.json")).unwrap();
    let typed = ["my secret by mistake", "$argon2id"];
    for secret in secrets.iter().map(String::as_str).chain(typed) {
        assert!(!ledger.contains(secret), "the ledger holds no secret");
        assert!(!log.contains(secret), "nor does the log");
    }
    for secret in secrets {
        assert!(!people.contains(secret.as_str()), "only hashes are kept");
    }
    let untold: Value = serde_json::from_str(&people).unwrap();
    assert_eq!(untold.get("untold"), None, "the ledger was told of each change");
    let mode = std::os::unix::fs::MetadataExt::mode(
        &std::fs::metadata(plant.path("plant.people.json")).unwrap(),
    );
    assert_eq!(mode & 0o777, 0o600);
}
