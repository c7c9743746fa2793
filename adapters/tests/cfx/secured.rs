//! Secured listeners, with users and with certificates.

use std::fs;

use serde_json::{Value, json};
use stencilward_adapters::cfx::Machine;
use stencilward_adapters::link::Trouble;
use stencilward_adapters::simulated::Simulated as _;

use crate::certificates::Authority;
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
