//! Settings of the same shapes as a plant's, made for these tests alone.

use std::collections::{BTreeMap, BTreeSet};
use std::net::IpAddr;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer};

/// A floor.
#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(crate) struct Floor {
    /// The floor's name.
    #[schemars(length(min = 1, max = 12))]
    pub(crate) name: String,
    /// Where it listens.
    pub(crate) listen: Option<IpAddr>,
    #[serde(default)]
    pub(crate) policy: Policy,
    /// The machines.
    #[schemars(length(min = 1))]
    pub(crate) machines: Vec<Machine>,
    #[serde(default)]
    pub(crate) labels: BTreeMap<String, String>,
    #[serde(default)]
    pub(crate) shifts: BTreeSet<Shift>,
    /// Who hears of it: a name, or several.
    pub(crate) tell: Option<Tell>,
    pub(crate) store: Option<Store>,
    pub(crate) route: Option<Route>,
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub(crate) struct Policy {
    /// Per cent of rated life.
    #[schemars(range(min = 0, max = 100))]
    pub(crate) reorder: f64,
    pub(crate) wash_valid: Option<Span>,
    pub(crate) by_hand: bool,
    pub(crate) offset: i16,
    pub(crate) strokes: u64,
}

impl Default for Policy {
    fn default() -> Self {
        Self { reorder: 80.0, wash_valid: None, by_hand: false, offset: 0, strokes: 0 }
    }
}

#[derive(Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Shift {
    Early,
    Late,
    Night,
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(untagged)]
pub(crate) enum Tell {
    One(String),
    Several(Vec<String>),
}

/// Tagged from outside.
#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(crate) enum Store {
    None,
    File { path: String },
    Cluster(Cluster),
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Cluster {
    pub(crate) servers: Vec<String>,
}

/// Flattened structs.
#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Route {
    pub(crate) from: String,
    #[serde(flatten)]
    pub(crate) hop: Hop,
    pub(crate) to: String,
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
pub(crate) struct Hop {
    pub(crate) over: String,
    pub(crate) limit: Even,
}

/// One machine: its protocol is a key of its own.
#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(crate) struct Machine {
    /// Its name on the floor.
    pub(crate) name: String,
    #[serde(flatten)]
    pub(crate) protocol: Protocol,
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Protocol {
    Modbus(Modbus),
    Mqtt(Mqtt),
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Modbus {
    /// Host and port.
    pub(crate) host: String,
    #[serde(default = "one")]
    #[schemars(range(min = 1, max = 247))]
    pub(crate) unit: u8,
    /// The time between two rounds of reads.
    pub(crate) poll: Span,
    pub(crate) points: Vec<Point>,
}

fn one() -> u8 {
    1
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Mqtt {
    pub(crate) topic: String,
}

/// Tagged from inside.
#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(tag = "signal", rename_all = "kebab-case", deny_unknown_fields)]
pub(crate) enum Point {
    /// A counter.
    Strokes {
        register: u16,
        words: Option<Words>,
        #[serde(default)]
        wait: Option<Span>,
    },
    /// A code.
    Seated { register: u16, length: u8 },
    /// A contact.
    Fault(Contact),
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Contact {
    pub(crate) coil: u16,
    pub(crate) limit: Option<Even>,
    #[serde(default)]
    pub(crate) texts: BTreeMap<Word, String>,
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Words {
    /// The high word comes first.
    HighFirst,
    /// The low word comes first.
    LowFirst,
}

/// A span of time, as the adapters write it.
#[derive(Debug, PartialEq, JsonSchema)]
#[schemars(
    with = "String",
    description = "a number with its unit: 500ms, 5s, 2min",
    extend("pattern" = r"^\s*([0-9]+\s*[a-z]+\s*)+$")
)]
pub(crate) struct Span(pub(crate) Duration);

impl<'de> Deserialize<'de> for Span {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        humantime::parse_duration(&text).map(Self).map_err(serde::de::Error::custom)
    }
}

/// An even number.
///
/// Its type knows more than its schema.
#[derive(Debug, PartialEq, JsonSchema)]
#[schemars(with = "u16")]
pub(crate) struct Even(pub(crate) u16);

impl<'de> Deserialize<'de> for Even {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let number = u16::deserialize(deserializer)?;
        if number % 2 == 0 {
            Ok(Self(number))
        } else {
            Err(serde::de::Error::custom(format!("{number} is odd")))
        }
    }
}

/// A text whose type knows more than its schema.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord, JsonSchema)]
#[schemars(with = "String")]
pub(crate) struct Word(pub(crate) String);

impl<'de> Deserialize<'de> for Word {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        if text.contains(' ') {
            Err(serde::de::Error::custom("this is more than one word"))
        } else {
            Ok(Self(text))
        }
    }
}

/// A file without faults. Invented.
pub(crate) const GOOD: &str = r#"# Invented for tests.
name: Hall 2
listen: 127.0.0.1
policy: {reorder: 80, wash-valid: 72h}
labels:
  line 1: "SMT"
shifts: [early, late]
tell: [anna, ben]
store:
  file: {path: ledger.db}
route: {from: a, over: b, limit: 4, to: c}
machines:
  - name: printer-1
    modbus: &wiring
      host: 127.0.0.1:502
      unit: 17
      poll: 500ms
      points:
        - {signal: strokes, register: 100, words: high-first}
        - signal: seated
          register: 0x6e
          length: 8
        - {signal: fault, coil: 3, limit: 2}
  - name: washer-1
    mqtt: {topic: plant/washer-1}
  - name: printer-2
    modbus: *wiring
"#;
