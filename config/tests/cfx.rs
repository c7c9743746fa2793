//! CFX in the configuration: faults with their keys, and which links follow from it.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

use stencilward_config::Wire;

const PLANT: &str = "\
site: Invented Works
cfx:
  - name: floor
    handle: Invented.Gateway.1
    broker: { address: \"127.0.0.1:5672\", sources: [/amq/queue/q] }
    listen: { address: \"127.0.0.1:5680\" }
  - name: hall
    handle: Invented.Gateway.1
    broker: { address: \"127.0.0.1:5673\", sources: [/queues/q] }
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 8s
    cfx:
      endpoint: floor
      handle: Invented.Printer.1
      signals: [strokes-done, stencil-seated]
      tool-check: take
      outputs: [{ name: next, drive: print-permit, by: unit-validation }]
  - name: washer-1
    kind: washer
    cfx: { endpoint: floor, handle: Invented.Washer.1, signals: [washes] }
";

fn faults(text: &str) -> Vec<(String, String)> {
    let faults = stencilward_config::parse("plant.yaml", text).unwrap_err();
    faults.into_iter().map(|fault| (fault.path.clone(), fault.to_string())).collect()
}

fn wire(text: &str, name: &str) -> Wire {
    let wires = stencilward_config::parse("plant.yaml", text).unwrap().wires();
    wires.into_iter().find(|wire| wire.name() == name).unwrap()
}

#[test]
fn each_fault_is_told_with_its_key_and_what_to_do() {
    for (was, is, key, word) in [
        ("name: hall", "name: floor", "cfx[1].name", "used before"),
        ("sources: [/queues/q]", "sources: []", "cfx[1].broker.sources", "durable queue"),
        ("endpoint: floor\n", "endpoint: flor\n", "machines[0].cfx.endpoint", "floor"),
        ("Invented.Printer.1", "Invented.Gateway.1", "machines[0].cfx.handle", "gateway's own"),
        ("Invented.Washer.1", "Invented.Printer.1", "machines[1].cfx.handle", "printer-1"),
        ("endpoint: floor\n", "endpoint: hall\n", "machines[0].cfx.tool-check", "listen"),
        ("endpoint: floor\n", "endpoint: hall\n", "machines[0].cfx.outputs", "listen"),
        (
            "by: unit-validation }]\n",
            "by: lock-station }]\n      requests: { address: \"127.0.0.1:5680\" }\n",
            "machines[0].cfx.requests.address",
            "gateway's own listener",
        ),
        ("by: unit-validation", "by: lock-station", "machines[0].cfx.outputs[0].by", "requests"),
        ("kind: printer", "kind: other", "machines[0].cfx.outputs[0].drive", "print-permit"),
        ("    fastest-cycle: 8s\n", "", "machines[0].fastest-cycle", "8s"),
        ("[washes]", "[wash]", "machines[1].cfx.signals[0]", "washes"),
        (
            "      tool-check: take\n",
            "      strokes-from: [units-processed, tools-used]\n",
            "machines[0].cfx.strokes-from",
            "units-processed",
        ),
        (
            "    kind: washer\n",
            "    kind: washer\n    record: { to: w.rec }\n",
            "machines[1].record",
            "CFX",
        ),
    ] {
        let text = PLANT.replace(was, is);
        assert_ne!(text, PLANT);
        let faults = faults(&text);
        let told = faults.iter().find(|(path, _)| path == key);
        let (_, told) = told.unwrap_or_else(|| panic!("{key}: {faults:?}"));
        assert!(told.contains(word), "{told}");
    }
}

#[test]
fn each_endpoint_has_a_link_of_its_own() {
    let floor = wire(PLANT, "CFX endpoint floor");
    assert_eq!(floor.machines().len(), 2);
    assert!(wire(PLANT, "CFX endpoint hall").machines().is_empty());
    // What it does not need to know leaves it alone.
    let other = PLANT.replace("5673", "5674");
    assert_eq!(wire(&other, "CFX endpoint floor"), floor);
    let other = PLANT.replace("5680", "5681");
    assert_ne!(wire(&other, "CFX endpoint floor"), floor);
}

#[test]
fn an_endpoint_that_hears_nobody_is_noted() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plant.yaml");
    std::fs::write(&file, PLANT).unwrap();
    let (_, notes) = stencilward_config::load_noting(&file).unwrap();
    let noted: Vec<&str> = notes.iter().map(|note| note.path.as_str()).collect();
    assert!(noted.contains(&"cfx[1]") && !noted.contains(&"cfx[0]"), "{noted:?}");
    let tells = PLANT.replace("[/queues/q]", "[], publish: { at: /exchanges/cfx/told }");
    std::fs::write(&file, tells).unwrap();
    let (_, notes) = stencilward_config::load_noting(&file).unwrap();
    assert!(notes.iter().all(|note| note.path != "cfx[1]"), "it is there to tell");
}

#[test]
fn a_machine_that_is_locked_needs_no_listener_of_the_gateway() {
    let text = PLANT
        .replace("endpoint: floor\n", "endpoint: hall\n")
        .replace("      tool-check: take\n", "      requests: { address: \"here:5672\" }\n")
        .replace("by: unit-validation", "by: lock-station");
    assert!(stencilward_config::parse("plant.yaml", &text).is_ok());
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plant.yaml");
    let secured = text.replace("\"here:5672\"", "\"here:5671\", tls: { ca: ca.pem }");
    std::fs::write(&file, secured).unwrap();
    let read = stencilward_config::load(&file).unwrap();
    let requests = read.machines[0].cfx.as_ref().unwrap().requests.clone().unwrap();
    assert_eq!(requests.tls.unwrap().ca, folder.path().join("ca.pem"), "where the file is");
}

#[test]
fn on_trial_nothing_is_answered() {
    let text = PLANT.replace("kind: printer\n", "kind: printer\n    trial: true\n");
    let tried = format!("{:?}", wire(&text, "CFX endpoint floor"));
    assert!(tried.contains("tool_check: None") && !tried.contains("next"), "{tried}");
}

#[test]
fn machines_on_cfx_tell_when_something_happened() {
    let plant = stencilward_config::parse("plant.yaml", PLANT).unwrap().plant();
    let timed: Vec<String> = plant.timed.iter().map(ToString::to_string).collect();
    assert_eq!(timed, ["printer-1", "washer-1"]);
}
