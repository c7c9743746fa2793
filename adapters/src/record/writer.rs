//! Brings what a tape takes into the file. Everything here may block.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{Receiver, sync_channel};

use stencilward_domain::names::MachineName;

use super::line::{FORMAT, Header, Line};
use super::pen::{Paper, Pen, Unwritten};
use super::settings::Settings;
use super::tape::{MOST_WAITING, Shared, Tape, gap};
use crate::link::{Observer, Trouble, now};

/// What is recorded, for the header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct About {
    /// The machine.
    pub machine: MachineName,
    /// What it is for.
    pub kind: String,
    /// Its protocol.
    pub protocol: String,
    /// SHA-256 of its settings.
    pub settings: String,
}

/// Writes one machine's recording.
pub struct Writer {
    to: PathBuf,
    at_most: u64,
    about: About,
    lines: Receiver<Vec<u8>>,
    shared: Arc<Shared>,
    observer: Arc<dyn Observer>,
}

impl Writer {
    /// A writer, and the tape it writes. Troubles are told to the observer.
    #[must_use]
    pub fn new(about: About, settings: Settings, observer: Arc<dyn Observer>) -> (Self, Tape) {
        let (send, lines) = sync_channel(MOST_WAITING);
        let shared = Arc::new(Shared::default());
        let tape = Tape {
            machine: about.machine.clone(),
            lines: send,
            shared: Arc::clone(&shared),
            observer: Arc::clone(&observer),
        };
        let (to, at_most) = (settings.to, settings.at_most.0);
        (Self { to, at_most, about, lines, shared, observer }, tape)
    }

    /// Writes until the tape is gone or the file takes no more. What waits then is still written.
    pub fn run(self) {
        match Pen::open(&self.to, &self.about.machine, self.at_most) {
            Ok(pen) => self.write(pen),
            Err(why) => self.end(&why),
        }
    }

    fn write<P: Paper>(self, mut pen: Pen<P>) {
        let last = match self.write_all(&mut pen) {
            Ok(()) => return,
            Err(Unwritten::Full) => {
                let why = "as large as at-most allows";
                self.end(&format!("it is {why}: raise it, or name another file"));
                why.to_owned()
            }
            Err(Unwritten::Failed(error)) => {
                self.end(&format!("{error}; make room, and name another file"));
                // Some systems' words are long.
                error.kind().to_string()
            }
        };
        let why = format!("the recording ends: {last}");
        pen.end(&Line::Gap { at: now(), why }.written());
    }

    fn write_all<P: Paper>(&self, pen: &mut Pen<P>) -> Result<(), Unwritten> {
        pen.write(&self.header())?;
        for line in &self.lines {
            let written = pen.write(&line);
            self.shared.waiting.fetch_sub(line.len(), Ordering::Relaxed);
            written?;
        }
        match self.shared.missed.load(Ordering::Relaxed) {
            0 => Ok(()),
            missed => pen.write(&gap(missed)),
        }
    }

    fn header(&self) -> Vec<u8> {
        let About { machine, kind, protocol, settings } = self.about.clone();
        let program = env!("CARGO_PKG_VERSION").to_owned();
        let header =
            Header { format: FORMAT, at: now(), machine, kind, protocol, program, settings };
        Line::Header(header).written()
    }

    /// Nothing is recorded any more. The link goes on.
    fn end(&self, why: &str) {
        self.shared.ended.store(true, Ordering::Relaxed);
        let to = self.to.display();
        let why = format!("nothing is recorded any more in {to}: {why}, and reload");
        self.observer.trouble(&self.about.machine, Trouble::Unrecorded, &why);
    }
}

#[cfg(test)]
mod tests;
