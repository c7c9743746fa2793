//! Faults of the text itself: what is not YAML, and YAML that is not used here.

use super::cases::{Cases, files};

const NOT_YAML: Cases<'_> = &[
    ("a:\n\tb: 1", &[":2: a tab at the beginning of the line; allowed: spaces"]),
    ("a: 5\n\tb: 1", &[":2: a tab at the beginning of the line; allowed: spaces"]),
    (
        "a: b: c",
        &[
            r#":1: a second ": " in one value, or a line indented further than its neighbours; allowed: text that holds ": " in quotes; keys of one group exactly below each other; a blank after the ":" of each key"#,
        ],
    ),
    (
        "a: 1\n b: 2",
        &[
            r#":2: a second ": " in one value, or a line indented further than its neighbours; allowed: text that holds ": " in quotes; keys of one group exactly below each other; a blank after the ":" of each key"#,
        ],
    ),
    (
        "a:b\nc: d",
        &[
            r#":2: a second ": " in one value, or a line indented further than its neighbours; allowed: text that holds ": " in quotes; keys of one group exactly below each other; a blank after the ":" of each key"#,
        ],
    ),
    ("a: 1\nb", &[r#":2: a key without its ":"; allowed: "key: value""#]),
    ("a: 1\nb\n\n# c\nc: 1", &[r#":2: a key without its ":"; allowed: "key: value""#]),
    (
        "key: value\n- item",
        &[
            ":2: this line does not line up with the keys above it; allowed: keys of one group exactly below each other",
        ],
    ),
    (
        "- 1\nb: 2",
        &[
            r#":2: this line does not line up with the list above it; allowed: "- " of one list, and the keys of one item, exactly below each other"#,
        ],
    ),
    (
        "a:\n  - b: 1\n   c: 2",
        &[
            r#":3: this line does not line up with the list above it; allowed: "- " of one list, and the keys of one item, exactly below each other"#,
        ],
    ),
    (
        "a: |\n  x\n y",
        &[
            ":3: this line does not line up with the keys above it; allowed: keys of one group exactly below each other",
        ],
    ),
    (
        "a: - b",
        &[
            r#":1: a list cannot begin on the line of its key; allowed: each "- " on a line of its own, below the key"#,
        ],
    ),
    (
        "a: [1,\nb: 2",
        &[":2: a bracket is opened and not closed before the next key; allowed: a closing bracket"],
    ),
    (
        "a: [1 2",
        &[r#":1: a "[" is not closed, or a comma is missing within it; allowed: [value, value]"#],
    ),
    (
        "a: {b: 1",
        &[
            r#":1: a "{" is not closed, or a comma is missing within it; allowed: {key: value, key: value}"#,
        ],
    ),
    ("a: [1,,2]", &[":1: a value is missing here; allowed: a value, or no comma"]),
    (
        "a: }",
        &[
            ":1: a closing bracket that was never opened; allowed: text that holds brackets in quotes",
        ],
    ),
    (
        "a: \"x\nb: 2",
        &[":1: a quote is opened and not closed before the next key; allowed: a closing quote"],
    ),
    (r#"a: "abc"#, &[":1: a quote is opened and not closed; allowed: a closing quote"]),
    (
        "a: 'it's'",
        &[
            r#":1: more text after the closing quote; allowed: a quote within '…' written twice, within "…" as \""#,
        ],
    ),
    (
        r#"a: "\d""#,
        &[
            r#":1: "\" followed by a character that has no meaning after it; allowed: text that holds "\" in single quotes"#,
        ],
    ),
    ("a: @x", &[":1: text cannot begin with this character; allowed: the text in quotes"]),
    ("a: %x", &[":1: text cannot begin with this character; allowed: the text in quotes"]),
    (
        "a: *x",
        &[
            r#":1: an alias ("*") of what is not marked with "&" before; allowed: an anchor "&name" above the alias; text that begins with "*" in quotes"#,
        ],
    ),
    (
        "a: [-]",
        &[r#":1: text cannot begin with "-" and a bracket or comma; allowed: the text in quotes"#],
    ),
    ("a: \u{0}b", &[":1: a control character; allowed: printable characters"]),
    (
        "a: !!x!y z",
        &[
            ":1: this is not YAML: while scanning a tag, did not find expected whitespace or line break",
        ],
    ),
    ("%FOO", &[":1: this is not YAML: did not find expected <document start>"]),
    (
        "a: !<x y",
        &[":1: this is not YAML: while scanning a verbatim tag, did not find the expected '>'"],
    ),
];

#[test]
fn what_is_not_yaml() {
    files(NOT_YAML);
}

const NOT_USED: Cases<'_> = &[
    ("a: 1\n---\nb: 2", &[":2: a second document begins here; one is needed"]),
    ("a: &x [*x]", &[":1: a: this alias stands within what it repeats"]),
    ("&a a: 1", &[":1: an anchor cannot stand before a key"]),
    ("? [a]: b", &[":1: a key must be one word or text"]),
    ("<<: {a: 1}", &[r#":1: merging with "<<" is not part of YAML 1.2; write the keys out"#]),
    ("a: &x 1\n*x : b", &[":2: an alias cannot be a key"]),
    (
        "name: x\nname: y\nmachines: [{name: m, mqtt: {topic: a, topic: b}}]\nname: z",
        &[
            ":2: name: this key is written twice, first on line 1",
            ":3: machines[0].mqtt.topic: this key is written twice, first on line 3",
            ":4: name: this key is written twice, first on line 1",
        ],
    ),
    (
        "name: !!int x\nmachines: !foo [{name: m, mqtt: {topic: t}}]",
        &[
            ":1: name: the value does not fit its tag !!int",
            ":2: machines: the tag !foo has no meaning here",
        ],
    ),
    ("name: !!str 5\nmachines: !!seq [{name: m, mqtt: {topic: t}}]", &[]),
    ("name: &n x\nmachines: [{name: *n, mqtt: {topic: *n}}]", &[]),
];

#[test]
fn yaml_that_a_configuration_does_not_use() {
    files(NOT_USED);
}
