//! What an alarm is about, and the text that names it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::AlarmKind;
use crate::event::Stream;
use crate::names::{BadName, CounterName, MachineName, SlotName, StencilCode};

/// What an alarm is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(tag = "of", rename_all = "kebab-case")]
pub enum Subject {
    /// A machine.
    Machine {
        /// Which.
        machine: MachineName,
    },
    /// A fault of a machine.
    Fault {
        /// The machine.
        machine: MachineName,
        /// The fault's code, by the machine.
        code: String,
    },
    /// A counter of a machine.
    Counter {
        /// The machine.
        machine: MachineName,
        /// The counter.
        counter: CounterName,
    },
    /// A slot of a rack.
    Slot {
        /// The rack.
        rack: MachineName,
        /// The slot.
        slot: SlotName,
    },
    /// A stencil.
    Stencil {
        /// Which.
        stencil: StencilCode,
    },
    /// The gateway itself.
    Gateway,
}

impl Subject {
    /// The machine it is about.
    #[must_use]
    pub fn machine(&self) -> Option<&MachineName> {
        match self {
            Self::Machine { machine } | Self::Fault { machine, .. } => Some(machine),
            Self::Counter { machine, .. } => Some(machine),
            Self::Slot { rack, .. } => Some(rack),
            Self::Stencil { .. } | Self::Gateway => None,
        }
    }

    /// The stencil it is about.
    #[must_use]
    pub fn stencil(&self) -> Option<&StencilCode> {
        match self {
            Self::Stencil { stencil } => Some(stencil),
            _ => None,
        }
    }

    /// The stream of its events.
    #[must_use]
    pub fn stream(&self) -> Stream {
        match (self.machine(), self.stencil()) {
            (Some(machine), _) => Stream::Machine(machine.clone()),
            (None, Some(stencil)) => Stream::Stencil(stencil.clone()),
            (None, None) => Stream::Site,
        }
    }

    fn parts(&self) -> (&'static str, [Option<&str>; 2]) {
        match self {
            Self::Machine { machine } => ("machine", [Some(machine.as_str()), None]),
            Self::Fault { machine, code } => ("fault", [Some(machine.as_str()), Some(code)]),
            Self::Counter { machine, counter } => {
                ("counter", [Some(machine.as_str()), Some(counter.as_str())])
            }
            Self::Slot { rack, slot } => ("slot", [Some(rack.as_str()), Some(slot.as_str())]),
            Self::Stencil { stencil } => ("stencil", [Some(stencil.as_str()), None]),
            Self::Gateway => ("gateway", [None, None]),
        }
    }
}

/// In words, such as `counter total of printer-1`.
impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Machine { machine } => write!(f, "{machine}"),
            Self::Fault { machine, code } => write!(f, "fault {code} of {machine}"),
            Self::Counter { machine, counter } => write!(f, "counter {counter} of {machine}"),
            Self::Slot { rack, slot } => write!(f, "slot {slot} of {rack}"),
            Self::Stencil { stencil } => write!(f, "{stencil}"),
            Self::Gateway => f.write_str("the gateway"),
        }
    }
}

/// What makes an alarm this one: its kind and what it is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct AlarmId {
    /// Its kind.
    pub kind: AlarmKind,
    /// What it is about.
    #[serde(flatten)]
    pub subject: Subject,
}

/// A text names no alarm.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} names no alarm: take its id from the list of alarms")]
pub struct NoAlarm(String);

/// As in `machine-fault:fault:washer-1:E-17`. Colons, slashes and tildes of names are written
/// `~c`, `~s` and `~~`, so that the text is one level of a path and reads back as it was.
impl fmt::Display for AlarmId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (of, parts) = self.subject.parts();
        write!(f, "{}:{of}", self.kind.as_str())?;
        for part in parts.into_iter().flatten() {
            let part = part.replace('~', "~~").replace(':', "~c").replace('/', "~s");
            write!(f, ":{part}")?;
        }
        Ok(())
    }
}

impl FromStr for AlarmId {
    type Err = NoAlarm;

    fn from_str(text: &str) -> Result<Self, NoAlarm> {
        read(text).filter(|id| id.to_string() == text).ok_or_else(|| NoAlarm(text.to_owned()))
    }
}

fn read(text: &str) -> Option<AlarmId> {
    let mut parts = text.split(':');
    let kind = AlarmKind::of_code(parts.next()?)?;
    let of = parts.next()?;
    let mut part = || parts.next().map(unescaped);
    fn name<T>(text: Option<String>, new: fn(&str) -> Result<T, BadName>) -> Option<T> {
        new(&text?).ok()
    }
    let subject = match of {
        "machine" => Subject::Machine { machine: name(part(), MachineName::new)? },
        "fault" => Subject::Fault { machine: name(part(), MachineName::new)?, code: part()? },
        "counter" => Subject::Counter {
            machine: name(part(), MachineName::new)?,
            counter: name(part(), CounterName::new)?,
        },
        "slot" => Subject::Slot {
            rack: name(part(), MachineName::new)?,
            slot: name(part(), SlotName::new)?,
        },
        "stencil" => Subject::Stencil { stencil: name(part(), StencilCode::new)? },
        "gateway" => Subject::Gateway,
        _ => return None,
    };
    Some(AlarmId { kind, subject })
}

fn unescaped(text: &str) -> String {
    let mut letters = text.chars();
    let mut plain = String::with_capacity(text.len());
    while let Some(letter) = letters.next() {
        plain.extend(match letter {
            '~' => match letters.next() {
                Some('c') => Some(':'),
                Some('s') => Some('/'),
                other => other,
            },
            letter => Some(letter),
        });
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_reads_back_whatever_names_hold() {
        let machine = MachineName::new("a:b/c~d").unwrap();
        let subjects = [
            Subject::Machine { machine: machine.clone() },
            Subject::Fault { machine: machine.clone(), code: "E:17~c/ü".to_owned() },
            Subject::Fault { machine: machine.clone(), code: String::new() },
            Subject::Counter {
                machine: machine.clone(),
                counter: CounterName::new("io-1/pulses").unwrap(),
            },
            Subject::Slot { rack: machine, slot: SlotName::new("3").unwrap() },
            Subject::Stencil { stencil: StencilCode::new("ST~s1").unwrap() },
            Subject::Gateway,
        ];
        for subject in subjects {
            let id = AlarmId { kind: AlarmKind::MachineFault, subject };
            let text = id.to_string();
            assert_eq!(text.parse(), Ok(id), "{text}");
            assert!(!text.contains('/'), "{text}");
        }
    }

    #[test]
    fn rubbish_names_no_alarm() {
        for text in ["", "link-lost", "link-lost:machine", "link-lost:machine:a:b", "x:machine:a"] {
            assert!(text.parse::<AlarmId>().is_err(), "{text}");
        }
    }
}
