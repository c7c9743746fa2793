//! The payload of Sparkplug B messages: a protobuf message, decoded within limits.
//!
//! Source: Sparkplug 3.0.0 (ISO/IEC 20237:2023), 6.4: field numbers, data types, quality codes.
//! DataSets, Templates and extensions are kept as the bytes they are: nobody here reads them.

use prost::Message as _;
use prost::encoding::{DecodeContext, WireType, decode_key, skip_field};

/// Most metrics taken from one message. An empty one takes two bytes on the wire and hundreds here.
pub const MOST_METRICS: usize = 20_000;

/// Data types (6.4.16, the table of basic types).
pub mod datatype {
    /// Signed, 8 bits.
    pub const INT8: u32 = 1;
    /// Signed, 16 bits.
    pub const INT16: u32 = 2;
    /// Signed, 32 bits.
    pub const INT32: u32 = 3;
    /// Signed, 64 bits.
    pub const INT64: u32 = 4;
    /// Unsigned, 8 bits.
    pub const UINT8: u32 = 5;
    /// Unsigned, 64 bits.
    pub const UINT64: u32 = 8;
    /// IEEE 754, 32 bits.
    pub const FLOAT: u32 = 9;
    /// IEEE 754, 64 bits.
    pub const DOUBLE: u32 = 10;
    /// True or false.
    pub const BOOLEAN: u32 = 11;
    /// Text.
    pub const STRING: u32 = 12;
    /// Milliseconds since 1970.
    pub const DATE_TIME: u32 = 13;
    /// Text.
    pub const TEXT: u32 = 14;
    /// Text.
    pub const UUID: u32 = 15;
}

/// The quality of a value that is good (6.4.9.1).
const GOOD: u32 = 192;

/// A message's content.
#[derive(Clone, PartialEq, prost::Message)]
pub struct Payload {
    /// When it was sent, in milliseconds since 1970.
    #[prost(uint64, optional, tag = "1")]
    pub timestamp: Option<u64>,
    /// What it tells.
    #[prost(message, repeated, tag = "2")]
    pub metrics: Vec<Metric>,
    /// Its place in the order of all messages of its edge node.
    #[prost(uint64, optional, tag = "3")]
    pub seq: Option<u64>,
}

/// One named value.
#[derive(Clone, PartialEq, prost::Message)]
pub struct Metric {
    /// Its name; data may give the alias alone.
    #[prost(string, optional, tag = "1")]
    pub name: Option<String>,
    /// The number that stands for the name, fixed by the birth certificate.
    #[prost(uint64, optional, tag = "2")]
    pub alias: Option<u64>,
    /// Since when it has the value, in milliseconds since 1970.
    #[prost(uint64, optional, tag = "3")]
    pub timestamp: Option<u64>,
    /// One of [`datatype`].
    #[prost(uint32, optional, tag = "4")]
    pub datatype: Option<u32>,
    /// True when it was so once, not now.
    #[prost(bool, optional, tag = "5")]
    pub is_historical: Option<bool>,
    /// True when there is no value.
    #[prost(bool, optional, tag = "7")]
    pub is_null: Option<bool>,
    /// What else is said of it.
    #[prost(message, optional, tag = "9")]
    pub properties: Option<PropertySet>,
    /// The value.
    #[prost(oneof = "Value", tags = "10, 11, 12, 13, 14, 15, 16, 17, 18, 19")]
    pub value: Option<Value>,
}

/// A value as it is sent. Signed whole numbers come as two's complement.
#[derive(Clone, PartialEq, prost::Oneof)]
pub enum Value {
    /// A whole number of up to 32 bits.
    #[prost(uint32, tag = "10")]
    Int(u32),
    /// A whole number of up to 64 bits.
    #[prost(uint64, tag = "11")]
    Long(u64),
    /// A number.
    #[prost(float, tag = "12")]
    Float(f32),
    /// A number.
    #[prost(double, tag = "13")]
    Double(f64),
    /// True or false.
    #[prost(bool, tag = "14")]
    Boolean(bool),
    /// Text.
    #[prost(string, tag = "15")]
    String(String),
    /// Bytes, or a file.
    #[prost(bytes = "vec", tag = "16")]
    Bytes(Vec<u8>),
    /// A table, not read.
    #[prost(bytes = "vec", tag = "17")]
    DataSet(Vec<u8>),
    /// A template, not read.
    #[prost(bytes = "vec", tag = "18")]
    Template(Vec<u8>),
    /// Somebody's own, not read.
    #[prost(bytes = "vec", tag = "19")]
    Extension(Vec<u8>),
}

/// Named properties of a metric: two lists of one length.
#[derive(Clone, PartialEq, prost::Message)]
pub struct PropertySet {
    /// Their names.
    #[prost(string, repeated, tag = "1")]
    pub keys: Vec<String>,
    /// Their values.
    #[prost(message, repeated, tag = "2")]
    pub values: Vec<PropertyValue>,
}

/// A property's value, as far as it is a whole number.
#[derive(Clone, PartialEq, prost::Message)]
pub struct PropertyValue {
    /// One of [`datatype`].
    #[prost(uint32, optional, tag = "1")]
    pub datatype: Option<u32>,
    /// A whole number of up to 32 bits.
    #[prost(uint32, optional, tag = "3")]
    pub int: Option<u32>,
}

/// Why bytes are no payload.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoPayload {
    /// Not protobuf, or not of this form.
    #[error("it is no Sparkplug B payload ({0})")]
    Garbled(String),
    /// Too many metrics.
    #[error("it holds {0} metrics; {MOST_METRICS} are taken: split it")]
    TooMany(usize),
}

impl Payload {
    /// Reads a payload from any bytes.
    ///
    /// # Errors
    /// [`NoPayload`] when they are none, or too much.
    pub fn read(bytes: &[u8]) -> Result<Self, NoPayload> {
        let garbled = |error: prost::DecodeError| NoPayload::Garbled(error.to_string());
        match count_metrics(bytes).map_err(garbled)? {
            count if count > MOST_METRICS => Err(NoPayload::TooMany(count)),
            _ => Self::decode(bytes).map_err(garbled),
        }
    }

    /// The bytes to send.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        self.encode_to_vec()
    }
}

/// Counts the metrics without making them.
fn count_metrics(mut bytes: &[u8]) -> Result<usize, prost::DecodeError> {
    let mut count = 0;
    while !bytes.is_empty() {
        let (tag, wire) = decode_key(&mut bytes)?;
        skip_field(wire, tag, &mut bytes, DecodeContext::default())?;
        count += usize::from(tag == 2 && wire == WireType::LengthDelimited);
    }
    Ok(count)
}

impl Metric {
    /// A metric with a name and a value of this type; none for null.
    #[must_use]
    pub fn new(name: &str, datatype: u32, value: Option<Value>, timestamp: u64) -> Self {
        Self {
            name: Some(name.to_owned()),
            timestamp: Some(timestamp),
            datatype: Some(datatype),
            is_null: value.is_none().then_some(true),
            value,
            ..Self::default()
        }
    }

    /// The code of its quality where it is not good (6.4.9.1): 0 for bad, 500 for stale.
    #[must_use]
    pub fn poor_quality(&self) -> Option<u32> {
        let properties = self.properties.as_ref()?;
        let mut pairs = properties.keys.iter().zip(&properties.values);
        let quality = pairs.find(|(key, _)| key.eq_ignore_ascii_case("quality"))?.1.int?;
        (quality != GOOD).then_some(quality)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_many_metrics_are_refused_before_they_are_made() {
        let many = [0x12, 0x00].repeat(MOST_METRICS);
        assert_eq!(Payload::read(&many).unwrap().metrics.len(), MOST_METRICS);
        let more = [0x12, 0x00].repeat(MOST_METRICS + 1);
        assert_eq!(Payload::read(&more), Err(NoPayload::TooMany(MOST_METRICS + 1)));
    }

    #[test]
    fn the_quality_counts_where_it_is_told() {
        let quality = |code| Metric {
            properties: Some(PropertySet {
                keys: vec!["unit".to_owned(), "Quality".to_owned()],
                values: vec![
                    PropertyValue::default(),
                    PropertyValue { datatype: Some(datatype::INT32), int: Some(code) },
                ],
            }),
            ..Metric::default()
        };
        for (code, poor) in [(192, None), (0, Some(0)), (500, Some(500))] {
            assert_eq!(quality(code).poor_quality(), poor, "{code}");
        }
        assert_eq!(Metric::default().poor_quality(), None);
    }
}
