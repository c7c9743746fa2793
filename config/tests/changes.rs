//! What differs between two configurations, in words.

#![allow(clippy::unwrap_used, clippy::panic)]

use stencilward_config::{Configuration, Difference};

const PLANT: &str = "\
site: Invented Works
policy: { wash: { valid-for: 72h } }
stencils:
  - { code: ST-1, rated-strokes: 1000 }
brokers: [{ name: floor, address: \"127.0.0.1:1883\", client: stencilward }]
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 8s
    modbus:
      address: 127.0.0.1:502
      points:
        - { signal: stroke-total, table: input, at: 0, type: u16 }
";

fn plant(text: &str) -> Configuration {
    stencilward_config::parse("plant.yaml", text).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

fn words(from: &str, to: &str) -> Vec<String> {
    assert!(PLANT.contains(from), "{from}");
    let other = plant(&PLANT.replacen(from, to, 1));
    plant(PLANT).changes(&other).into_iter().map(|change| change.words).collect()
}

#[test]
fn each_kind_of_change_is_told() {
    for (from, to, expected) in [
        ("72h", "48h", "the plant: policy.wash.valid-for is 2days; it was 3days"),
        ("policy: ", "policy: ", ""),
        (
            "rated-strokes: 1000",
            "rated-strokes: 900",
            "stencil ST-1: rated-strokes is 900; it was 1000",
        ),
        (
            "rated-strokes: 1000",
            "rated-strokes: 1000, clean: true",
            "stencil ST-1: clean is true; it was false (taken in once: this changes nothing)",
        ),
        ("code: ST-1,", "code: ST-1, product: Heron,", "stencil ST-1: product is set to Heron"),
        ("at: 0", "at: 2", "machine printer-1: modbus.points[0].at is 2; it was 0"),
        (
            "kind: printer\n",
            "kind: printer\n    trial: true\n",
            "machine printer-1: trial is true; it was false",
        ),
        (
            "client: stencilward",
            "client: other",
            "broker floor: client is other; it was stencilward",
        ),
        ("      points:\n", "      unit: 1\n      points:\n", ""),
    ] {
        let expected: Vec<&str> = if expected.is_empty() { Vec::new() } else { vec![expected] };
        assert_eq!(words(from, to), expected);
    }
}

#[test]
fn what_comes_and_goes_is_told_by_its_name() {
    let told =
        words("  - { code: ST-1, rated-strokes: 1000 }", "  - { code: ST-2, rated-strokes: 1000 }");
    let gone = "stencil ST-1 is no longer listed; it stays in the ledger: retire it if it is gone";
    assert_eq!(told, [gone, "stencil ST-2 is added"]);
    let told = words("name: printer-1", "name: printer-9");
    assert_eq!(told, ["machine printer-1 is taken out", "machine printer-9 is added"]);
    let added = "        - { signal: fault, table: coil, at: 9, code: E-9, text: x }\n";
    let other = plant(&format!("{PLANT}{added}"));
    let changes = plant(PLANT).changes(&other);
    assert_eq!((changes.len(), changes[0].change), (1, Difference::Added));
    assert!(changes[0].words.starts_with("machine printer-1: modbus.points now holds {"));
    let order = plant(PLANT).changes(&plant(PLANT));
    assert_eq!(order, []);
}
