//! Machines that are recorded: what is refused, and whose link begins anew.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

use stencilward_config::Wire;

const PLANT: &str = "\
site: Invented Works
machines:
  - name: rack-1
    kind: rack
    record: { to: rack-1.rec }
    modbus: { address: \"a.example:502\", points: [{ signal: slot, table: discrete, at: 0, slot: A1 }] }
  - name: rack-2
    kind: rack
    record: { to: rack-2.rec, at-most: 2GB }
    modbus: { address: \"b.example:502\", points: [{ signal: slot, table: discrete, at: 0, slot: A1 }] }
";

fn faults(from: &str, to: &str) -> Vec<(String, Option<usize>, String)> {
    assert!(PLANT.contains(from), "{from}");
    let text = PLANT.replacen(from, to, 1);
    let faults = stencilward_config::parse("plant.yaml", &text).unwrap_err().into_iter();
    faults.map(|fault| (fault.path, fault.line, fault.wrong)).collect()
}

#[test]
fn faults_of_a_recording_are_told_with_their_line() {
    for (from, to, path, line, word) in [
        ("rack-2.rec", "./rack-1.rec", "machines[1].record.to", 9, "is used before"),
        ("rack-2.rec", "\"\"", "machines[1].record.to", 9, "no file"),
        ("2GB", "2TB", "machines[1].record.at-most", 9, ""),
        ("2GB", "2kB", "machines[1].record.at-most", 9, "between 16KiB"),
        ("at-most", "at_most", "machines[1].record", 9, "at-most"),
    ] {
        let found = faults(from, to);
        assert_eq!(found.len(), 1, "{to}: {found:#?}");
        let (found_at, found_line, wrong) = &found[0];
        assert!(found_at.starts_with(path) && wrong.contains(word), "{to}: {found:#?}");
        assert_eq!(*found_line, Some(line), "{to}");
    }
    let text = PLANT.replace("modbus: { address: \"b.example:502\", points: [{ signal: slot, table: discrete, at: 0, slot: A1 }] }", "line: a");
    let found = stencilward_config::parse("plant.yaml", &text).unwrap_err();
    assert!(found.iter().any(|fault| fault.wrong.contains("nothing that it says")), "{found:#?}");
}

fn wires(text: &str) -> Vec<Wire> {
    stencilward_config::parse("plant.yaml", text).unwrap().wires()
}

#[test]
fn only_the_link_of_the_machine_that_is_recorded_begins_anew() {
    let (with, without) = (wires(PLANT), wires(&PLANT.replace(", at-most: 2GB", "")));
    let same: Vec<bool> = with.iter().zip(&without).map(|(one, other)| one == other).collect();
    assert_eq!(same, [true, false]);
}

#[test]
fn a_relative_path_starts_at_the_files_folder() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plant.yaml");
    std::fs::write(&file, PLANT).unwrap();
    let plant = stencilward_config::load(&file).unwrap();
    assert_eq!(plant.machines[0].record.as_ref().unwrap().to, folder.path().join("rack-1.rec"));
}
