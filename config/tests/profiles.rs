//! Profiles: filled in, laid over, and told of with the right file, line and key.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use serde_json::json;
use stencilward_config::profiles::{Shelf, Vector, vectors};
use stencilward_config::{Configuration, Fault};

const PLANT: &str = "site: Invented Works\nmachines:\n";

fn parse(machines: &str) -> Result<Configuration, Vec<Fault>> {
    stencilward_config::parse("plant.yaml", &format!("{PLANT}{machines}"))
}

fn good(machines: &str) -> Configuration {
    parse(machines).unwrap_or_else(|faults| panic!("{}", told(&faults).join("\n")))
}

fn told(faults: &[Fault]) -> Vec<String> {
    faults.iter().map(ToString::to_string).collect()
}

fn faults(machines: &str) -> Vec<String> {
    told(&parse(machines).expect_err("it has faults"))
}

#[test]
fn a_machine_says_only_what_is_its_own() {
    let by_profile = good(
        "  - name: printer-1
    profile: printer-total
    with: { address: \"192.0.2.10:502\", base: 100, words: low-first }
    line: line-1
    modbus: { poll: 500ms }
",
    );
    let written_out = good(
        "  - name: printer-1
    kind: printer
    line: line-1
    fastest-cycle: 8s
    modbus:
      address: 192.0.2.10:502
      unit: 1
      poll: 500ms
      points:
        - { signal: stroke-total, table: input, at: 100, type: u32, words: low-first }
        - { signal: machine-state, table: input, at: 102, type: u16, values: { 0: idle, 1: running, 2: set-up, 3: down } }
        - { signal: stencil-seated, table: holding, at: 110, type: text, registers: 8 }
      outputs:
        - { name: print-lock, drive: print-permit, table: coil, at: 100 }
",
    );
    assert_eq!(by_profile, written_out);
}

#[test]
fn a_list_is_replaced_or_added_to_and_a_default_overruled() {
    let plant = good(
        "  - name: printer-1
    profile: printer-total
    with: { address: \"192.0.2.10:502\" }
    fastest-cycle: 5s
    modbus:
      outputs: []
      points+:
        - { signal: fault, table: discrete, at: 7, code: E-7, text: paste low }
",
    );
    let modbus = plant.machines[0].modbus.as_ref().unwrap();
    assert_eq!((modbus.points.len(), modbus.outputs.len()), (4, 0));
    assert_eq!(plant.machines[0].fastest_cycle.unwrap().0.as_secs(), 5);
}

#[test]
fn a_repetition_names_and_places_each_item() {
    let plant = good(
        "  - { name: rack-1, profile: rack-slots, with: { address: \"h:502\", slots: 3, base: 8, prefix: A } }\n",
    );
    let points = serde_json::to_value(&plant.machines[0].modbus.as_ref().unwrap().points).unwrap();
    let slots: Vec<_> = points.as_array().unwrap().iter().map(|p| (&p["slot"], &p["at"])).collect();
    let expected = [(json!("A1"), json!(8)), (json!("A2"), json!(9)), (json!("A3"), json!(10))];
    assert_eq!(slots, expected.iter().map(|(slot, at)| (slot, at)).collect::<Vec<_>>());
    let unnamed =
        good("  - { name: r, profile: rack-slots, with: { address: \"h:502\", slots: 1 } }\n");
    let points =
        serde_json::to_value(&unnamed.machines[0].modbus.as_ref().unwrap().points).unwrap();
    assert_eq!(points[0]["slot"], json!("1"), "text beside nothing is text");
}

#[test]
fn what_is_wrong_with_the_machine_is_told_at_the_machine() {
    let told = faults(
        "  - { name: a, profile: printer-totle }
  - { name: b, profile: rack-slots, with: { adress: \"h:502\", slots: many } }
  - name: c
    profile: printer-total
    with:
      address: \"h:502\"
      base: 70000000
      words: middle-first
  - { name: d, kind: other, with: { base: 1 } }
",
    );
    let starts = |start: &str| {
        assert!(told.iter().any(|line| line.starts_with(start)), "{start}\n{}", told.join("\n"));
    };
    starts(
        "plant.yaml:3: machines[0].profile: there is no profile \"printer-totle\", did you mean \"printer-total\"?",
    );
    starts("plant.yaml:4: machines[1].with.adress: unknown parameter, did you mean \"address\"?");
    starts(
        "plant.yaml:4: machines[1].with.address: this parameter is missing; allowed: text: where",
    );
    starts(
        "plant.yaml:4: machines[1].with.slots: the profile cannot take this: this is the text \"many\"",
    );
    starts("plant.yaml:10: machines[2].with.words: the profile cannot take this");
    starts("plant.yaml:11: machines[3].with: this machine names no profile");
    let told = faults(
        "  - name: c
    profile: printer-total
    with:
      address: \"h:502\"
      base: 70000000
    modbus: { pole: 1s }
",
    );
    assert!(
        told.iter().any(|line| line.starts_with("plant.yaml:7: machines[0].modbus.points[0].at: ")),
        "the value stands there: {told:#?}"
    );
    assert!(
        told.iter()
            .any(|line| line.starts_with("plant.yaml:8: machines[0].modbus.pole: unknown key"))
    );
}

/// A plant's own folder with this profile `mine`.
fn own(profile: &str, plant: &str) -> (tempfile::TempDir, Result<Configuration, Vec<Fault>>) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("profiles")).unwrap();
    std::fs::write(folder.path().join("profiles/mine.yaml"), profile).unwrap();
    let file = folder.path().join("plant.yaml");
    std::fs::write(&file, format!("{PLANT}{plant}")).unwrap();
    let loaded = stencilward_config::load(&file);
    (folder, loaded)
}

const MINE: &str = "\
about: An invented counter.
parameters:
  - { name: host, type: text, about: where it listens }
machine:
  kind: other
  counts-for: printer-1
  modbus:
    address: $(host):502
    points:
      - { signal: stroke-total, table: input, at: 0, type: u16 }
";

const USES_MINE: &str = "  - { name: printer-1, kind: printer, fastest-cycle: 8s }
  - { name: io-1, profile: mine, with: { host: 192.0.2.1 } }
";

#[test]
fn a_plants_own_profile_is_part_of_its_digest() {
    let (folder, loaded) = own(MINE, USES_MINE);
    let first = loaded.unwrap();
    let file = folder.path().join("plant.yaml");
    std::fs::write(folder.path().join("profiles/mine.yaml"), MINE.replace("at: 0", "at: 2"))
        .unwrap();
    let second = stencilward_config::load(&file).unwrap();
    assert_ne!(first.digest, second.digest);
    let words: Vec<String> = first.changes(&second).into_iter().map(|c| c.words).collect();
    assert_eq!(words, ["machine io-1: modbus.points[0].at is 2; it was 0"]);
}

#[test]
fn what_is_wrong_with_the_profile_is_told_at_the_profile() {
    let starts = |profile: &str, start: &str| {
        let (folder, loaded) = own(profile, USES_MINE);
        let told = told(&loaded.expect_err("it has faults"));
        let start = start.replace("HERE", &folder.path().join("profiles").display().to_string());
        assert!(told.iter().any(|line| line.starts_with(&start)), "{start}\n{}", told.join("\n"));
        assert!(!told.iter().any(|line| line.contains("plant.yaml")), "{told:#?}");
    };
    starts(
        &MINE.replace("$(host)", "$(hots)"),
        "HERE/mine.yaml:8: machine.modbus.address: there is no parameter \"hots\"",
    );
    starts(&MINE.replace("u16", "u17"), "HERE/mine.yaml:10: machines[1].modbus.points[0].type: ");
    starts(
        &MINE.replace("$(host):502", "$(host:502"),
        "HERE/mine.yaml:8: machine.modbus.address: a \"$(\" without",
    );
    starts(
        &MINE.replace("$(host):502", "$(host - 2)"),
        "HERE/mine.yaml:8: machine.modbus.address: \"host\" is no whole number",
    );
    starts(&MINE.replace("about: An", "abuot: An"), "HERE/mine.yaml:1: abuot: unknown key");
    starts(
        &MINE.replace("at: 0", "at: $(1 + )"),
        "HERE/mine.yaml:10: machine.modbus.points[0].at: ",
    );
}

#[test]
fn a_name_cannot_lead_out_of_the_folder() {
    let (_folder, loaded) = own(MINE, "  - { name: io-1, profile: ../plant }\n");
    let told = told(&loaded.expect_err("it has faults"));
    assert!(told[0].contains("there is no profile"), "{told:#?}");
}

#[test]
fn a_profile_cannot_make_more_than_anybody_needs() {
    let told = faults(
        "  - { name: r, profile: rack-slots, with: { address: \"h:502\", slots: 10001 } }\n",
    );
    assert!(told[0].contains("more than 10000 items would be made"), "{told:#?}");
}

#[test]
fn each_shipped_profile_has_tests_and_is_one_file_of_the_folder() {
    let vectors = vectors(&Shelf::shipped()).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let file = format!("profile {}", path.file_stem().unwrap().to_str().unwrap());
        assert!(vectors.iter().any(|vector| vector.file == file), "{file} has no test");
    }
    assert!(vectors.iter().all(|vector| !vector.steps.is_empty()));
}

#[test]
fn the_shipped_profiles_read_what_their_tests_say() {
    let vectors = vectors(&Shelf::shipped()).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let wrong: Vec<Fault> = vectors.iter().filter_map(Vector::run).collect();
    assert!(wrong.is_empty(), "{}", told(&wrong).join("\n"));
}

#[test]
fn a_test_that_is_not_met_is_told_with_its_line() {
    let test = "\
tests:
  - about: it counts
    with: { host: 192.0.2.1 }
    steps:
      - input: { 0: 7 }
        gives: [{ signal: stroke-total, raw: 8 }]
";
    let (folder, loaded) = own(&format!("{MINE}{test}"), USES_MINE);
    loaded.unwrap();
    let vectors = vectors(&Shelf::beside(folder.path())).unwrap();
    let wrong = vectors[0].run().expect("7 is not 8").to_string();
    let start = "mine.yaml:12: it counts: step 1: expected ";
    assert!(wrong.contains(start) && wrong.contains("\"raw\":7"), "{wrong}");
}
