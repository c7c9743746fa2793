//! Machines that are reached at one place: one link for all, and one way to speak.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::BTreeSet;

const PLANT: &str = "\
site: Invented Works
machines:
  - name: washer-1
    kind: washer
    modbus:
      serial: { port: /dev/ttyUSB0, baud: 9600 }
      unit: 1
      points: [{ signal: machine-state, table: input, at: 0, type: u16, values: { 0: idle } }]
  - name: rack-1
    kind: rack
    modbus:
      address: RACK-1.example:502
      points: [{ signal: slot, table: discrete, at: 0, slot: A1 }]
  - name: washer-2
    kind: washer
    modbus:
      serial: { port: /dev/ttyUSB0, baud: 9600 }
      unit: 2
      points: [{ signal: machine-state, table: input, at: 0, type: u16, values: { 0: idle } }]
  - name: rack-2
    kind: rack
    modbus:
      address: rack-1.example:502
      unit: 2
      points: [{ signal: slot, table: discrete, at: 0, slot: A1 }]
";

#[test]
fn machines_at_one_place_share_a_link() {
    let plant = stencilward_config::parse("plant.yaml", PLANT).unwrap();
    let wires = plant.wires();
    let names: BTreeSet<String> = wires.iter().map(|wire| wire.name()).collect();
    assert_eq!(names.len(), 2);
    assert!(names.contains("line /dev/ttyUSB0") && names.contains("line rack-1.example:502"));
    for wire in wires {
        let of_wire = wire.machines();
        assert_eq!(of_wire.len(), 2);
        let of_link: BTreeSet<_> =
            wire.link(&stencilward_adapters::shown::nothing()).machines().into_iter().collect();
        assert_eq!(of_link, of_wire);
    }
}

#[test]
fn machines_that_do_not_speak_alike_are_named_with_their_line() {
    let text = PLANT.replace("baud: 9600 }\n      unit: 2", "baud: 19200 }\n      unit: 2");
    let faults = stencilward_config::parse("plant.yaml", &text).unwrap_err();
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert_eq!(faults[0].path, "machines[2].modbus.serial.baud");
    assert_eq!(faults[0].line, Some(17));
    assert!(faults[0].wrong.contains("washer-1"), "{faults:#?}");
    // Another mistake in the file hides it no longer than itself.
    let text = text.replace("kind: rack\n", "kind: rock\n");
    let faults = stencilward_config::parse("plant.yaml", &text).unwrap_err();
    assert!(faults.iter().any(|fault| fault.path == "machines[2].modbus.serial.baud"));
}

#[test]
fn files_of_certificates_start_at_the_configurations_folder() {
    let folder = tempfile::tempdir().unwrap();
    let tls = "{ ca: keys/ca.pem, certificate: keys/own.pem, key: /secret/own.key }";
    let address = "address: RACK-1.example:502\n";
    let text = PLANT.replace(address, &format!("address: rack-3.example\n      tls: {tls}\n"));
    let file = folder.path().join("plant.yaml");
    std::fs::write(&file, text).unwrap();
    let plant = stencilward_config::load(&file).unwrap();
    let tls = plant.machines[1].modbus.as_ref().unwrap().tls.as_ref().unwrap();
    assert_eq!(tls.ca, folder.path().join("keys/ca.pem"));
    assert_eq!(tls.key, std::path::Path::new("/secret/own.key"));
}
