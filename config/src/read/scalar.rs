//! From a single word or number, as written, to a value: the core schema of YAML 1.2.

use saphyr_parser::{ScalarStyle, Tag};
use serde_json::Number;

use super::tree::{Kind, Value};

/// What a scalar means. Only what is written without quotes can be anything but text, so `yes`,
/// `1_000` and `12:30` are text, as YAML 1.2 has it.
///
/// # Errors
/// A sentence when the scalar has a tag that is unknown or does not fit.
pub(crate) fn resolve(text: &str, style: ScalarStyle, tag: Option<&Tag>) -> Result<Value, String> {
    let Some(tag) = tag else {
        return Ok(match style {
            ScalarStyle::Plain => plain(text),
            _ => Value::Text(text.into()),
        });
    };
    let wanted: &[Kind] = match tag.suffix.as_str() {
        "str" if tag.is_yaml_core_schema() => return Ok(Value::Text(text.into())),
        "null" if tag.is_yaml_core_schema() => &[Kind::Null],
        "bool" if tag.is_yaml_core_schema() => &[Kind::Bool],
        "int" if tag.is_yaml_core_schema() => &[Kind::Whole],
        "float" if tag.is_yaml_core_schema() => &[Kind::Whole, Kind::Fraction],
        _ => return Err(unknown_tag(tag)),
    };
    let value = plain(text);
    if wanted.contains(&kind(&value)) {
        Ok(value)
    } else {
        Err(format!("the value does not fit its tag {}", shown(tag)))
    }
}

/// Why a list or a map cannot have this tag, if it cannot.
pub(crate) fn refuse_tag(tag: Option<&Tag>, fitting: &str) -> Option<String> {
    let tag = tag?;
    let fits = tag.is_yaml_core_schema() && tag.suffix == fitting;
    (!fits).then(|| unknown_tag(tag))
}

fn unknown_tag(tag: &Tag) -> String {
    format!("the tag {} has no meaning here", shown(tag))
}

fn shown(tag: &Tag) -> String {
    if tag.is_yaml_core_schema() {
        format!("!!{}", tag.suffix)
    } else {
        format!("{}{}", tag.handle, tag.suffix)
    }
}

fn plain(text: &str) -> Value {
    match text {
        "" | "~" | "null" | "Null" | "NULL" => Value::Null,
        "true" | "True" | "TRUE" => Value::Bool(true),
        "false" | "False" | "FALSE" => Value::Bool(false),
        _ => match number(text) {
            Some(number) => Value::Number(number, text.into()),
            None => Value::Text(text.into()),
        },
    }
}

/// Numbers without a finite value (`.inf`, `.nan`) stay text: no setting can use them.
fn number(text: &str) -> Option<Number> {
    for (prefix, radix) in [("0x", 16), ("0o", 8)] {
        if let Some(digits) = text.strip_prefix(prefix) {
            let signed = digits.starts_with(['+', '-']);
            let value = u64::from_str_radix(digits, radix).ok();
            return value.filter(|_| !signed).map(Number::from);
        }
    }
    let unsigned = text.strip_prefix(['+', '-']).unwrap_or(text);
    let point = unsigned.strip_prefix('.').unwrap_or(unsigned);
    let usual = |c: char| matches!(c, '0'..='9' | '.' | 'e' | 'E' | '+' | '-');
    if !point.starts_with(|c: char| c.is_ascii_digit()) || !unsigned.chars().all(usual) {
        return None;
    }
    let whole = text.parse::<i64>().map(Number::from).ok();
    let whole = whole.or_else(|| text.parse::<u64>().map(Number::from).ok());
    whole.or_else(|| text.parse::<f64>().ok().and_then(Number::from_f64))
}

fn kind(value: &Value) -> Kind {
    match value {
        Value::Null => Kind::Null,
        Value::Bool(_) => Kind::Bool,
        Value::Number(number, _) if number.is_f64() => Kind::Fraction,
        Value::Number(..) => Kind::Whole,
        _ => Kind::Text,
    }
}

#[cfg(test)]
mod tests {
    use super::super::tree::{Mark, Node};
    use super::*;

    #[test]
    fn plain_scalars_follow_the_core_schema() {
        // YAML 1.2.2, section 10.3.2, "Tag Resolution".
        for (text, expected) in [
            ("", "null"),
            ("~", "null"),
            ("Null", "null"),
            ("TRUE", "true"),
            ("false", "false"),
            ("0", "0"),
            ("0o7", "7"),
            ("0x3A", "58"),
            ("-19", "-19"),
            ("+12", "12"),
            ("012", "12"),
            ("18446744073709551615", "18446744073709551615"),
            ("0.", "0.0"),
            ("-0.0", "-0.0"),
            (".5", "0.5"),
            ("+12e03", "12000.0"),
            ("-2E+05", "-200000.0"),
        ] {
            assert_eq!(json(text), expected, "{text}");
        }
    }

    #[test]
    fn the_rest_is_text() {
        for text in [
            "yes",
            "no",
            "on",
            "Off",
            "y",
            "nULL",
            ".inf",
            "-.INF",
            ".nan",
            "1_000",
            "12:30",
            "0x",
            "0x-1",
            "0o8",
            "1e999",
            "-",
            ".",
            "e5",
            "1.2.3",
            "+-1",
            "infinity",
            "NaN",
            "2026-01-02",
        ] {
            let expected = serde_json::Value::from(text).to_string();
            assert_eq!(json(text), expected, "{text}");
        }
    }

    fn json(text: &str) -> String {
        let value = resolve(text, ScalarStyle::Plain, None).unwrap();
        let mark = Mark { file: 0, line: 1, column: 1 };
        Node { mark, value }.to_json().to_string()
    }
}
