//! Faults where settings are one thing or another, and what only types can refuse.

use super::cases::{Cases, floors, points};

const UNTAGGED: Cases<'_> = &[
    (
        "tell: 5",
        &[r#":3: tell: text or a list is needed, this is the number 5; allowed: "5", in quotes"#],
    ),
    (
        "tell: [1]",
        &[r#":3: tell[0]: text is needed, this is the number 1; allowed: "1", in quotes"#],
    ),
    (
        "tell: {a: 1}",
        &[":3: tell: text or a list is needed, this is a group of keys; allowed: text, or a list"],
    ),
    (
        "store: file",
        &[
            r#":3: store: "file" is not allowed here; allowed: none, or the key file, or the key cluster"#,
        ],
    ),
    ("store: none", &[]),
    (
        "store: 5",
        &[
            ":3: store: text or a group of keys is needed, this is the number 5; allowed: none, or the key file, or the key cluster",
        ],
    ),
    (
        "store: {}",
        &[
            ":3: store: one key is missing that says which kind this is; allowed: one of file, cluster",
        ],
    ),
    (
        "store: {fil: {path: x}}",
        &[r#":3: store.fil: unknown key, did you mean "file"?; allowed: cluster, file"#],
    ),
    (
        "store: {file: {path: x}, cluster: {servers: []}}",
        &[
            r#":3: store.cluster: this key cannot stand beside "file"; allowed: one of file, cluster"#,
        ],
    ),
    (
        "store: {file: {pth: x}}",
        &[r#":3: store.file.pth: unknown key, did you mean "path"?; allowed: path"#],
    ),
    (
        "store: {file: x, other: 3}",
        &[
            r#":3: store.file: a group of keys is needed, this is the text "x"; allowed: the key path"#,
            ":3: store.other: unknown key; allowed: file",
        ],
    ),
    (
        "store: {zzz: x}",
        &[
            ":3: store: one key is missing that says which kind this is; allowed: one of file, cluster",
            ":3: store.zzz: unknown key; allowed: cluster, file",
        ],
    ),
];

#[test]
fn choices_without_a_tag() {
    floors(UNTAGGED);
}

const TAGGED: Cases<'_> = &[
    (
        "{signal: strokes}",
        &[
            ":8: machines[0].modbus.points[0].register: this key is missing; allowed: a whole number, 0 to 65535",
        ],
    ),
    (
        "{signal: stroks, register: 1}",
        &[
            r#":8: machines[0].modbus.points[0].signal: "stroks" is not allowed here, did you mean "strokes"?; allowed: strokes, seated, fault"#,
        ],
    ),
    (
        "{signal: stroks, registr: 1}",
        &[
            r#":8: machines[0].modbus.points[0].signal: "stroks" is not allowed here, did you mean "strokes"?; allowed: strokes, seated, fault"#,
            r#":8: machines[0].modbus.points[0].registr: unknown key, did you mean "register"?; allowed: register, signal, wait, words"#,
        ],
    ),
    (
        "{register: 1, length: 300}",
        &[
            ":8: machines[0].modbus.points[0].signal: this key is missing; allowed: strokes, seated, fault",
            ":8: machines[0].modbus.points[0].length: 300 is out of range; allowed: 0 to 255",
        ],
    ),
    (
        "{register: 1}",
        &[
            ":8: machines[0].modbus.points[0].signal: this key is missing; allowed: strokes, seated, fault",
        ],
    ),
    (
        "{signal: zzzzz, coil: x}",
        &[
            r#":8: machines[0].modbus.points[0].signal: "zzzzz" is not allowed here; allowed: strokes, seated, fault"#,
            r#":8: machines[0].modbus.points[0].coil: a whole number is needed, this is the text "x"; allowed: a whole number, 0 to 65535"#,
        ],
    ),
    (
        "{signal: zzzz, foo: 5}",
        &[
            r#":8: machines[0].modbus.points[0].signal: "zzzz" is not allowed here; allowed: strokes, seated, fault"#,
        ],
    ),
    (
        "{signal: 5, coil: x}",
        &[
            ":8: machines[0].modbus.points[0].signal: text is needed, this is the number 5; allowed: strokes, seated, fault",
            r#":8: machines[0].modbus.points[0].coil: a whole number is needed, this is the text "x"; allowed: a whole number, 0 to 65535"#,
        ],
    ),
    (
        "{signal: strokes, length: 3, register: 5}",
        &[
            ":8: machines[0].modbus.points[0].length: unknown key; allowed: register, signal, wait, words",
        ],
    ),
    (
        "5",
        &[
            ":8: machines[0].modbus.points[0]: a group of keys is needed, this is the number 5; allowed: a group of keys with signal: strokes, seated, fault",
        ],
    ),
    (
        "{signal: strokes, register: 1, words: 5}",
        &[
            ":8: machines[0].modbus.points[0].words: text is needed, this is the number 5; allowed: high-first, low-first",
        ],
    ),
    (
        "{signal: strokes, register: 1, words: HighFirst}",
        &[
            r#":8: machines[0].modbus.points[0].words: "HighFirst" is not allowed here, did you mean "high-first"?; allowed: high-first, low-first"#,
        ],
    ),
    ("{signal: strokes, register: 1, words: ~}", &[]),
];

#[test]
fn choices_with_a_tag() {
    points(TAGGED);
}

const WITHIN_TAGGED: Cases<'_> = &[
    (
        "{signal: fault, coil: 3, limit: 3}",
        &[
            ":8: machines[0].modbus.points[0].limit: 3 is odd; allowed: a whole number, 0 to 65535 (An even number)",
        ],
    ),
    (
        "{signal: fault, coil: 3, limit: 3}\n        - {signal: strokes, register: 1}\n        - {signal: fault, coil: 7, limit: 5}\n        - {signal: strokes, register: 1, wait: 5 parsecs}",
        &[
            ":8: machines[0].modbus.points[0].limit: 3 is odd; allowed: a whole number, 0 to 65535 (An even number)",
            ":10: machines[0].modbus.points[2].limit: 5 is odd; allowed: a whole number, 0 to 65535 (An even number)",
            r#":11: machines[0].modbus.points[3].wait: unknown time unit "parsecs", supported units: ns, us/µs, ms, sec, min, hours, days, weeks, months, years (and few variations); allowed: a number with its unit: 500ms, 5s, 2min"#,
        ],
    ),
    (
        "{signal: fault, coil: 3, limit: 3}\n        - {signal: fault, coil: 70000}",
        &[":9: machines[0].modbus.points[1].coil: 70000 is out of range; allowed: 0 to 65535"],
    ),
    (
        "{signal: fault, coil: 3, texts: {a: on, not ok: off, z: on}}",
        &[r#":8: machines[0].modbus.points[0].texts["not ok"]: this is more than one word"#],
    ),
];

#[test]
fn what_only_the_type_can_refuse_is_found_within_tagged_types() {
    points(WITHIN_TAGGED);
}

const WITHIN_FLATTENED: Cases<'_> = &[(
    "route: {from: a, over: x, limit: 3, to: b}\npolicy: {wash-valid: 5 parsecs}",
    &[
        ":3: route.limit: 3 is odd; allowed: a whole number, 0 to 65535 (An even number)",
        r#":4: policy.wash-valid: unknown time unit "parsecs", supported units: ns, us/µs, ms, sec, min, hours, days, weeks, months, years (and few variations); allowed: a number with its unit: 500ms, 5s, 2min"#,
    ],
)];

#[test]
fn what_only_the_type_can_refuse_is_found_within_flattened_types() {
    floors(WITHIN_FLATTENED);
}
