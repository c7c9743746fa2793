//! Names of things on the floor: cheap to copy, checked once on the way in.

use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Longest name taken from a configuration or a machine, in characters.
pub const LONGEST_NAME: usize = 64;

/// Why a text cannot be a name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadName {
    /// Nothing is left after trimming spaces and NUL padding.
    #[error("the name is empty")]
    Empty,
    /// Longer than [`LONGEST_NAME`] characters.
    #[error("the name has {0} characters; {LONGEST_NAME} are allowed")]
    TooLong(usize),
    /// A control character inside the name.
    #[error("the name holds a control character")]
    Control,
}

fn checked(text: &str) -> Result<Arc<str>, BadName> {
    let text = text.trim_matches(|c: char| c == '\0' || c.is_whitespace());
    let length = text.chars().count();
    if length == 0 {
        Err(BadName::Empty)
    } else if length > LONGEST_NAME {
        Err(BadName::TooLong(length))
    } else if text.chars().any(char::is_control) {
        Err(BadName::Control)
    } else {
        Ok(Arc::from(text))
    }
}

macro_rules! name {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(Arc<str>);

        impl $name {
            /// Takes a text as a name, trimming spaces and NUL padding.
            ///
            /// # Errors
            /// [`BadName`] when it is empty, too long or holds a control character.
            pub fn new(text: &str) -> Result<Self, BadName> {
                checked(text).map(Self)
            }

            /// The name as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{:?}", &self.0)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(&self.0)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = String::deserialize(deserializer)?;
                Self::new(&text).map_err(serde::de::Error::custom)
            }
        }
    };
}

name!(
    /// The code on a stencil's frame, as a scanner or a machine reads it.
    StencilCode
);
name!(
    /// A machine: printer, washer, storage rack or counter.
    MachineName
);
name!(
    /// A place for one stencil in a storage rack.
    SlotName
);
name!(
    /// A work order.
    OrderName
);
name!(
    /// A product that is printed.
    ProductName
);
name!(
    /// One of the counters a machine reports.
    CounterName
);
name!(
    /// An output that the configuration allows the gateway to write.
    OutputName
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn padding_is_trimmed_and_rubbish_refused() {
        assert_eq!(StencilCode::new("ST-1\0\0 ").unwrap().as_str(), "ST-1");
        assert_eq!(StencilCode::new("\0\0"), Err(BadName::Empty));
        assert_eq!(StencilCode::new("a\x07b"), Err(BadName::Control));
        assert_eq!(StencilCode::new(&"x".repeat(65)), Err(BadName::TooLong(65)));
    }
}
