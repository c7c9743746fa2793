//! A metric's value, whatever type it was sent as.

use super::payload::{Metric, Value, datatype};
use crate::link::Trouble;

/// Longest text taken, in bytes.
const LONGEST_TEXT: usize = 1_024;

/// What could not be understood, and what to check.
pub(super) type Garbled = (Trouble, String);

/// A value.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Plain {
    Nothing,
    Whole(i128),
    Decimal(f64),
    Truth(bool),
    Text(String),
}

impl Plain {
    /// The value of a metric of this data type.
    pub(super) fn of(metric: &Metric, kind: Option<u32>) -> Result<Self, Garbled> {
        if metric.is_null == Some(true) {
            return Ok(Self::Nothing);
        }
        let Some(value) = &metric.value else {
            return Err((Trouble::Missing, "it has no value and is not null either".to_owned()));
        };
        match (value, kind) {
            (Value::Int(value), Some(datatype::BOOLEAN)) => truth(u64::from(*value)),
            (Value::Long(value), Some(datatype::BOOLEAN)) => truth(*value),
            (Value::Int(value), kind) => Ok(Self::Whole(signed(u64::from(*value), 32, kind))),
            (Value::Long(value), kind) => Ok(Self::Whole(signed(*value, 64, kind))),
            (Value::Float(value), _) => decimal(f64::from(*value)),
            (Value::Double(value), _) => decimal(*value),
            (Value::Boolean(value), _) => Ok(Self::Truth(*value)),
            (Value::String(value), _) if value.len() > LONGEST_TEXT => Err((
                Trouble::Senseless,
                format!("its text has {} bytes; {LONGEST_TEXT} are taken", value.len()),
            )),
            (Value::String(value), _) => Ok(Self::Text(value.clone())),
            (other, _) => Err((Trouble::Unreadable, unsupported(other).to_owned())),
        }
    }

    /// The value as a word; none for nothing, or for a blank text.
    pub(super) fn word(&self) -> Option<String> {
        let word = match self {
            Self::Nothing => return None,
            Self::Whole(value) => value.to_string(),
            Self::Decimal(value) => value.to_string(),
            Self::Truth(value) => value.to_string(),
            Self::Text(text) => text.trim_matches(['\0', ' ']).to_owned(),
        };
        (!word.is_empty()).then_some(word)
    }

    /// True or false, also where it is told as 1 or 0.
    pub(super) fn truth(&self) -> Option<bool> {
        match self {
            Self::Truth(value) => Some(*value),
            Self::Whole(0) => Some(false),
            Self::Whole(1) => Some(true),
            _ => None,
        }
    }

    /// A whole number from 0, also where it is told as a decimal without a remainder.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    pub(super) fn count(&self) -> Option<u64> {
        const EXACT: f64 = 9_007_199_254_740_992.0;
        match self {
            Self::Whole(value) => u64::try_from(*value).ok(),
            Self::Decimal(value) if value.fract() == 0.0 && (0.0..EXACT).contains(value) => {
                Some(*value as u64)
            }
            _ => None,
        }
    }

    #[allow(clippy::cast_precision_loss)]
    pub(super) fn number(&self) -> Option<f64> {
        match self {
            Self::Whole(value) => Some(*value as f64),
            Self::Decimal(value) => Some(*value),
            _ => None,
        }
    }
}

fn truth(value: u64) -> Result<Plain, Garbled> {
    match value {
        0 => Ok(Plain::Truth(false)),
        1 => Ok(Plain::Truth(true)),
        _ => Err((Trouble::Unreadable, format!("its truth value is {value}, neither 0 nor 1"))),
    }
}

fn decimal(value: f64) -> Result<Plain, Garbled> {
    if value.is_finite() {
        Ok(Plain::Decimal(value))
    } else {
        Err((Trouble::Senseless, "it is no finite number".to_owned()))
    }
}

/// Two's complement of the type's own width (6.4.16); senders fill the bits above with the sign, or
/// with zeros.
#[allow(clippy::cast_possible_truncation, clippy::cast_possible_wrap)]
fn signed(value: u64, sent: u32, kind: Option<u32>) -> i128 {
    match kind {
        Some(datatype::INT8) => i128::from(value as u8 as i8),
        Some(datatype::INT16) => i128::from(value as u16 as i16),
        Some(datatype::INT32) => i128::from(value as u32 as i32),
        Some(datatype::INT64) if sent == 64 => i128::from(value as i64),
        Some(datatype::INT64) => i128::from(value as u32 as i32),
        _ => i128::from(value),
    }
}

fn unsupported(value: &Value) -> &'static str {
    match value {
        Value::DataSet(_) => "it is a DataSet, which is not supported: tell the value by itself",
        Value::Template(_) => "it is a Template, which is not supported: tell the value by itself",
        Value::Bytes(_) => "it is a file or bytes, which are not supported: tell text or a number",
        _ => "its value is of a kind that Sparkplug 3.0 does not define",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_are_signed_as_their_type_is() {
        let whole = |value, kind| {
            let metric = Metric { value: Some(value), ..Metric::default() };
            Plain::of(&metric, Some(kind)).unwrap()
        };
        for (value, kind, read) in [
            (Value::Int(0xff), datatype::INT8, -1),
            (Value::Int(0xffff_ffff), datatype::INT8, -1),
            (Value::Int(0xfffe), datatype::INT16, -2),
            (Value::Int(0xffff_fffd), datatype::INT32, -3),
            (Value::Long(u64::MAX - 3), datatype::INT64, -4),
            (Value::Int(u32::MAX), datatype::INT64, -1),
            (Value::Int(255), datatype::UINT8, 255),
            (Value::Long(4_294_967_295), 7, 4_294_967_295),
            (Value::Long(u64::MAX), datatype::UINT64, i128::from(u64::MAX)),
        ] {
            assert_eq!(whole(value.clone(), kind), Plain::Whole(read), "{value:?} as {kind}");
        }
    }

    #[test]
    fn what_is_not_supported_is_told() {
        for value in [Value::DataSet(vec![]), Value::Template(vec![1]), Value::Bytes(vec![2])] {
            let metric = Metric { value: Some(value), ..Metric::default() };
            let (kind, why) = Plain::of(&metric, None).unwrap_err();
            assert_eq!(kind, Trouble::Unreadable);
            assert!(why.contains("not supported"), "{why}");
        }
        let null = Metric { is_null: Some(true), ..Metric::default() };
        assert_eq!(Plain::of(&null, None), Ok(Plain::Nothing));
        assert_eq!(Plain::of(&Metric::default(), None).unwrap_err().0, Trouble::Missing);
    }
}
