//! Where a machine is recorded: its part of the configuration.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// The smallest and the largest recording.
const SMALLEST: u64 = 16 * 1024;
const LARGEST: u64 = 1 << 40;

/// Units of a size, in bytes.
const UNITS: [(&str, u64); 6] = [
    ("kB", 1_000),
    ("MB", 1_000_000),
    ("GB", 1_000_000_000),
    ("KiB", 1 << 10),
    ("MiB", 1 << 20),
    ("GiB", 1 << 30),
];

/// A number of bytes written with its unit, such as `100MB`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, JsonSchema)]
#[schemars(
    with = "String",
    description = "a whole number with its unit: 500kB, 100MB, 2GB, or KiB, MiB, GiB",
    extend("pattern" = r"^[0-9]{1,12} ?(kB|MB|GB|KiB|MiB|GiB)$")
)]
pub struct Size(pub u64);

impl Size {
    /// Reads a size; none when it is not a whole number with its unit.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let at = text.find(|character: char| !character.is_ascii_digit())?;
        let (number, unit) = text.split_at_checked(at)?;
        let unit = unit.strip_prefix(' ').unwrap_or(unit);
        let (_, bytes) = UNITS.iter().find(|(name, _)| *name == unit)?;
        number.parse::<u64>().ok()?.checked_mul(*bytes).map(Self)
    }
}

impl<'de> Deserialize<'de> for Size {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let wrong = || serde::de::Error::custom("not a whole number with its unit, such as 100MB");
        Self::parse(&text).ok_or_else(wrong)
    }
}

impl Serialize for Size {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        // Every size is read from a number of the smallest unit that divides it.
        let fits = |(_, bytes): &&(&str, u64)| self.0.is_multiple_of(*bytes);
        let largest = UNITS.iter().filter(fits).max_by_key(|(_, bytes)| *bytes);
        let (unit, bytes) = largest.copied().unwrap_or(("B", 1));
        serializer.collect_str(&format_args!("{}{unit}", self.0 / bytes))
    }
}

/// A file that takes everything that the machine says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// The file; a relative path starts at the configuration file's folder. A recording of the
    /// same machine is continued; any other file is left alone.
    #[schemars(with = "String")]
    pub to: PathBuf,
    /// How large it may become. Then the recording ends.
    #[serde(default = "hundred_megabytes")]
    pub at_most: Size,
}

fn hundred_megabytes() -> Size {
    Size(100_000_000)
}

impl Settings {
    /// Everything wrong with it: the key's path below `record`, and what is wrong and allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Vec::new();
        if self.to.file_name().is_none() {
            found.push(("to".to_owned(), "no file; name one, such as printer-1.rec".to_owned()));
        }
        if !(SMALLEST..=LARGEST).contains(&self.at_most.0) {
            found.push(("at-most".to_owned(), "must lie between 16KiB and 1024GiB".to_owned()));
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_and_written() {
        for (text, bytes) in [
            ("500kB", 500_000),
            ("100MB", 100_000_000),
            ("100 MB", 100_000_000),
            ("2GiB", 2 << 30),
            ("16KiB", 16_384),
        ] {
            assert_eq!(Size::parse(text), Some(Size(bytes)), "{text}");
            let written = serde_json::to_string(&Size(bytes)).unwrap();
            assert_eq!(serde_json::from_str::<Size>(&written).unwrap(), Size(bytes), "{written}");
        }
        for text in ["", "100", "MB", "1.5MB", "-1MB", "100mb", "100MB ", "99999999999999999999GB"]
        {
            assert_eq!(Size::parse(text), None, "{text}");
        }
    }

    #[test]
    fn faults_name_what_is_allowed() {
        let settings: Settings = serde_json::from_str(r#"{"to":"..","at-most":"1kB"}"#).unwrap();
        let keys: Vec<String> = settings.check().into_iter().map(|(key, _)| key).collect();
        assert_eq!(keys, ["to", "at-most"]);
        let settings: Settings = serde_json::from_str(r#"{"to":"a/p.rec"}"#).unwrap();
        assert_eq!(settings.check(), Vec::new());
        assert_eq!(settings.at_most, Size(100_000_000));
    }
}
