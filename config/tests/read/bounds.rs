//! Texts made to exhaust the reader: each is refused, quickly, with a reason.

use std::fmt::Write;

use super::faults;

fn only(text: &str) -> String {
    let faults = faults(text);
    assert_eq!(faults.len(), 1, "{faults:?}");
    faults.concat()
}

fn too_deep(line: usize) -> String {
    format!(":{line}: lists and keys are nested too deeply here; allowed: 64 levels")
}

#[test]
fn a_text_over_four_mebibytes_is_refused() {
    let text = "#".repeat((4 << 20) + 1);
    assert_eq!(only(&text), ": the file has 4194305 bytes; allowed: at most 4194304 bytes (4 MiB)");
    assert_eq!(only(&text[1..]), ": the file is empty");
}

#[test]
fn more_than_sixty_four_levels_are_refused() {
    let nested = |depth: usize| format!("deep: {}{}", "[".repeat(depth), "]".repeat(depth));
    assert!(!faults(&nested(63)).concat().contains("nested"));
    for depth in [64, 255, 256, 100_000] {
        assert_eq!(only(&nested(depth)), too_deep(1), "{depth}");
    }
    for piece in ["- ", "? ", "{a: ", "[{"] {
        let told = only(&piece.repeat(100_000));
        assert!(!told.is_empty(), "{piece}");
    }
    let mut steps = String::new();
    for level in 0..80 {
        writeln!(steps, "{}a:", " ".repeat(level)).unwrap();
    }
    assert_eq!(only(&steps), too_deep(65));
}

#[test]
fn levels_count_across_aliases() {
    let nested = |inner: &str| format!("{}{inner}{}", "[".repeat(30), "]".repeat(30));
    let text = format!("a: &a {}\nb: &b {}\nc: &c {}\n", nested("1"), nested("*a"), nested("*b"));
    let told = only(&text);
    assert_eq!(told, too_deep(3));
}

#[test]
fn an_alias_bomb_is_refused() {
    let mut bomb = String::from("a0: &a0 [lol, lol, lol, lol, lol, lol, lol, lol, lol, lol]\n");
    for level in 1..30 {
        let many = format!("*a{}, ", level - 1).repeat(10);
        writeln!(bomb, "a{level}: &a{level} [{many}]").unwrap();
    }
    let told = only(&bomb);
    assert!(told.contains("more is repeated than a configuration can need"), "{told}");
    let long = format!("a: &a {}\nb: [{}]", "x".repeat(1 << 19), "*a, ".repeat(9));
    let told = only(&long);
    assert!(told.contains(":2: "), "{told}");
}

#[test]
fn a_long_key_is_refused() {
    let told = only(&format!("{}: 1", "k".repeat(201)));
    assert!(told.ends_with("is too long; allowed: at most 200 characters"), "{told}");
}

#[test]
fn countless_faults_are_cut() {
    let mut text = String::from("name: x\nmachines: [{name: m, mqtt: {topic: t}}]\nshifts:\n");
    for _ in 0..5000 {
        text.push_str("  - 5\n");
    }
    let told = faults(&text);
    assert_eq!(told.len(), 1001);
    assert_eq!(told[0], ": more than 1000 faults; the rest is not told");
}

#[test]
fn a_plant_of_hundreds_of_machines_is_read_and_its_faults_found() {
    let points = |odd: usize| {
        let mut text = String::from("name: Hall\nmachines:\n");
        for machine in 0..300 {
            writeln!(text, "- name: m{machine}\n  modbus:\n    host: h\n    poll: 1s\n    points:")
                .unwrap();
            for point in 0..20 {
                let limit = if machine % 100 == 99 && point == 7 { odd } else { 2 };
                writeln!(text, "    - {{signal: fault, coil: {point}, limit: {limit}}}").unwrap();
            }
        }
        text
    };
    assert_eq!(faults(&points(2)), Vec::<String>::new());
    let told = faults(&points(3));
    assert_eq!(told.len(), 3);
    assert!(told[2].contains("machines[299].modbus.points[7].limit: 3 is odd"), "{told:?}");
}
