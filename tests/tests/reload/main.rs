//! The configuration changes while the gateway works: only what changed begins anew, and a
//! faulty file changes nothing.

mod broker;
mod tap;
mod trial;
mod works;

use std::process::Command;

use serde_json::{Value, json};
use stencilward_domain::event::{Configured, Event};
use stencilward_domain::names::MachineName;
use stencilward_tests::child::{Child, Signal};
use stencilward_tests::free_port::free_port;
use stencilward_tests::http;
use works::{LIMIT, Works};

const ALL: [&str; 3] = ["printer-1", "printer-2", "printer-3"];

fn configured(events: &[Event]) -> Vec<&Configured> {
    let configured = events.iter().filter_map(|event| match event {
        Event::Configured(configured) => Some(configured),
        _ => None,
    });
    configured.collect()
}

/// The machines whose links were lost, and why.
fn downs(events: &[Event]) -> Vec<(&str, &str)> {
    let downs = events.iter().filter_map(|event| match event {
        Event::MachineDown { machine, why } => Some((machine.as_str(), why.as_str())),
        _ => None,
    });
    downs.collect()
}

#[tokio::test]
async fn only_the_link_that_changed_begins_anew() {
    let works = Works::with(&ALL).await;
    works.edit(
        &works.entry("printer-2"),
        &works.entry("printer-2").replace("poll: 20ms", "poll: 30ms"),
    );
    let answer = works.reload().await;
    let changes = json!(["machine printer-2: modbus.poll is 30ms; it was 20ms"]);
    assert_eq!(answer["changes"], changes);
    let links = json!({
        "kept": ["machine printer-1", "machine printer-3"],
        "begun": ["machine printer-2"],
        "ended": ["machine printer-2"],
    });
    assert_eq!(answer["links"], links);
    works.up("printer-2").await;
    works.seats("printer-1", "ST-1").await;
    works.counts("printer-1", 7).await;
    works.booked("ST-1", 7).await;
    let connections = ALL.map(|name| works.taps[name].connections());
    assert_eq!(connections, [1, 2, 1]);

    let events = works.stop().await;
    let why = "the configuration of its link has changed: it is connected anew";
    assert_eq!(downs(&events), [("printer-2", why)]);
    let [at_start, reloaded] = configured(&events)[..] else { panic!("{events:?}") };
    assert!(at_start.changes.is_empty() && at_start.by.is_none());
    assert_eq!(json!(reloaded.changes), changes);
    assert_eq!(reloaded.by.as_deref(), Some("the test"));
    assert_eq!(answer["digest"], json!(reloaded.digest));
}

#[tokio::test]
async fn a_faulty_file_changes_nothing() {
    let works = Works::with(&ALL).await;
    works.edit("type: u16", "type: u32");
    works.edit("kind: printer", "kind: pirnter");
    for answer in [
        works.get("/api/v1/reload").await,
        works.post("/api/v1/reload", &json!({ "by": "the test" })).await,
    ] {
        assert_eq!(answer.status, 422, "{}", answer.body);
        let faults = answer.json()["faults"].clone();
        let keys: Vec<&Value> =
            faults.as_array().expect("a list").iter().map(|fault| &fault["key"]).collect();
        assert!(keys.contains(&&json!("machines[0].kind")), "{faults}");
        assert!(faults[0]["line"].is_u64() && faults[0]["fault"].is_string(), "{faults}");
    }
    let connections = ALL.map(|name| works.taps[name].connections());
    assert_eq!(connections, [1, 1, 1]);
    let events = works.stop().await;
    assert_eq!(configured(&events).len(), 1, "the start's own");
    assert_eq!(downs(&events), []);
}

#[tokio::test]
async fn a_machine_comes_and_another_goes_with_its_lock_shut() {
    let works = Works::with(&["printer-1", "printer-2"]).await;
    works.seats("printer-2", "ST-2").await;
    works.lock("printer-2", true).await;
    works.edit(&works.entry("printer-2"), &works.entry("printer-3"));

    let preview = works.get("/api/v1/reload").await.json();
    let answer = works.reload().await;
    assert_eq!(preview["changes"], answer["changes"]);
    let changes = json!(["machine printer-2 is taken out", "machine printer-3 is added"]);
    assert_eq!(answer["changes"], changes);
    works.up("printer-3").await;
    works.lock("printer-2", false).await;
    assert_eq!(works.get("/api/v1/machines/printer-2").await.status, 404);
    let metrics = works.get("/metrics").await.body;
    assert!(!metrics.contains(r#"stencilward_machine_up{machine="printer-2"}"#), "{metrics}");
    assert!(metrics.contains(r#"stencilward_machine_up{machine="printer-3"} 1"#), "{metrics}");
    let events = works.stop().await;
    assert_eq!(downs(&events), [("printer-2", "taken out of the configuration")]);
}

#[tokio::test]
async fn a_policy_turns_a_decision_at_once_and_links_stay() {
    let works = Works::with(&ALL).await;
    works.seats("printer-1", "ST-1").await;
    works.lock("printer-1", true).await;
    works.edit("needs-take: false", "needs-take: true");
    let (one, other) = tokio::join!(works.reload(), works.reload());
    assert_eq!((&one["links"]["begun"], &other["links"]["begun"]), (&json!([]), &json!([])));
    let changes = [&one, &other].map(|answer| answer["changes"].as_array().map_or(0, Vec::len));
    assert_eq!(changes.iter().sum::<usize>(), 1, "one after the other");
    let shown = works.get("/api/v1/machines/printer-1").await.json();
    assert_eq!(shown["print"]["reasons"][0]["code"], "not-taken");
    works.lock("printer-1", false).await;
    assert_eq!(works.taps["printer-1"].connections(), 1);
}

#[tokio::test]
async fn what_only_a_start_can_change_is_refused() {
    let works = Works::with(&["printer-1"]).await;
    works.edit("ledger: works.db", "ledger: other.db");
    works.edit("listen: 127.0.0.1:0", "listen: 127.0.0.1:9");
    let answer = works.post("/api/v1/reload", &json!({ "by": "the test" })).await;
    assert_eq!(answer.status, 409);
    let detail = answer.json()["detail"].to_string();
    assert!(detail.contains("listen is 127.0.0.1:9; it was 127.0.0.1:0"), "{detail}");
    assert!(detail.contains("what was counted is in there"), "{detail}");
    let nobody = works.post("/api/v1/reload", &json!({})).await;
    assert_eq!(nobody.status, 400, "a person who reloads says who it is");
    assert_eq!(configured(&works.stop().await).len(), 1);
}

#[tokio::test]
async fn a_start_notes_a_configuration_only_when_it_is_another() {
    let works = Works::with(&["printer-1"]).await;
    let works = works.restart().await;
    works.edit("needs-take: false", "needs-take: true");
    let works = works.restart().await;
    let digests: Vec<String> =
        configured(&works.stop().await).iter().map(|known| known.digest.clone()).collect();
    assert_eq!(digests.len(), 2);
    assert_ne!(digests[0], digests[1]);
}

/// The program itself: SIGHUP reloads, and a faulty file is told in its log.
#[tokio::test]
async fn the_program_reloads_on_sighup() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plant.yaml");
    let address = ([127, 0, 0, 1], free_port()).into();
    let plant = format!("site: Invented Works\nlisten: {address}\n");
    std::fs::write(&file, &plant).expect("written");
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(&file);
    let mut gateway = Child::start(&command);
    let said = |what: &'static str| move |line: &str| line.contains(what).then_some(());
    gateway.line("running", LIMIT, said("running")).await;

    std::fs::write(&file, format!("{plant}polcy: {{}}\n")).expect("written");
    gateway.signal(Signal::HUP);
    gateway.line("the fault", LIMIT, said("plant.yaml:3: polcy: unknown key")).await;
    gateway.line("that the old stays", LIMIT, said("the old configuration stays in force")).await;

    let stencil = "stencils: [{ code: ST-1, rated-strokes: 100 }]\n";
    std::fs::write(&file, format!("{plant}{stencil}")).expect("written");
    gateway.signal(Signal::HUP);
    gateway.line("the change", LIMIT, said("stencil ST-1 is added")).await;
    gateway.line("that it is done", LIMIT, said("the new configuration is in force")).await;
    let listed = http::get(address, "/api/v1/stencils/ST-1").await.expect("an answer");
    assert_eq!(listed.status, 200);
    assert!(gateway.stop().success(), "{}", gateway.transcript());
}

pub(crate) fn name(machine: &str) -> MachineName {
    MachineName::new(machine).expect("a name")
}
