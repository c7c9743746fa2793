//! Recorded things in words, for people. Whatever a machine sent is escaped.

use std::fmt;

use serde_json::Value;

use crate::record::line::{Given, Heard, Raw};
use crate::record::{Bytes, Entry};

/// Longest text shown of a raw thing, in characters.
const LONGEST: usize = 400;

impl Given {
    /// Signals and troubles, each in a line.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        let signals = self.signals.iter().map(ToString::to_string);
        let trouble = |told: &super::super::Told| format!("{}: {}", told.kind, word(&told.detail));
        signals.chain(self.troubles.iter().map(trouble)).collect()
    }
}

impl Entry {
    /// The time, as people read it.
    #[must_use]
    pub fn time(&self) -> String {
        super::super::line::shown(self.at)
    }
}

impl fmt::Display for Heard {
    /// The signal's word, and each of its fields that has a value.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.said.kind())?;
        let Ok(Value::Object(fields)) = serde_json::to_value(self) else {
            return Ok(());
        };
        for (key, value) in fields.iter().filter(|(key, _)| *key != "signal") {
            match value {
                Value::Null => {}
                Value::String(text) => write!(f, " {key}={}", word(text))?,
                other => write!(f, " {key}={other}")?,
            }
        }
        Ok(())
    }
}

impl fmt::Display for Raw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Round(held) => clipped(f, &held.to_string()),
            Self::Message(message) => {
                let kept = if message.retained { ", retained" } else { "" };
                write!(f, "{} (QoS {}{kept}): ", word(&message.topic), message.qos)?;
                content(f, &message.payload)
            }
            Self::File(file) => {
                write!(f, "{} ({} bytes): ", word(&file.name), file.length)?;
                file.content.as_ref().map_or(Ok(()), |bytes| content(f, bytes))
            }
            Self::Up(_) => f.write_str("the link is up"),
            Self::Lost(why) => write!(f, "the link is lost: {}", word(why)),
        }
    }
}

fn content(f: &mut fmt::Formatter<'_>, bytes: &Bytes) -> fmt::Result {
    match bytes {
        Bytes::Text(text) => clipped(f, &escaped(text)),
        Bytes::Hex(digits) => clipped(f, &format!("hex {digits}")),
    }
}

/// A text as it is, or in quotes where its ends would not be seen.
fn word(text: &str) -> String {
    let plain = |character: char| !character.is_control() && character != '"';
    if text.is_empty() || text.trim() != text || !text.chars().all(plain) {
        format!("{text:?}")
    } else {
        escaped(text)
    }
}

/// A text of which nothing moves the cursor.
fn escaped(text: &str) -> String {
    let one = |character: char| match character {
        '"' | '\'' => character.to_string(),
        other => other.escape_debug().to_string(),
    };
    text.chars().map(one).collect()
}

fn clipped(f: &mut fmt::Formatter<'_>, text: &str) -> fmt::Result {
    match text.char_indices().nth(LONGEST) {
        None => f.write_str(text),
        Some((end, _)) => write!(f, "{} …", text.get(..end).unwrap_or_default()),
    }
}
