//! A message's payload: JSON, text or a plain number.

use std::borrow::Cow;

use stencilward_domain::time::Timestamp;

use super::json::Json;
use crate::link::Trouble;

/// What could not be understood, and what to check.
pub(super) type Garbled = (Trouble, String);

/// A payload, read as JSON only when somebody points into it, and only once.
pub(super) struct Text<'a> {
    payload: &'a [u8],
    json: Option<Result<Json<'a>, String>>,
    /// The levels of the topic that have a name.
    levels: Vec<(String, Json<'a>)>,
}

impl<'a> Text<'a> {
    pub(super) fn new(payload: &'a [u8]) -> Self {
        Self { payload, json: None, levels: Vec::new() }
    }

    fn json(&mut self) -> Result<&Json<'a>, Garbled> {
        let json = self.json.get_or_insert_with(|| {
            serde_json::from_slice(self.payload).map_err(|error| error.to_string())
        });
        json.as_ref()
            .map_err(|error| (Trouble::Unreadable, format!("the payload is no JSON ({error})")))
    }

    /// What can be pointed to with the name of a level, from now on.
    pub(super) fn name_levels<'l>(&mut self, levels: impl Iterator<Item = (&'l str, &'a str)>) {
        let level = |value| Json::Text(Cow::Borrowed(value));
        self.levels = levels.map(|(name, it)| (format!("{{{name}}}"), level(it))).collect();
    }

    /// What stands at the place: a JSON pointer (RFC 6901), or the name of a level in braces.
    fn at(&mut self, place: &str) -> Result<Option<&Json<'a>>, Garbled> {
        if place.starts_with('{') {
            return Ok(self.levels.iter().find(|(name, _)| name == place).map(|(_, value)| value));
        }
        Ok(self.json()?.pointer(place))
    }

    /// What the pointer shows; none when it is missing or null.
    pub(super) fn find(&mut self, pointer: &str) -> Result<Option<&Json<'a>>, Garbled> {
        Ok(self.at(pointer)?.filter(|value| **value != Json::Null))
    }

    /// A fault when the pointer leads nowhere; null is something.
    pub(super) fn present(&mut self, pointer: &str) -> Result<(), Garbled> {
        match self.at(pointer)? {
            Some(_) => Ok(()),
            None => Err((Trouble::Missing, format!("{pointer} is not in the payload"))),
        }
    }

    pub(super) fn need(&mut self, pointer: &str) -> Result<&Json<'a>, Garbled> {
        self.find(pointer)?
            .ok_or_else(|| (Trouble::Missing, format!("{pointer} is not in the payload")))
    }

    /// The text at the pointer, or the whole payload without one.
    pub(super) fn word(&mut self, pointer: Option<&str>) -> Result<String, Garbled> {
        match pointer {
            Some(pointer) => text_of(self.need(pointer)?, pointer),
            None => std::str::from_utf8(self.payload)
                .map(|text| text.trim().to_owned())
                .map_err(|_| (Trouble::Unreadable, "the payload is no UTF-8 text".to_owned())),
        }
    }

    pub(super) fn number(&mut self, pointer: Option<&str>) -> Result<u64, Garbled> {
        let word = self.word(pointer)?;
        whole_number(&word).ok_or_else(|| {
            (Trouble::Unreadable, format!("{} is no whole number from 0", shortened(&word)))
        })
    }

    pub(super) fn decimal(&mut self, pointer: Option<&str>) -> Result<f64, Garbled> {
        let word = self.word(pointer)?;
        word.parse()
            .ok()
            .filter(|value: &f64| value.is_finite())
            .ok_or_else(|| (Trouble::Unreadable, format!("{} is no number", shortened(&word))))
    }

    pub(super) fn optional(&mut self, pointer: Option<&String>) -> Result<Option<String>, Garbled> {
        let Some(pointer) = pointer else {
            return Ok(None);
        };
        let text = self.find(pointer)?.map(|value| text_of(value, pointer)).transpose()?;
        Ok(text.filter(|text| !text.trim().is_empty()))
    }
}

/// Whole numbers come as integers, or as decimals without a remainder from machines that know
/// only those.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn whole_number(word: &str) -> Option<u64> {
    const EXACT: f64 = 9_007_199_254_740_992.0;
    word.parse().ok().or_else(|| {
        let value: f64 = word.parse().ok()?;
        (value.fract() == 0.0 && (0.0..EXACT).contains(&value)).then_some(value as u64)
    })
}

fn text_of(value: &Json<'_>, pointer: &str) -> Result<String, Garbled> {
    match value {
        Json::Text(text) => Ok(text.clone().into_owned()),
        Json::Number(number) => Ok(number.to_string()),
        Json::Bool(truth) => Ok(truth.to_string()),
        _ => Err((Trouble::Unreadable, format!("{pointer} is neither text nor number"))),
    }
}

pub(super) fn shortened(text: &str) -> String {
    let short: String = text.chars().take(40).collect();
    format!("{short:?}")
}

pub(super) fn name<T, E: std::fmt::Display>(
    text: &str,
    new: impl Fn(&str) -> Result<T, E>,
) -> Result<T, Garbled> {
    new(text).map_err(|error| (Trouble::Senseless, error.to_string()))
}

pub(super) fn optional_name<T, E: std::fmt::Display>(
    text: Option<String>,
    new: impl Fn(&str) -> Result<T, E>,
) -> Result<Option<T>, Garbled> {
    text.map(|text| name(&text, new)).transpose()
}

/// The time a machine gives; a number beyond the year 5138 in seconds is milliseconds.
pub(super) fn machine_time(value: &Json<'_>) -> Option<Timestamp> {
    match value {
        Json::Number(number) => {
            let number = number.as_i64()?;
            Some(Timestamp(if number.abs() < 100_000_000_000 { number * 1_000 } else { number }))
        }
        Json::Text(text) => {
            text.parse::<jiff::Timestamp>().ok().map(|time| Timestamp(time.as_millisecond()))
        }
        _ => None,
    }
}

/// Free text of a machine, held to a length that a ledger and a page can bear.
pub(super) fn clipped(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(200).collect()
}

/// An identity as it is kept: long ones would be a burden, so that their end becomes a hash
/// (FNV-1a, 64 bits). Two that differ must never become the same, or a stroke would be lost.
pub(super) fn shortened_identity(text: &str) -> String {
    if text.chars().count() <= 120 {
        return text.to_owned();
    }
    let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    let start: String = text.chars().take(100).collect();
    format!("{start}~{hash:016x}")
}
