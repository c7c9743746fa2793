//! Tables of texts, each with the lines that its faults show.

use super::faults;

pub(crate) type Cases<'a> = &'a [(&'a str, &'a [&'a str])];

/// Each text as the whole file.
pub(crate) fn files(cases: Cases<'_>) {
    for (text, expected) in cases {
        assert_eq!(faults(text), *expected, "{text}");
    }
}

/// Each text after the least that a floor needs; it begins on line 3.
pub(crate) fn floors(cases: Cases<'_>) {
    for (text, expected) in cases {
        let floor = "name: Hall\nmachines: [{name: m, mqtt: {topic: t}}]";
        assert_eq!(faults(&format!("{floor}\n{text}\n")), *expected, "{text}");
    }
}

/// Each text as the points of a machine; it begins on line 8.
pub(crate) fn points(cases: Cases<'_>) {
    for (text, expected) in cases {
        let machine = "name: Hall\nmachines:\n  - name: m\n    modbus:\n      host: h";
        let points = format!("{machine}\n      poll: 1s\n      points:\n        - {text}\n");
        assert_eq!(faults(&points), *expected, "{text}");
    }
}
