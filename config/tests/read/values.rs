//! Each kind of fault in keys and values by itself.

use super::cases::{Cases, files, floors};

const KEYS: Cases<'_> = &[
    (
        "polcy: {}",
        &[
            r#":3: polcy: unknown key, did you mean "policy"?; allowed: labels, listen, machines, name, policy, route, shifts, store, tell"#,
        ],
    ),
    (
        "zzz: 1\nNames: 2",
        &[
            ":3: zzz: unknown key; allowed: labels, listen, machines, name, policy, route, shifts, store, tell",
            ":4: Names: unknown key; allowed: labels, listen, machines, name, policy, route, shifts, store, tell",
        ],
    ),
    (
        "policy: {by_hand: true}",
        &[
            r#":3: policy.by_hand: unknown key, did you mean "by-hand"?; allowed: by-hand, offset, reorder, strokes, wash-valid"#,
        ],
    ),
    (
        "labels: {1: a, true: b, ~: c, 'a.b': 5}",
        &[r#":3: labels["a.b"]: text is needed, this is the number 5; allowed: "5", in quotes"#],
    ),
    (
        "route: {from: a, over: x, limit: 2, to: b, vja: 3}",
        &[":3: route.vja: unknown key; allowed: from, limit, over, to"],
    ),
    (
        "route: {from: a, ovr: x, limit: 2, to: b}",
        &[r#":3: route.ovr: unknown key, did you mean "over"?; allowed: from, limit, over, to"#],
    ),
    (
        "route: {from: a, to: b}",
        &[
            ":3: route.limit: this key is missing; allowed: a whole number, 0 to 65535 (An even number)",
            ":3: route.over: this key is missing; allowed: text",
        ],
    ),
];

#[test]
fn unknown_and_missing_keys() {
    floors(KEYS);
}

const KINDS: Cases<'_> = &[
    (
        "policy: 5",
        &[
            ":3: policy: a group of keys is needed, this is the number 5; allowed: the keys by-hand, offset, reorder, strokes, wash-valid",
        ],
    ),
    (
        "policy:",
        &[
            ":3: policy: a group of keys is needed, nothing is written here; allowed: the keys by-hand, offset, reorder, strokes, wash-valid",
        ],
    ),
    (
        "policy: []",
        &[
            ":3: policy: a group of keys is needed, this is a list; allowed: the keys by-hand, offset, reorder, strokes, wash-valid",
        ],
    ),
    ("shifts: early", &[r#":3: shifts: a list is needed, this is the text "early""#]),
    ("labels: [a]", &[":3: labels: a group of keys is needed, this is a list"]),
    (
        "labels: {a: 1}",
        &[r#":3: labels.a: text is needed, this is the number 1; allowed: "1", in quotes"#],
    ),
    (
        "labels: {a: 0012}",
        &[r#":3: labels.a: text is needed, this is the number 0012; allowed: "0012", in quotes"#],
    ),
    (
        "labels: {a: true}",
        &[r#":3: labels.a: text is needed, this is true; allowed: "true", in quotes"#],
    ),
    ("labels: {a: [x]}", &[":3: labels.a: text is needed, this is a list"]),
    ("labels: {a: ~}", &[":3: labels.a: text is needed, nothing is written here"]),
    (
        "listen: 5",
        &[
            ":3: listen: text is needed, this is the number 5; allowed: an IP address such as 192.0.2.10 or 2001:db8::10",
        ],
    ),
    ("listen: ~", &[]),
    (
        "policy: {reorder: x}",
        &[
            r#":3: policy.reorder: a number is needed, this is the text "x"; allowed: a number, 0 to 100"#,
        ],
    ),
    (
        "policy: {wash-valid: 5}",
        &[
            ":3: policy.wash-valid: text is needed, this is the number 5; allowed: a number with its unit: 500ms, 5s, 2min",
        ],
    ),
    (
        "policy: {wash-valid: [1]}",
        &[
            ":3: policy.wash-valid: text is needed, this is a list; allowed: a number with its unit: 500ms, 5s, 2min",
        ],
    ),
    (
        "policy: {by-hand: on}",
        &[r#":3: policy.by-hand: true or false is needed, this is the text "on""#],
    ),
    (
        "policy: {by-hand: 1}",
        &[":3: policy.by-hand: true or false is needed, this is the number 1"],
    ),
    (
        "policy: {offset: 1.5}",
        &[
            ":3: policy.offset: a whole number is needed, this is the number 1.5; allowed: a whole number, -32768 to 32767",
        ],
    ),
    (
        "policy: {strokes: 1e3}",
        &[
            ":3: policy.strokes: a whole number is needed, this is the number 1e3; allowed: a whole number, 0 or more",
        ],
    ),
    (
        "policy: {strokes: 10_000}",
        &[
            r#":3: policy.strokes: a whole number is needed, this is the text "10_000"; allowed: a whole number, 0 or more"#,
        ],
    ),
    (
        "policy: {reorder: .nan}",
        &[
            r#":3: policy.reorder: a number is needed, this is the text ".nan"; allowed: a number, 0 to 100"#,
        ],
    ),
];

#[test]
fn values_of_the_wrong_kind() {
    floors(KINDS);
}

const BOUNDS: Cases<'_> = &[
    ("policy: {reorder: 100.5}", &[":3: policy.reorder: 100.5 is out of range; allowed: 0 to 100"]),
    ("policy: {reorder: -1}", &[":3: policy.reorder: -1 is out of range; allowed: 0 to 100"]),
    (
        "policy: {offset: 40000}",
        &[":3: policy.offset: 40000 is out of range; allowed: -32768 to 32767"],
    ),
    (
        "policy: {offset: 99999999999999999999}",
        &[
            ":3: policy.offset: 99999999999999999999 is out of range; allowed: a whole number, -32768 to 32767",
        ],
    ),
    (
        "policy: {strokes: 18446744073709551616}",
        &[
            ":3: policy.strokes: 18446744073709551616 is out of range; allowed: a whole number, 0 or more",
        ],
    ),
    ("policy: {strokes: 18446744073709551615}", &[]),
    ("policy: {strokes: -1}", &[":3: policy.strokes: -1 is out of range; allowed: 0 or more"]),
    (
        "policy: {wash-valid: soon}",
        &[
            r#":3: policy.wash-valid: "soon" cannot be used here; allowed: a number with its unit: 500ms, 5s, 2min"#,
        ],
    ),
    (
        "listen: 1.2.3",
        &[
            r#":3: listen: "1.2.3" cannot be used here; allowed: an IP address such as 192.0.2.10 or 2001:db8::10"#,
        ],
    ),
    (
        "shifts: [early, early]",
        &[":3: shifts[1]: the same item stands in this list before; allowed: each item once"],
    ),
    (
        "shifts: [erly]",
        &[
            r#":3: shifts[0]: "erly" is not allowed here, did you mean "early"?; allowed: early, late, night"#,
        ],
    ),
];

#[test]
fn values_out_of_bounds() {
    floors(BOUNDS);
}

const WHOLE: Cases<'_> = &[
    ("# only a remark", &[": the file is empty"]),
    (
        "~",
        &[
            ":1: a group of keys is needed, nothing is written here; allowed: the keys labels, listen, machines, name, policy, route, shifts, store, tell",
        ],
    ),
    (
        "[]",
        &[
            ":1: a group of keys is needed, this is a list; allowed: the keys labels, listen, machines, name, policy, route, shifts, store, tell",
        ],
    ),
    (
        "name",
        &[
            r#":1: a group of keys is needed, this is the text "name"; allowed: the keys labels, listen, machines, name, policy, route, shifts, store, tell"#,
        ],
    ),
    (
        "name: ''\nmachines: []",
        &[
            ":1: name: this text is empty; allowed: 1 to 12 characters",
            ":2: machines: this list is empty; allowed: 1 or more",
        ],
    ),
    (
        "name: a very long name indeed",
        &[
            ":1: machines: this key is missing; allowed: a list, 1 or more items (The machines)",
            ":1: name: this text has 23 characters; allowed: 1 to 12 characters",
        ],
    ),
    (
        "name: x\nmachines:\n  - name: m",
        &[
            ":3: machines[0]: one key is missing that says which kind this is; allowed: one of modbus, mqtt",
        ],
    ),
    (
        "name: x\nmachines:\n  - name: m\n    modbsu: {}",
        &[
            r#":4: machines[0].modbsu: unknown key, did you mean "modbus"?; allowed: modbus, mqtt, name"#,
        ],
    ),
    (
        "name: x\nmachines:\n  - name: m\n    mqtt: {topic: t}\n    modbus: {host: x}",
        &[
            r#":5: machines[0].modbus: this key cannot stand beside "mqtt"; allowed: one of modbus, mqtt"#,
            ":5: machines[0].modbus.points: this key is missing; allowed: a list",
            ":5: machines[0].modbus.poll: this key is missing; allowed: a number with its unit: 500ms, 5s, 2min (The time between two rounds of reads)",
        ],
    ),
];

#[test]
fn the_file_as_a_whole() {
    files(WHOLE);
}
