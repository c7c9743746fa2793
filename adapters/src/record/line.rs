//! The lines of a recording: JSON of our own, described in this crate's README.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};
use stencilward_domain::time::Timestamp;

use crate::files::Dropped;
use crate::link::Trouble;
use crate::modbus::Held;
use crate::mqtt::Received;

/// The version of the format that is written, and the newest that is read.
pub(super) const FORMAT: u32 = 1;

/// How a header begins, so that it is known from any other line.
const HEADER: &[u8] = br#"{"stencilward-recording":"#;

/// The first line of a recording, and of each part that continues it. The decoder begins anew
/// there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Header {
    /// The version of the format.
    #[serde(rename = "stencilward-recording")]
    pub format: u32,
    /// When this part began.
    #[serde(with = "instant")]
    pub at: Timestamp,
    /// The machine.
    pub machine: MachineName,
    /// What it is for: printer, washer, rack, other.
    pub kind: String,
    /// Its protocol: modbus, mqtt, files.
    pub protocol: String,
    /// The version of the program.
    pub program: String,
    /// SHA-256 of the machine's settings, by which a person sees whether they have changed.
    pub settings: String,
}

/// One line.
#[derive(Debug, Clone, PartialEq)]
pub enum Line {
    /// A part begins.
    Header(Header),
    /// The machine said something.
    Entry(Box<Entry>),
    /// Something is missing here, or from here on.
    Gap {
        /// When that was noticed.
        at: Timestamp,
        /// What is missing, and why.
        why: String,
    },
}

/// One raw thing, and what the decoder made of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// When it was received.
    pub at: Timestamp,
    /// As it came.
    pub raw: Raw,
    /// What the decoder made of it.
    pub given: Given,
}

/// What a link hears.
#[derive(Debug, Clone, PartialEq)]
pub enum Raw {
    /// What one round of reads found in a Modbus machine.
    Round(Held),
    /// A message of a broker.
    Message(Received),
    /// A file that was dropped.
    File(Dropped),
    /// The link to the broker or folder is up; true when nothing said meanwhile was lost.
    Up(bool),
    /// The link is lost, and why.
    Lost(String),
}

/// What a decoder makes of one raw thing.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Given {
    /// In their order.
    pub signals: Vec<Heard>,
    /// What could not be understood.
    pub troubles: Vec<Told>,
}

/// One signal, without what every signal of the same entry has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Heard {
    /// The machine it is about, where that is another than the one that is recorded.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<MachineName>,
    /// The machine's own time, in milliseconds since 1970.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_time: Option<Timestamp>,
    /// By which a repeat is recognised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// What was said.
    #[serde(flatten)]
    pub said: Said,
}

impl Heard {
    /// A signal of the machine itself, without a time or identity.
    #[must_use]
    pub fn plain(said: Said) -> Self {
        Self { machine: None, machine_time: None, identity: None, said }
    }

    /// A signal that came from `owner`.
    #[must_use]
    pub fn of(owner: &MachineName, signal: Signal) -> Self {
        Self {
            machine: (signal.machine != *owner).then_some(signal.machine),
            machine_time: signal.machine_time,
            identity: signal.identity,
            said: signal.said,
        }
    }
}

/// Something that could not be understood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Told {
    /// The kind's word.
    pub kind: String,
    /// In words.
    pub detail: String,
}

impl Told {
    pub(crate) fn of(kind: Trouble, detail: &str) -> Self {
        Self { kind: kind.as_str().to_owned(), detail: detail.to_owned() }
    }
}

/// A line but a header, as it is written: one of `round` to `gap` is there.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct Written {
    #[serde(with = "instant")]
    at: Timestamp,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    round: Option<Held>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    message: Option<Received>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    file: Option<Dropped>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    up: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lost: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    gap: Option<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    gives: Vec<Heard>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    troubles: Vec<Told>,
}

impl Line {
    /// Reads a line.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(line: &[u8]) -> Result<Self, String> {
        let wrong = |error: serde_json::Error| error.to_string();
        if is_header(line) {
            return serde_json::from_slice(line).map(Self::Header).map_err(wrong);
        }
        let written: Written = serde_json::from_slice(line).map_err(wrong)?;
        let Written { at, round, message, file, up, lost, gap, gives: signals, troubles } = written;
        let mut raws = [
            round.map(Raw::Round),
            message.map(Raw::Message),
            file.map(Raw::File),
            up.map(Raw::Up),
            lost.map(Raw::Lost),
        ]
        .into_iter()
        .flatten();
        match (raws.next(), raws.next(), gap) {
            (Some(raw), None, None) => {
                let given = Given { signals, troubles };
                Ok(Self::Entry(Box::new(Entry { at, raw, given })))
            }
            (None, None, Some(why)) => Ok(Self::Gap { at, why }),
            (None, ..) => Err("it holds nothing that a machine said".to_owned()),
            _ => Err("it holds several things at once".to_owned()),
        }
    }

    /// The line with its end.
    #[must_use]
    pub fn written(self) -> Vec<u8> {
        let mut line = match &self {
            Self::Header(header) => serde_json::to_vec(header),
            _ => serde_json::to_vec(&Written::from(self)),
        }
        // Names, numbers and texts can always be written.
        .unwrap_or_default();
        line.push(b'\n');
        line
    }
}

impl From<Line> for Written {
    fn from(line: Line) -> Self {
        let mut written = Self {
            at: Timestamp(0),
            round: None,
            message: None,
            file: None,
            up: None,
            lost: None,
            gap: None,
            gives: Vec::new(),
            troubles: Vec::new(),
        };
        match line {
            Line::Entry(entry) => {
                written.at = entry.at;
                (written.gives, written.troubles) = (entry.given.signals, entry.given.troubles);
                match entry.raw {
                    Raw::Round(held) => written.round = Some(held),
                    Raw::Message(message) => written.message = Some(message),
                    Raw::File(file) => written.file = Some(file),
                    Raw::Up(resumed) => written.up = Some(resumed),
                    Raw::Lost(why) => written.lost = Some(why),
                }
            }
            Line::Gap { at, why } => (written.at, written.gap) = (at, Some(why)),
            Line::Header(header) => written.at = header.at,
        }
        written
    }
}

/// True when the line is a header, or the beginning of one.
pub(super) fn is_header(line: &[u8]) -> bool {
    line.starts_with(HEADER)
}

/// An instant as people read it: RFC 3339, in UTC, with milliseconds.
#[must_use]
pub(super) fn shown(at: Timestamp) -> String {
    match jiff::Timestamp::from_millisecond(at.0) {
        Ok(instant) => format!("{instant:.3}"),
        Err(_) => format!("{:.3}", jiff::Timestamp::UNIX_EPOCH),
    }
}

mod instant {
    use super::{Deserialize, Deserializer, Serializer, Timestamp, shown};

    pub(super) fn serialize<S: Serializer>(at: &Timestamp, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&shown(*at))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Timestamp, D::Error> {
        let text = String::deserialize(from)?;
        let instant: jiff::Timestamp = text.parse().map_err(serde::de::Error::custom)?;
        Ok(Timestamp(instant.as_millisecond()))
    }
}
