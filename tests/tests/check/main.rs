//! `stencilward check`, run as a program on faulty and doubtful files, says what the recordings
//! beside those files say.

use std::process::Command;

use stencilward_tests::root;

/// What the program says of a file in `config/faulty`, and how it ends.
fn check(name: &str) -> (String, Option<i32>) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("check").arg(format!("{name}.yaml"));
    command.current_dir(root().join("config/faulty"));
    let output = command.output().expect("it runs");
    let said = [output.stdout, output.stderr].concat();
    (String::from_utf8(said).expect("it writes UTF-8"), output.status.code())
}

/// Compares with the recording, or writes it where `STENCILWARD_WRITE` is set.
fn as_recorded(name: &str, said: &str) {
    let file = root().join(format!("config/faulty/{name}.txt"));
    if std::env::var_os("STENCILWARD_WRITE").is_some() {
        std::fs::write(&file, said).expect("it can be written");
    }
    let recorded = std::fs::read_to_string(&file).expect("a recording");
    assert_eq!(said, recorded, "STENCILWARD_WRITE=1 writes {name}.txt anew");
}

/// The line and key of each fault that a recording tells.
fn places(said: &str) -> Vec<(&str, &str)> {
    let faults = said.lines().filter_map(|line| line.split_once(".yaml:"));
    faults
        .filter_map(|(_, rest)| {
            let mut parts = rest.splitn(3, ": ");
            let line = parts.next().filter(|line| line.parse::<usize>().is_ok())?;
            Some((line, parts.next()?))
        })
        .collect()
}

#[test]
fn twelve_mistakes_are_all_named_at_their_places() {
    let (said, status) = check("twelve");
    assert_eq!(status, Some(2));
    let told = places(&said);
    assert_eq!(
        told,
        [
            ("5", "policy.wear.reorder"),
            ("10", "stencils[1].rated-strokes"),
            ("14", "machines[0].fastest-cylce"),
            ("18", "machines[0].modbus.points[0].words"),
            ("19", "machines[0].modbus.points[1].values.1"),
            ("29", "machines[1].modbus.points[0].at"),
            ("31", "machines[1].modbus.points[2].at"),
            ("37", "machines[2].modbus.poll"),
            ("49", "machines[3].modbus.points[0].at"),
            ("51", "machines[4].name"),
            ("54", "machines[4].mqtt.broker"),
            ("59", "machines[5].counts-for"),
        ]
    );
    as_recorded("twelve", &said);
}

#[test]
fn rules_that_contradict_themselves_are_faults() {
    let (said, status) = check("without-effect");
    assert_eq!((status, places(&said).len()), (Some(2), 7), "{said}");
    as_recorded("without-effect", &said);
}

#[test]
fn what_has_no_effect_is_noted_and_no_fault() {
    let (said, status) = check("notes");
    assert_eq!((status, places(&said).len()), (Some(0), 10), "{said}");
    assert!(said.lines().rev().skip(1).all(|line| line.starts_with("note: ")), "{said}");
    as_recorded("notes", &said);
}
