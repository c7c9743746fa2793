//! Reading a configuration: every fault at once, with line, path, and what is allowed.

#[path = "read/bounds.rs"]
mod bounds;
#[path = "read/cases.rs"]
mod cases;
#[path = "read/choices.rs"]
mod choices;
#[path = "read/random.rs"]
mod random;
#[path = "read/settings.rs"]
mod settings;
#[path = "read/text.rs"]
mod text;
#[path = "read/values.rs"]
mod values;

use settings::{Floor, GOOD, Point, Protocol, Words};
use stencilward_config::read::{read, schema, unchecked};

/// The faults as they are shown, without the file's name.
fn faults(text: &str) -> Vec<String> {
    match read::<Floor>("floor.yaml", text) {
        Ok(_) => Vec::new(),
        Err(faults) => faults
            .iter()
            .map(|fault| {
                let shown = fault.to_string();
                let shown = shown.strip_prefix("floor.yaml");
                shown.expect("the file is named").to_owned()
            })
            .collect(),
    }
}

#[test]
fn a_good_file_is_read() {
    let (floor, lines) = read::<Floor>("floor.yaml", GOOD).unwrap();
    assert_eq!(floor.machines.len(), 3);
    let Protocol::Modbus(modbus) = &floor.machines[2].protocol else {
        panic!("the alias gives what it repeats");
    };
    assert_eq!(modbus.unit, 17);
    assert!(matches!(
        modbus.points[0],
        Point::Strokes { register: 100, words: Some(Words::HighFirst), .. }
    ));
    assert_eq!(lines.line("machines[0].modbus.points[1].length"), Some(22));
}

#[test]
fn twelve_mistakes_are_told_at_once() {
    let text = r#"name: 2026
listen: printer
labls: {}
policy:
  reorder: 120
  by-hand: yes
machines:
  - name: printer-1
    modbus:
      unit: 248
      poll: 500
      points:
        - {signal: strokes, register: 100, words: high}
        - {signal: seatd, register: 70000, length: 8}
  - name: washer-1
    mqtt: {topc: plant/washer-1}
"#;
    let expected = [
        r#":1: name: text is needed, this is the number 2026; allowed: "2026", in quotes"#,
        ":2: listen: \"printer\" cannot be used here; \
         allowed: an IP address such as 192.0.2.10 or 2001:db8::10",
        ":3: labls: unknown key, did you mean \"labels\"?; \
         allowed: labels, listen, machines, name, policy, route, shifts, store, tell",
        ":5: policy.reorder: 120 is out of range; allowed: 0 to 100",
        r#":6: policy.by-hand: true or false is needed, this is the text "yes""#,
        ":9: machines[0].modbus.host: this key is missing; allowed: text (Host and port)",
        ":10: machines[0].modbus.unit: 248 is out of range; allowed: 1 to 247",
        ":11: machines[0].modbus.poll: text is needed, this is the number 500; \
         allowed: a number with its unit: 500ms, 5s, 2min",
        ":13: machines[0].modbus.points[0].words: \"high\" is not allowed here; \
         allowed: high-first, low-first",
        ":14: machines[0].modbus.points[1].signal: \"seatd\" is not allowed here, \
         did you mean \"seated\"?; allowed: strokes, seated, fault",
        ":14: machines[0].modbus.points[1].register: 70000 is out of range; allowed: 0 to 65535",
        ":16: machines[1].mqtt.topc: unknown key, did you mean \"topic\"?; allowed: topic",
    ];
    assert_eq!(faults(text), expected);
}

#[test]
fn later_checks_get_lines_too() {
    let (_, lines) = read::<Floor>("floor.yaml", GOOD).unwrap();
    let shown = |path: &str| lines.fault(path, "wrong").to_string();
    for (path, expected) in [
        ("name", "floor.yaml:2: name: wrong"),
        ("labels[\"line 1\"]", "floor.yaml:6: labels[\"line 1\"]: wrong"),
        ("machines[1].mqtt.topic", "floor.yaml:25: machines[1].mqtt.topic: wrong"),
        // What is not there is looked for where it would be.
        ("machines[1].mqtt.qos", "floor.yaml:25: machines[1].mqtt.qos: wrong"),
        ("machines[1].line", "floor.yaml:24: machines[1].line: wrong"),
        ("machines[9].line", "floor.yaml:12: machines[9].line: wrong"),
        ("nowhere", "floor.yaml:2: nowhere: wrong"),
        // What is repeated by an alias is mended where it is written.
        ("machines[2].modbus", "floor.yaml:27: machines[2].modbus: wrong"),
        ("machines[2].modbus.host", "floor.yaml:15: machines[2].modbus.host: wrong"),
        ("", "floor.yaml:2: wrong"),
    ] {
        assert_eq!(shown(path), expected);
    }
    let both = lines.faults([("machines[1].name", "used twice"), ("name", "odd")]);
    let both: Vec<String> = both.iter().map(ToString::to_string).collect();
    assert_eq!(both, ["floor.yaml:2: name: odd", "floor.yaml:24: machines[1].name: used twice"]);
}

#[test]
fn the_schema_is_published_as_it_is_checked() {
    let text = schema::<Floor>();
    assert_eq!(text, schema::<Floor>());
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    // https://json-schema.org/draft/2020-12, "$schema" names the dialect.
    assert_eq!(json["$schema"], "https://json-schema.org/draft/2020-12/schema");
    assert!(jsonschema::meta::is_valid(&json));
    assert_eq!(unchecked::<Floor>(), Vec::<String>::new());
}

#[test]
fn what_the_schema_demands_and_nobody_checks_is_listed() {
    #[derive(schemars::JsonSchema)]
    #[allow(dead_code)]
    struct Odd {
        #[schemars(extend("multipleOf" = 2))]
        even: u8,
        #[schemars(email)]
        mail: String,
        #[schemars(extend("pattern" = "(?=x)"))]
        ahead: String,
    }
    assert_eq!(
        unchecked::<Odd>(),
        [
            "#/properties/ahead/pattern: (?=x)",
            "#/properties/even/multipleOf",
            "#/properties/mail/format: \"email\"",
        ]
    );
}
