//! The whole stack, from nothing to a gateway that is signed in to, watched, and told of machines.

use std::time::Duration;

use serde_json::{Value, json};
use stencilward_tests::curl::Client;
use stencilward_tests::said::after;
use stencilward_tests::wait::eventually;

use crate::compose::{self, Stack};
use crate::engine::Engine;
use crate::secrets::{deployed, script};
use crate::{LIMIT, outcome, succeeds};

const NEW: &str = "kettle orbit lamp sand";
/// Prometheus looks every 15 s, and works out rules as often.
const WATCHED: Duration = Duration::from_secs(90);

#[test]
fn without_secrets_it_says_what_to_run() {
    let Some(program) = compose::program() else { return };
    let mut command = std::process::Command::new(&program[0]);
    command.args(&program[1..]).arg("--file").arg(deployed("compose.yaml")).arg("config");
    command.env("STENCILWARD_SECRETS", "");
    let (done, said) = outcome(&mut command);
    assert!(!done && said.contains("run deploy/container/secrets.sh with the names"), "{said}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn comes_up_and_is_what_it_says() {
    let Some(stack) = Stack::up().await else { return };
    let engine = Engine::new().await;
    let base = format!("https://127.0.0.1:{}", stack.port);
    let Some(client) = Client::of(&base, Some(&stack.secrets().join("ca.pem"))) else { return };
    eventually("the gateway is ready", LIMIT, async || match client.get("/readyz") {
        (200, _) => Ok(()),
        other => Err(other.1),
    })
    .await;
    each_is_hardened(&stack, &engine).await;
    signed_in(&stack, &client);
    the_broker_lets_in_whom_it_knows(&stack, &client).await;
    is_watched(&stack).await;
    for (_, container) in stack.containers() {
        engine.until_health(&container, "healthy").await;
    }
    outlives_its_containers(&stack, &client).await;
}

/// Not as root, nothing to write to, no capabilities, no way to more of them.
async fn each_is_hardened(stack: &Stack, engine: &Engine) {
    for (service, container) in stack.containers() {
        let (user, host) = engine.hardening(&container).await;
        assert!(!matches!(user.split(':').next(), Some("" | "0" | "root")), "{service}: {user}");
        assert_eq!(host.readonly_rootfs, Some(true), "{service}");
        assert_eq!(host.cap_drop, Some(vec!["ALL".to_owned()]), "{service}");
        let options = host.security_opt.unwrap_or_default();
        assert!(options.iter().any(|o| o.starts_with("no-new-privileges")), "{service}");
        let restart = host.restart_policy.and_then(|policy| policy.name);
        assert_eq!(restart.map(|name| name.to_string()).as_deref(), Some("unless-stopped"));
        assert_eq!(
            succeeds(&mut stack.inside(service, &["id", "-u"])).trim().parse(),
            Ok(uid(&user))
        );
        let (written, said) = outcome(&mut stack.inside(service, &["touch", "/var/tmp/here"]));
        assert!(!written && said.contains("Read-only file system"), "{service}: {said}");
    }
}

fn uid(user: &str) -> u32 {
    user.split(':').next().unwrap().parse().unwrap()
}

fn signed_in(stack: &Stack, client: &Client) {
    assert_eq!(client.get("/api/v1/stencils").0, 401);
    let log = succeeds(&mut stack.compose(&["logs", "--no-color", "gateway"]));
    let first = after(&log, "with the password ");
    let sign_in = |secret: &str| client.post("/api/v1/sign-in", &manager(secret)).0;
    assert_eq!(sign_in(&first), 200);
    let change = json!({ "old": first, "password": NEW });
    assert_eq!(client.post("/api/v1/me/secret", &change).0, 200);
    assert_eq!(sign_in(NEW), 200);
}

fn manager(secret: &str) -> Value {
    json!({ "name": "manager", "secret": secret })
}

async fn the_broker_lets_in_whom_it_knows(stack: &Stack, client: &Client) {
    let publish = |who: &[&str], topic: &str, message: &str| {
        let words = ["mosquitto_pub", "-h", "localhost", "-p", "8883", "-q", "1"];
        let rest = ["--cafile", "/run/secrets/ca.pem", "-t", topic, "-m", message];
        outcome(&mut stack.inside("mosquitto", &[&words[..], &rest, who].concat()))
    };
    let topic = "machines/printer-1/says/stencil";
    for stranger in [&[][..], &["-u", "printer-1"], &["-u", "printer-1", "-P", "printer-1"]] {
        let (taken, said) = publish(stranger, topic, r#"{"code":"ST-0001"}"#);
        assert!(!taken && said.contains("not authorised"), "{stranger:?}: {said}");
    }
    let [printer, washer] = ["printer-1", "washer-1"].map(|name| {
        let said = succeeds(&mut script(&stack.secrets(), &["machine", name]).unwrap());
        (name, said.trim().to_owned())
    });
    succeeds(&mut stack.compose(&["kill", "-s", "HUP", "mosquitto"]));
    eventually("the gateway hears the broker", LIMIT, async || {
        let machines = client.get("/api/v1/machines").1;
        if machines.matches(r#""link":"up""#).count() == 2 { Ok(()) } else { Err(machines) }
    })
    .await;

    let tells = |(name, password): &(&str, String), topic: &str, message: &str| {
        publish(&["-u", name, "-P", password], topic, message)
    };
    let (taken, said) = tells(&printer, topic, r#"{"code":"ST-0001"}"#);
    assert!(taken, "{said}");
    seated(client, "ST-0001").await;
    // In another's name: taken by the broker, as MQTT 3.1.1 has it, and given to nobody.
    tells(&washer, topic, r#"{"code":"ST-0002"}"#);
    tells(&printer, topic, r#"{"code":null}"#);
    removed(client).await;
    let history = client.get("/api/v1/stencils/ST-0002/history").1;
    assert!(!history.contains("seated"), "{history}");
}

async fn seated(client: &Client, code: &str) {
    eventually("it is seated", LIMIT, async || {
        let printer = client.get("/api/v1/machines/printer-1").1;
        if printer.contains(code) { Ok(()) } else { Err(printer) }
    })
    .await;
}

async fn removed(client: &Client) {
    eventually("it is removed", LIMIT, async || {
        let said = client.get("/api/v1/machines/printer-1").1;
        let printer: Value = serde_json::from_str(&said).unwrap();
        if printer["stencil"].is_null() { Ok(()) } else { Err(said) }
    })
    .await;
}

/// Prometheus reads nothing before it has a token, and then does; its rules are at work, and the
/// alert that always fires arrives at Alertmanager.
async fn is_watched(stack: &Stack) {
    let query = |expression: &str| {
        let ask = ["promtool", "query", "instant", "http://127.0.0.1:9090", expression];
        outcome(&mut stack.inside("prometheus", &ask)).1
    };
    eventually("it is refused without a token", WATCHED, async || {
        let said = query(r#"up{job="stencilward"}"#);
        if said.contains("=> 0") { Ok(()) } else { Err(said) }
    })
    .await;
    stack.admit_prometheus();
    eventually("the gateway is read", WATCHED, async || {
        let said = query(r#"up{job="stencilward"}"#);
        if said.contains("=> 1") { Ok(()) } else { Err(said) }
    })
    .await;
    eventually("rules are worked out", WATCHED, async || {
        let said =
            query("stencilward_ledger_size_bytes and on() ALERTS{alertname=\"AlertsArrive\"}");
        if said.contains("stencilward_ledger_size_bytes") { Ok(()) } else { Err(said) }
    })
    .await;
    let ask = ["amtool", "--alertmanager.url=http://127.0.0.1:9093", "alert", "query"];
    eventually("alerts arrive", WATCHED, async || {
        let said = outcome(&mut stack.inside("alertmanager", &ask)).1;
        if said.contains("AlertsArrive") { Ok(()) } else { Err(said) }
    })
    .await;
}

/// New containers find what the old ones left: people, and the ledger.
async fn outlives_its_containers(stack: &Stack, client: &Client) {
    succeeds(&mut stack.compose(&["stop", "gateway"]));
    assert_eq!(client.get("/readyz").0, 0);
    stack.recreate();
    eventually("the gateway is ready", LIMIT, async || match client.get("/readyz") {
        (200, _) => Ok(()),
        other => Err(other.1),
    })
    .await;
    let log = succeeds(&mut stack.compose(&["logs", "--no-color", "gateway"]));
    assert!(!log.contains("with the password"), "told once: {log}");
    assert_eq!(client.post("/api/v1/sign-in", &manager(NEW)).0, 200);
    let history = client.get("/api/v1/stencils/ST-0001/history").1;
    assert!(history.contains("seated"), "{history}");
}
