//! Outputs that command: faults of several machines at one broker, with their keys.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

const PLANT: &str = r#"
site: Invented Works
brokers: [{ name: floor, address: "127.0.0.1:1883", client: stencilward, version: "5.0" }]
machines:
  - name: rack-1
    kind: rack
    mqtt:
      broker: floor
      messages: [{ topic: rack-1/slot, signal: slot-emptied, slot: /slot }]
      outputs:
        - name: door
          drive: door-release
          topic: rack-1/do
          permit: open
          refuse: shut
          answer: { topic: rack-1/done, done: [ok], within: 3s }
  - name: rack-2
    kind: rack
    mqtt:
      broker: floor
      messages: [{ topic: rack-2/slot, signal: slot-emptied, slot: /slot }]
      outputs:
        - { name: door, drive: door-release, topic: rack-2/do, permit: open, refuse: shut }
"#;

#[test]
fn each_fault_is_told_with_its_key() {
    assert!(stencilward_config::parse("plant.yaml", PLANT).is_ok());
    for (was, is, keys) in [
        (r#", version: "5.0""#, "", &["machines[0].mqtt.outputs[0].answer.number"][..]),
        ("rack-2/do", "rack-1/do", &["machines[1].mqtt.outputs[0].topic"]),
        ("rack-2/do", "rack-1/done", &["machines[0].mqtt.outputs[0].answer.topic"]),
        ("within: 3s", "within: 3h", &["machines[0].mqtt.outputs[0].answer.within"]),
        ("within: 3s", "withing: 3s", &["machines[0].mqtt.outputs[0].answer.withing"]),
        ("done: [ok]", "refused: [no]", &["machines[0].mqtt.outputs[0].answer.done"]),
    ] {
        let faults = stencilward_config::parse("plant.yaml", &PLANT.replace(was, is)).unwrap_err();
        let found: Vec<String> = faults.into_iter().map(|fault| fault.path).collect();
        assert_eq!(found, keys, "{is}");
    }
}

/// What may become of a question that is asked over MQTT is noted.
#[test]
fn questions_without_an_identity_are_noted() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plant.yaml");
    let notes = |keys: &str| {
        let asks = format!(
            "messages: [{{ topic: rack-1/ask, signal: store-asked, stencil: /s, answer: a{keys} }}]"
        );
        let slot = "messages: [{ topic: rack-1/slot, signal: slot-emptied, slot: /slot }]";
        std::fs::write(&file, PLANT.replace(slot, &asks)).unwrap();
        let (_, notes) = stencilward_config::load_noting(&file).unwrap();
        notes.into_iter().map(|note| note.path).collect::<Vec<_>>()
    };
    assert_eq!(notes(", identity: /id"), Vec::<String>::new());
    assert_eq!(notes(""), ["machines[0].mqtt.messages[0].identity"]);
    assert_eq!(notes(", identity: /id, qos: 0"), ["machines[0].mqtt.messages[0].qos"]);
}
