//! How large a number, how long a text, how many items: limits of a schema, in numbers and words.

use std::cmp::Ordering;

use serde_json::{Number, Value as Json};

use super::schema::Part;

/// Limits of a number or a count; both are allowed values themselves.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Limits {
    lowest: Option<Number>,
    highest: Option<Number>,
}

/// Largest whole number that every program reads alike: type limits beyond it are not told.
const TELLING: i128 = 1 << 53;

impl Limits {
    /// The limits of a number, those of its type included.
    pub(crate) fn of_number(parts: &[&Part]) -> Self {
        let mut limits = Self::of(parts, "minimum", "maximum");
        for part in parts {
            let format = part.get("format").and_then(Json::as_str);
            if let Some((lowest, highest)) = format.and_then(type_limits) {
                limits.raise(Number::from(lowest));
                limits.lower(Number::from(highest));
            }
        }
        limits
    }

    /// The limits that two keywords set.
    pub(crate) fn of(parts: &[&Part], lowest: &str, highest: &str) -> Self {
        let mut limits = Self::default();
        for part in parts {
            if let Some(Json::Number(number)) = part.get(lowest) {
                limits.raise(number.clone());
            }
            if let Some(Json::Number(number)) = part.get(highest) {
                limits.lower(number.clone());
            }
        }
        limits
    }

    fn raise(&mut self, number: Number) {
        let lower = |lowest: &Number| order(lowest, &number) == Ordering::Less;
        if self.lowest.as_ref().is_none_or(lower) {
            self.lowest = Some(number);
        }
    }

    fn lower(&mut self, number: Number) {
        let higher = |highest: &Number| order(highest, &number) == Ordering::Greater;
        if self.highest.as_ref().is_none_or(higher) {
            self.highest = Some(number);
        }
    }

    pub(crate) fn allow(&self, number: &Number) -> bool {
        let below = |lowest: &Number| order(number, lowest) == Ordering::Less;
        let above = |highest: &Number| order(number, highest) == Ordering::Greater;
        !self.lowest.as_ref().is_some_and(below) && !self.highest.as_ref().is_some_and(above)
    }

    pub(crate) fn allow_count(&self, count: usize) -> bool {
        self.allow(&Number::from(count))
    }

    /// Such as `1 to 247`, `1 or more`, `at most 5`; none where nothing is worth telling.
    pub(crate) fn words(&self) -> Option<String> {
        let telling = |number: &&Number| number.as_i128().is_none_or(|whole| whole.abs() < TELLING);
        let lowest = self.lowest.as_ref().filter(telling);
        let highest = self.highest.as_ref().filter(telling);
        match (lowest, highest) {
            (Some(lowest), Some(highest)) if lowest == highest => Some(format!("exactly {lowest}")),
            (Some(lowest), Some(highest)) => Some(format!("{lowest} to {highest}")),
            (Some(lowest), None) => Some(format!("{lowest} or more")),
            (None, Some(highest)) => Some(format!("at most {highest}")),
            (None, None) => None,
        }
    }
}

fn order(a: &Number, b: &Number) -> Ordering {
    if let (Some(a), Some(b)) = (a.as_i128(), b.as_i128()) {
        return a.cmp(&b);
    }
    let float = |number: &Number| number.as_f64().unwrap_or_default();
    float(a).total_cmp(&float(b))
}

/// What the whole-number types of Rust hold, by the format name the schema gives them.
pub(crate) fn type_limits(format: &str) -> Option<(i64, u64)> {
    Some(match format {
        "uint8" => (0, u64::from(u8::MAX)),
        "uint16" => (0, u64::from(u16::MAX)),
        "uint32" => (0, u64::from(u32::MAX)),
        "uint64" | "uint" => (0, u64::MAX),
        "int8" => (i64::from(i8::MIN), i8::MAX.unsigned_abs().into()),
        "int16" => (i64::from(i16::MIN), i16::MAX.unsigned_abs().into()),
        "int32" => (i64::from(i32::MIN), i32::MAX.unsigned_abs().into()),
        "int64" | "int" => (i64::MIN, i64::MAX.unsigned_abs()),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_the_narrowest_of_all_parts_and_say_so() {
        for (schema, words, inside, outside) in [
            (r#"{"format":"uint8"}"#, Some("0 to 255"), 255, 256),
            (r#"{"format":"uint8","minimum":1,"maximum":247}"#, Some("1 to 247"), 247, 248),
            (r#"{"format":"uint64"}"#, Some("0 or more"), i64::MAX, -1),
            (r#"{"format":"int64"}"#, None, i64::MIN, i64::MAX),
            (r#"{"maximum":5}"#, Some("at most 5"), -3, 6),
            (r#"{"minimum":2,"maximum":2}"#, Some("exactly 2"), 2, 3),
        ] {
            let part: Part = serde_json::from_str(schema).unwrap();
            let limits = Limits::of_number(&[&part]);
            assert_eq!(limits.words().as_deref(), words, "{schema}");
            assert!(limits.allow(&inside.into()), "{schema}");
            let open = outside == i64::MAX;
            assert_eq!(limits.allow(&outside.into()), open, "{schema}");
        }
        let part: Part = serde_json::from_str(r#"{"format":"int64","minimum":0.5}"#).unwrap();
        assert!(!Limits::of_number(&[&part]).allow(&u64::MAX.into()));
        assert!(!Limits::of_number(&[&part]).allow(&0.into()));
    }
}
