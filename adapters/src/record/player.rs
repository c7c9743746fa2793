//! Puts what was recorded through the decoder of present settings, and compares.

use stencilward_domain::names::MachineName;
use stencilward_domain::time::Timestamp;

use super::line::{Entry, FORMAT, Given, Header, Line, Raw};
use super::reader::Read;
use super::writer::About;
use crate::{files, modbus, mqtt};

mod show;

/// A decoder that works on what was recorded.
pub(crate) trait Again: Send {
    /// A part begins: whatever is remembered is forgotten.
    fn begin(&mut self);

    /// What it makes of this; none when there is nothing to decode in it.
    fn again(&mut self, at: Timestamp, raw: &Raw) -> Result<Option<Given>, String>;

    /// True when what it makes of one thing follows from the things before, too.
    fn remembers(&self) -> bool;

    /// What the settings read and the recording does not hold, in words.
    fn unread(&self) -> Vec<String>;
}

/// The settings by which a recording is decoded.
#[derive(Debug, Clone, PartialEq)]
pub enum Decodes {
    /// A machine that speaks Modbus.
    Modbus(Box<modbus::Settings>),
    /// A machine that speaks through a broker.
    Mqtt(mqtt::Settings),
    /// Orders by file drop: nothing of their settings decides what is in a file.
    Files,
}

/// What became of one line.
#[derive(Debug, Clone, PartialEq)]
pub enum Happened {
    /// A part begins. `changed`: it was recorded with other settings.
    Began {
        /// What it says of itself.
        header: Header,
        /// True when the machine's settings were others then.
        changed: bool,
    },
    /// The machine said something, and what is made of it now is what was made of it then.
    Same {
        /// As recorded.
        entry: Box<Entry>,
    },
    /// Something else is made of it now.
    Differs {
        /// As recorded.
        entry: Box<Entry>,
        /// What is made of it now.
        now: Given,
        /// What makes the difference.
        difference: Difference,
    },
    /// After a gap nobody can tell what the decoder remembered: it is not compared.
    Uncertain {
        /// As recorded.
        entry: Box<Entry>,
        /// What is made of it now.
        now: Given,
    },
    /// Something is missing.
    Gap(String),
    /// A line that was cut off, as one is when the program is killed.
    Torn,
    /// A line that cannot be read, and why.
    Damaged(String),
}

/// What only one of the two made of the same thing, in words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Difference {
    /// Only when it was recorded.
    pub recorded: Vec<String>,
    /// Only now.
    pub now: Vec<String>,
}

/// Decodes recordings of one machine again, line by line.
pub struct Player {
    about: About,
    decoder: Box<dyn Again>,
    /// A header was read.
    began: bool,
    /// Something is missing since the decoder last began anew.
    uncertain: bool,
}

impl Decodes {
    /// The protocol's word.
    #[must_use]
    pub fn protocol(&self) -> &'static str {
        match self {
            Self::Modbus(_) => "modbus",
            Self::Mqtt(_) => "mqtt",
            Self::Files => "files",
        }
    }

    fn decoder(self, machine: &MachineName) -> Box<dyn Again> {
        match self {
            Self::Modbus(settings) => Box::new(modbus::again(&settings)),
            Self::Mqtt(settings) => Box::new(mqtt::again(machine, settings)),
            Self::Files => Box::new(files::again(machine)),
        }
    }
}

impl Player {
    /// For a machine with these settings.
    #[must_use]
    pub fn new(about: About, decodes: Decodes) -> Self {
        let decoder = decodes.decoder(&about.machine);
        Self { about, decoder, began: false, uncertain: false }
    }

    /// Plays the next line.
    ///
    /// # Errors
    /// When the recording is none, or none of a machine like this one. Then nothing of it can be
    /// played.
    pub fn play(&mut self, read: Read) -> Result<Happened, String> {
        if !self.began && !matches!(read, Read::Line(Line::Header(_))) {
            return Err("it does not begin as a recording does".to_owned());
        }
        Ok(match read {
            Read::Line(Line::Header(header)) => self.begin(header)?,
            Read::Line(Line::Entry(entry)) => self.entry(entry),
            Read::Line(Line::Gap { why, .. }) => {
                self.uncertain = self.decoder.remembers();
                Happened::Gap(why)
            }
            Read::Torn => Happened::Torn,
            Read::Damaged(why) => self.damaged(why),
        })
    }

    /// What the settings read and the recording does not hold, in words.
    #[must_use]
    pub fn unread(&self) -> Vec<String> {
        self.decoder.unread()
    }

    fn begin(&mut self, header: Header) -> Result<Happened, String> {
        let About { machine, kind, protocol, settings } = &self.about;
        if header.format > FORMAT {
            return Err("a newer version of this program wrote it: replay it with that".to_owned());
        }
        if header.protocol != *protocol {
            let other = header.protocol;
            return Err(format!("it was recorded over {other}; {machine} speaks {protocol}"));
        }
        if header.kind != *kind {
            return Err(format!(
                "its machine is of kind {}; {machine} is of kind {kind}",
                header.kind
            ));
        }
        self.decoder.begin();
        (self.began, self.uncertain) = (true, false);
        let changed = header.settings != *settings;
        Ok(Happened::Began { header, changed })
    }

    fn entry(&mut self, entry: Box<Entry>) -> Happened {
        let now = match self.decoder.again(entry.at, &entry.raw) {
            Err(why) => return self.damaged(why),
            Ok(now) => now,
        };
        if matches!(entry.raw, Raw::Lost(_)) {
            self.uncertain = false;
        }
        match now {
            None => Happened::Same { entry },
            Some(now) if self.uncertain => Happened::Uncertain { entry, now },
            Some(now) => match Difference::between(&entry.given, &now) {
                None => Happened::Same { entry },
                Some(difference) => Happened::Differs { entry, now, difference },
            },
        }
    }

    fn damaged(&mut self, why: String) -> Happened {
        self.uncertain = self.decoder.remembers();
        Happened::Damaged(why)
    }
}

impl Difference {
    /// None when both are the same. How a trouble is worded is no difference.
    fn between(recorded: &Given, now: &Given) -> Option<Self> {
        let kinds = |given: &Given| -> Vec<String> {
            given.troubles.iter().map(|told| told.kind.clone()).collect()
        };
        if recorded.signals == now.signals && kinds(recorded) == kinds(now) {
            return None;
        }
        let (recorded, now) = (recorded.words(), now.words());
        let only = |these: &[String], those: &[String]| -> Vec<String> {
            let mut those = those.to_vec();
            let is_only = |this: &&String| match those.iter().position(|that| that == *this) {
                Some(at) => {
                    those.swap_remove(at);
                    false
                }
                None => true,
            };
            these.iter().filter(is_only).cloned().collect()
        };
        let differs = Self { recorded: only(&recorded, &now), now: only(&now, &recorded) };
        // The same ones in another order.
        Some(if differs == Self::default() { Self { recorded, now } } else { differs })
    }
}
