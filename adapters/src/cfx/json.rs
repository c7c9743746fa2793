//! Reading what other people's JSON says, tolerantly: pure, and never more work than the limits
//! allow.

use std::time::Duration;

use serde_json::{Map, Value};
use stencilward_domain::time::Timestamp;

use crate::link::Trouble;

/// What could not be understood: its kind, and in words.
pub(super) type Garbled = (Trouble, String);

/// Deepest nesting read.
const DEEPEST: usize = 64;
/// Most values and keys read of one message: each becomes many bytes in memory.
const MOST_VALUES: usize = 200_000;
/// Longest text kept of a machine, in characters.
const LONGEST_TEXT: usize = 200;

/// Reads JSON that is neither nested too deeply nor made of too many values.
pub(super) fn read(bytes: &[u8]) -> Result<Value, String> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    look_at_size(bytes)?;
    serde_json::from_slice(bytes).map_err(|error| format!("it is no JSON in UTF-8: {error}"))
}

fn look_at_size(bytes: &[u8]) -> Result<(), String> {
    let (mut depth, mut values, mut quoted, mut escaped) = (0_usize, 0_usize, false, false);
    for byte in bytes {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if quoted => escaped = true,
            b'"' => quoted = !quoted,
            _ if quoted => {}
            b'{' | b'[' => {
                (depth, values) = (depth + 1, values + 1);
                if depth > DEEPEST {
                    return Err(format!("it is nested more than {DEEPEST} levels deep"));
                }
            }
            b'}' | b']' => depth = depth.saturating_sub(1),
            b',' | b':' => values += 1,
            _ => {}
        }
        if values > MOST_VALUES {
            return Err(format!("it holds more than {MOST_VALUES} values"));
        }
    }
    Ok(())
}

/// A member of an object by its name, or by its name in other letter case; none where it is null.
pub(super) fn get<'a>(object: &'a Map<String, Value>, name: &str) -> Option<&'a Value> {
    let exact = object.get(name);
    let found = exact.or_else(|| {
        let mut members = object.iter();
        members.find(|(key, _)| key.eq_ignore_ascii_case(name)).map(|(_, value)| value)
    });
    found.filter(|value| !value.is_null())
}

/// The objects of a list; none where there is no list.
pub(super) fn objects<'a>(
    object: &'a Map<String, Value>,
    name: &str,
) -> impl Iterator<Item = &'a Map<String, Value>> {
    let list = get(object, name).and_then(Value::as_array);
    list.into_iter().flatten().filter_map(Value::as_object)
}

/// A member that is an object.
pub(super) fn object<'a>(of: &'a Map<String, Value>, name: &str) -> Option<&'a Map<String, Value>> {
    get(of, name)?.as_object()
}

/// A member that is a text with something in it.
pub(super) fn text<'a>(object: &'a Map<String, Value>, name: &str) -> Option<&'a str> {
    get(object, name)?.as_str().map(str::trim).filter(|text| !text.is_empty())
}

/// A whole number from 0, also where it stands in quotes or has a fraction of zero.
pub(super) fn count(object: &Map<String, Value>, name: &str) -> Option<u64> {
    let value = get(object, name)?;
    match value {
        Value::String(text) => text.trim().parse().ok(),
        _ => value.as_u64().or_else(|| whole(value.as_f64()?)),
    }
}

/// Only what can be held exactly.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn whole(number: f64) -> Option<u64> {
    let fits = (0.0..9_007_199_254_740_992.0).contains(&number) && number.fract() == 0.0;
    fits.then_some(number as u64)
}

/// A value of an enumeration, by its name in any letter case or by its number.
pub(super) fn choice(value: &Value, names: &[&str]) -> Option<usize> {
    let number = |number: u64| usize::try_from(number).ok().filter(|at| *at < names.len());
    match value {
        Value::String(text) => names
            .iter()
            .position(|name| name.eq_ignore_ascii_case(text.trim()))
            .or_else(|| number(text.trim().parse().ok()?)),
        _ => number(value.as_u64()?),
    }
}

/// A span as .NET writes it: `[-][d.]hh:mm:ss[.fffffff]`; none where it is negative.
/// Source: learn.microsoft.com, standard `TimeSpan` format strings, "c".
pub(super) fn span(text: &str) -> Option<Duration> {
    let mut parts = text.trim().split(':');
    let (first, minutes, seconds) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() {
        return None;
    }
    let (days, hours) = first.split_once('.').unwrap_or(("0", first));
    let whole = |part: &str| part.parse::<u64>().ok();
    let (seconds, fraction) = seconds.split_once('.').unwrap_or((seconds, ""));
    let (hours, minutes, seconds) = (whole(hours)?, whole(minutes)?, whole(seconds)?);
    if hours > 23 || minutes > 59 || seconds > 59 || fraction.len() > 7 {
        return None;
    }
    let nanos = match fraction {
        "" => 0,
        digits => format!("{digits:0<9}").parse().ok()?,
    };
    let days = whole(days)?.checked_mul(24)?.checked_add(hours)?.checked_mul(60)?;
    let seconds = days.checked_add(minutes)?.checked_mul(60)?.checked_add(seconds)?;
    Some(Duration::new(seconds, nanos))
}

/// An instant in ISO 8601; none without a zone.
pub(super) fn instant(text: &str) -> Option<Timestamp> {
    text.trim().parse::<jiff::Timestamp>().ok().map(|at| Timestamp(at.as_millisecond()))
}

/// An instant as it is written: ISO 8601 at UTC; none beyond what a calendar holds.
pub(super) fn written(at: Timestamp) -> Option<String> {
    jiff::Timestamp::from_millisecond(at.0).ok().map(|at| format!("{at:.3}"))
}

/// A span of less than a day as .NET writes it: `hh:mm:ss[.fffffff]`.
pub(super) fn written_span(span: Duration) -> String {
    let (seconds, ticks) = (span.as_secs(), span.subsec_nanos() / 100);
    let fraction = if ticks == 0 { String::new() } else { format!(".{ticks:07}") };
    format!("{:02}:{:02}:{:02}{fraction}", seconds / 3_600, seconds / 60 % 60, seconds % 60)
}

/// Free text of a machine, held to a length that a ledger and a page can bear.
pub(super) fn clipped(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(LONGEST_TEXT).collect()
}

/// The beginning of a text, in quotes.
pub(super) fn shortened(text: &str) -> String {
    format!("{:?}", text.chars().take(60).collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_read_as_dot_net_writes_them() {
        let seconds = |text| span(text).map(|span| span.as_secs_f64());
        // StencilCleaned.cs, TimeSinceLastClean; and the days of the format's own page.
        assert_eq!(seconds("00:33:00"), Some(1_980.0));
        assert_eq!(seconds("1.12:24:02"), Some(131_042.0));
        assert_eq!(seconds("00:00:38.5000000"), Some(38.5));
        for wrong in ["", "PT33M", "-00:00:01", "00:33", "1:2:3:4", "24:00:00", "00:60:00", "a:b:c"]
        {
            assert_eq!(span(wrong), None, "{wrong}");
        }
        assert_eq!(span("18446744073709551615.00:00:00"), None);
    }

    #[test]
    fn spans_are_written_so_that_they_can_be_read() {
        for (milliseconds, text) in
            [(60_000, "00:01:00"), (300_000, "00:05:00"), (1_500, "00:00:01.5000000")]
        {
            let whole = Duration::from_millis(milliseconds);
            assert_eq!(written_span(whole), text);
            assert_eq!(span(text), Some(whole));
        }
    }

    #[test]
    fn instants_need_a_zone() {
        let noon = Timestamp(1_772_359_200_123);
        assert_eq!(instant("2026-03-01T10:00:00.1230000Z"), Some(noon));
        assert_eq!(instant("2026-03-01T11:00:00.123+01:00"), Some(noon));
        assert_eq!(instant("2026-03-01T10:00:00"), None);
    }

    #[test]
    fn names_are_found_in_any_letter_case_and_null_is_nothing() {
        let Value::Object(body) = serde_json::json!({ "TransactionId": "a", "Lane": null }) else {
            unreachable!()
        };
        assert_eq!(text(&body, "TransactionID"), Some("a"));
        assert_eq!(get(&body, "Lane"), None);
    }

    #[test]
    fn values_of_enumerations_come_as_names_or_numbers() {
        let names = ["Unknown", "Cleaned", "NotCleaned"];
        for (value, at) in [
            (serde_json::json!("Cleaned"), Some(1)),
            (serde_json::json!("notcleaned"), Some(2)),
            (serde_json::json!(1), Some(1)),
            (serde_json::json!("2"), Some(2)),
            (serde_json::json!(3), None),
            (serde_json::json!("Shiny"), None),
        ] {
            assert_eq!(choice(&value, &names), at, "{value}");
        }
    }

    #[test]
    fn what_would_fill_the_memory_is_not_read() {
        assert!(read("[".repeat(65).as_bytes()).unwrap_err().contains("64 levels"));
        let many = format!("[{}0]", "0,".repeat(MOST_VALUES + 1));
        assert!(read(many.as_bytes()).unwrap_err().contains("values"));
        assert!(read(br#""[[[\"[[[" "#).is_ok(), "what is quoted is no structure");
    }
}
