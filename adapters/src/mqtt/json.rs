//! JSON that borrows from the payload it was read from: of a message only what is pointed to is
//! ever copied.

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::{Number, Value};

/// A JSON value (RFC 8259).
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Json<'a> {
    Null,
    Bool(bool),
    Number(Number),
    Text(Cow<'a, str>),
    List(Vec<Json<'a>>),
    /// As written: of two fields of one name the later one counts.
    Fields(Vec<(Cow<'a, str>, Json<'a>)>),
}

impl Json<'_> {
    /// What a JSON pointer (RFC 6901) leads to.
    pub(super) fn pointer(&self, pointer: &str) -> Option<&Self> {
        if pointer.is_empty() {
            return Some(self);
        }
        pointer.strip_prefix('/')?.split('/').try_fold(self, |at, token| at.step(token))
    }

    fn step(&self, token: &str) -> Option<&Self> {
        match self {
            Self::Fields(fields) => {
                let name = if token.contains('~') {
                    Cow::Owned(token.replace("~1", "/").replace("~0", "~"))
                } else {
                    Cow::Borrowed(token)
                };
                fields.iter().rev().find(|(field, _)| *field == name).map(|(_, value)| value)
            }
            // RFC 6901, 4: digits without a leading zero.
            Self::List(items) if token == "0" || !token.starts_with(['0', '+']) => {
                items.get(token.parse::<usize>().ok()?)
            }
            _ => None,
        }
    }

    /// The same as a value of its own.
    pub(super) fn to_value(&self) -> Value {
        match self {
            Self::Null => Value::Null,
            Self::Bool(truth) => Value::Bool(*truth),
            Self::Number(number) => Value::Number(number.clone()),
            Self::Text(text) => Value::String(text.clone().into_owned()),
            Self::List(items) => Value::Array(items.iter().map(Self::to_value).collect()),
            Self::Fields(fields) => {
                let fields = fields.iter();
                Value::Object(fields.map(|(name, it)| (name.to_string(), it.to_value())).collect())
            }
        }
    }
}

impl<'de> Deserialize<'de> for Json<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Reader)
    }
}

struct Reader;

impl<'de> Visitor<'de> for Reader {
    type Value = Json<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Self::Value, E> {
        Ok(Json::Null)
    }

    fn visit_bool<E>(self, truth: bool) -> Result<Self::Value, E> {
        Ok(Json::Bool(truth))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Self::Value, E> {
        Ok(Json::Number(number.into()))
    }

    fn visit_u64<E>(self, number: u64) -> Result<Self::Value, E> {
        Ok(Json::Number(number.into()))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Self::Value, E> {
        Ok(Number::from_f64(number).map_or(Json::Null, Json::Number))
    }

    fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Self::Value, E> {
        Ok(Json::Text(Cow::Borrowed(text)))
    }

    fn visit_str<E>(self, text: &str) -> Result<Self::Value, E> {
        Ok(Json::Text(Cow::Owned(text.to_owned())))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = seq.next_element()? {
            items.push(item);
        }
        Ok(Json::List(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        let mut fields = Vec::new();
        while let Some(Name(name)) = map.next_key()? {
            fields.push((name, map.next_value()?));
        }
        Ok(Json::Fields(fields))
    }
}

/// A field's name: `Cow` itself would always be copied.
#[derive(serde::Deserialize)]
struct Name<'a>(#[serde(borrow)] Cow<'a, str>);

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The library's own values are the other reader; its pointers are RFC 6901's.
    fn agrees(text: &str, pointers: &[&str]) {
        let ours: Result<Json<'_>, _> = serde_json::from_str(text);
        let theirs: Result<Value, _> = serde_json::from_str(text);
        let (Ok(ours), Ok(theirs)) = (&ours, &theirs) else {
            assert_eq!(ours.is_ok(), theirs.is_ok(), "{text}");
            return;
        };
        assert_eq!(ours.to_value(), *theirs, "{text}");
        for pointer in pointers {
            let found = ours.pointer(pointer).map(Json::to_value);
            assert_eq!(found.as_ref(), theirs.pointer(pointer), "{pointer} in {text}");
        }
    }

    /// RFC 6901, 5: its document and pointers, and some that lead nowhere.
    #[test]
    fn the_pointers_of_the_standard() {
        let text = r#"{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4,
            "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}"#;
        let all = [
            "", "/foo", "/foo/0", "/", "/a~1b", "/c%d", "/e^f", "/g|h", "/i\\j", "/k\"l", "/ ",
            "/m~0n",
        ];
        let nowhere = ["foo", "/foo/2", "/foo/00", "/foo/+1", "/foo/-", "/foo/0/0", "/~01"];
        agrees(text, &[&all[..], &nowhere[..]].concat());
    }

    #[test]
    fn of_two_fields_of_one_name_the_later_counts() {
        agrees(r#"{"a": 1, "b": {"a": [1]}, "a": "2"}"#, &["/a", "/b/a/0"]);
    }

    proptest! {
        #[test]
        fn reads_what_the_library_reads(text in r#"[\[\]{},:"a0-9.eE\\u tnrf+-]{0,30}"#) {
            agrees(&text, &["", "/a", "/0", "/a/0"]);
        }
    }
}
