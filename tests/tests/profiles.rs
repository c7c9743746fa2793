//! `stencilward check` with profiles of the plant's own: their tests are run.

use std::path::Path;
use std::process::{Command, Output};

const PLANT: &str = "\
site: Invented Works
machines:
  - { name: printer-1, profile: mine, with: { address: \"192.0.2.10:502\" } }
";

const PROFILE: &str = "\
about: An invented printer.
parameters:
  - { name: address, type: text, about: where it listens }
machine:
  kind: printer
  fastest-cycle: 8s
  modbus:
    address: $(address)
    points:
      - { signal: stroke-total, table: input, at: 4, type: u32, words: low-first }
tests:
  - about: a total beyond 16 bits
    with: { address: \"192.0.2.10:502\" }
    steps:
      - input: { 4: [7, 1] }
        gives: [{ signal: stroke-total, raw: 65543 }]
";

fn check(folder: &Path) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("check").arg(folder.join("plant.yaml")).output().expect("it runs")
}

#[test]
fn a_wrong_word_order_is_found_before_any_machine_is_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let profiles = folder.path().join("profiles");
    std::fs::create_dir(&profiles).expect("made");
    std::fs::write(folder.path().join("plant.yaml"), PLANT).expect("written");
    std::fs::write(profiles.join("mine.yaml"), PROFILE).expect("written");
    let good = check(folder.path());
    let said = String::from_utf8_lossy(&good.stdout);
    assert!(good.status.success(), "{good:?}");
    assert!(said.ends_with("1 test of the plant's own profiles passed\n"), "{said}");

    std::fs::write(profiles.join("mine.yaml"), PROFILE.replace("low-first", "high-first"))
        .expect("written");
    let wrong = check(folder.path());
    let said = String::from_utf8_lossy(&wrong.stderr);
    assert_eq!(wrong.status.code(), Some(2), "{wrong:?}");
    assert!(said.contains("mine.yaml:12: a total beyond 16 bits: step 1: expected "), "{said}");
    assert!(said.contains("\"raw\":458753"), "{said}");
}
