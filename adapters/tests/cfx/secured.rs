//! Secured listeners, with users and with certificates.

use std::fs;

use serde_json::{Value, json};
use stencilward_adapters::cfx::Machine;
use stencilward_adapters::link::Trouble;
use stencilward_adapters::simulated::Simulated as _;

use crate::certificates::Authority;
use crate::fixtures::{PRINTER, settings};
use crate::gateway::{
    GATEWAY, Gateway, endpoint, free_address, name, printer, strokes, until, way,
};

struct Plant {
    gateway: Gateway,
    _folder: tempfile::TempDir,
    password: String,
}

fn plant(listen: &Value, password: &str) -> Plant {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("password");
    fs::write(&file, format!("{password}\n")).unwrap();
    let password = file.to_string_lossy().into_owned();
    let mut all = json!({});
    all.as_object_mut().unwrap().extend(listen.as_object().unwrap().clone());
    if all.get("user").is_some() {
        all["password-file"] = json!(password);
    }
    let machines = vec![(name("printer-1"), printer())];
    let gateway = Gateway::of(endpoint(free_address(), &all), machines, 8);
    Plant { gateway, _folder: folder, password }
}

fn machine(plant: &Plant, more: &Value) -> Machine {
    Machine::at(way(plant.gateway.address, more), GATEWAY, &name("printer-1"), printer())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_user_with_the_password_is_let_in_and_nobody_else() {
    let mut plant = plant(&json!({ "user": "machines" }), "invented");
    let stranger = machine(&plant, &json!({}));
    until("the refusal", || plant.gateway.notes.has(Trouble::Refused, "not let in")).await;
    drop(stranger);
    let wrong = json!({ "user": "machine", "password-file": plant.password });
    let before = plant.gateway.notes.troubles().len();
    let wrong = machine(&plant, &wrong);
    until("the refusal", || plant.gateway.notes.troubles().len() > before).await;
    drop(wrong);
    let right = json!({ "user": "machines", "password-file": plant.password });
    let machine = machine(&plant, &right);
    plant.gateway.until_up().await;
    machine.say(&strokes(1), None).await.unwrap();
    assert_eq!(plant.gateway.next_but_link().await, strokes(1));
    plant.gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_with_a_certificate_is_let_in_and_nobody_else() {
    let authority = Authority::new("works");
    let (ours, theirs) = (authority.issue("gateway", |_| {}), authority.issue("machine", |_| {}));
    let tls = json!({ "certificate": ours.certificate, "key": ours.key, "ca": ours.ca });
    let mut plant = plant(&json!({ "tls": tls }), "");
    let without = machine(&plant, &json!({ "tls": { "ca": ours.ca } }));
    until("the refusal", || plant.gateway.notes.has(Trouble::Refused, "certificate")).await;
    drop(without);
    let tls = json!({ "ca": theirs.ca, "certificate": theirs.certificate, "key": theirs.key });
    let machine = machine(&plant, &json!({ "tls": tls }));
    plant.gateway.until_up().await;
    machine.say(&strokes(1), None).await.unwrap();
    assert_eq!(plant.gateway.next_but_link().await, strokes(1));
    plant.gateway.stop().await;
}

/// A station that is secured, asks for a user and knows no locks: another gateway's listener.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_secured_station_is_asked_by_who_knows_its_user() {
    let authority = Authority::new("works");
    let (theirs, ours) = (authority.issue("station", |_| {}), authority.issue("gateway", |_| {}));
    let tls = json!({ "certificate": theirs.certificate, "key": theirs.key, "ca": theirs.ca });
    let station = plant(&json!({ "tls": tls, "user": "machines" }), "invented");
    let asked_as = |user: &str| {
        let requests = json!({
            "address": station.gateway.address.to_string(), "target": GATEWAY, "user": user,
            "password-file": station.password,
            "tls": { "ca": ours.ca, "certificate": ours.certificate, "key": ours.key },
        });
        let output = json!({ "name": "next", "drive": "print-permit", "by": "lock-station" });
        let more = json!({ "requests": requests, "outputs": [output] });
        let machines = vec![(name("printer-1"), settings(PRINTER, more))];
        Gateway::of(endpoint(free_address(), &json!({})), machines, 8)
    };
    let asking = asked_as("machines");
    until("an answer", || asking.notes.has(Trouble::Disobeyed, "does not support")).await;
    asking.stop().await;
    let stranger = asked_as("stranger");
    until("the refusal", || stranger.notes.has(Trouble::Refused, "does not let us in")).await;
    stranger.stop().await;
    station.gateway.stop().await;
}
