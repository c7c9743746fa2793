//! What a message or file holds, as a person can read it where that is possible.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

/// Bytes as text where they are UTF-8, else as hexadecimal digits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bytes {
    /// As they are.
    Text(String),
    /// Two digits a byte.
    Hex(String),
}

impl Bytes {
    /// These bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        match std::str::from_utf8(bytes) {
            Ok(text) => Self::Text(text.to_owned()),
            Err(_) => Self::Hex(bytes.iter().fold(String::new(), |mut digits, byte| {
                // Writing to a text cannot fail.
                let _ = write!(digits, "{byte:02x}");
                digits
            })),
        }
    }

    /// The bytes.
    ///
    /// # Errors
    /// When what stands there is no pairs of hexadecimal digits.
    pub fn bytes(&self) -> Result<Vec<u8>, String> {
        let digits = match self {
            Self::Text(text) => return Ok(text.clone().into_bytes()),
            Self::Hex(digits) => digits.as_bytes(),
        };
        let byte = |pair: &[u8]| match pair {
            [high, low] => Some(digit(*high)? << 4 | digit(*low)?),
            _ => None,
        };
        let bytes: Option<Vec<u8>> = digits.chunks(2).map(byte).collect();
        bytes.ok_or_else(|| "hex holds something other than pairs of digits".to_owned())
    }
}

fn digit(digit: u8) -> Option<u8> {
    char::from(digit).to_digit(16).and_then(|digit| u8::try_from(digit).ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        #[test]
        fn bytes_come_back(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..40)) {
            proptest::prop_assert_eq!(Bytes::of(&bytes).bytes().unwrap(), bytes);
        }
    }

    #[test]
    fn text_stays_text_and_odd_digits_are_none() {
        assert_eq!(Bytes::of("µ 1".as_bytes()), Bytes::Text("µ 1".to_owned()));
        assert_eq!(Bytes::of(&[0xFF, 0]), Bytes::Hex("ff00".to_owned()));
        for wrong in ["f", "fg", "+f", "µ"] {
            assert!(Bytes::Hex(wrong.to_owned()).bytes().is_err(), "{wrong}");
        }
    }
}
