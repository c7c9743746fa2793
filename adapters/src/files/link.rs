//! The link: looks into the folder again and again, and moves away what is durable.

use std::io;
use std::time::Instant;

use async_trait::async_trait;
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};

use super::decode::{digest, orders_of, report, signals};
use super::folder::{Away, Folder};
use super::record;
use super::settings::Settings;
use super::watch::{Entry, Watch};
use crate::link::{Floor, Stopping, Trouble, heard, now};
use crate::record::Tape;

/// Orders handed over together, so that a long file does not hold up the other machines.
const TOGETHER: usize = 256;

/// A folder into which orders are dropped.
#[derive(Debug, Clone)]
pub struct Link {
    machine: MachineName,
    settings: Settings,
}

impl Link {
    /// A link with settings in which [`Settings::check`] finds no fault.
    #[must_use]
    pub fn new(machine: MachineName, settings: Settings) -> Self {
        Self { machine, settings }
    }
}

#[async_trait]
impl crate::link::Link for Link {
    fn machines(&self) -> Vec<MachineName> {
        vec![self.machine.clone()]
    }

    async fn run(self: Box<Self>, floor: Floor) {
        let stop = floor.stop.clone();
        let work = Work {
            machine: self.machine,
            folder: Folder::new(self.settings.folder.clone()),
            settings: self.settings,
            watch: Watch::default(),
            up: None,
            unmoved: None,
            floor,
        };
        // Wherever it is stopped: what is not durable lies where it was dropped.
        let _ = stop.run_until_cancelled(work.run()).await;
    }
}

/// A file that was dealt with and lies where it was dropped.
#[derive(Debug, Clone)]
struct Unmoved {
    entry: Entry,
    digest: String,
    away: Away,
}

/// Why a round ends early.
enum Ended {
    /// Nobody takes signals any more.
    Stopping,
    /// The folder cannot be worked with: why, and what to do.
    Lost(Trouble, String),
}

impl From<Stopping> for Ended {
    fn from(_: Stopping) -> Self {
        Self::Stopping
    }
}

/// A link at work.
struct Work {
    machine: MachineName,
    settings: Settings,
    folder: Folder,
    watch: Watch,
    /// What was last said about the link.
    up: Option<bool>,
    unmoved: Option<Unmoved>,
    floor: Floor,
}

impl Work {
    async fn run(mut self) -> Result<(), Stopping> {
        loop {
            match self.round().await {
                Ok(()) => {}
                Err(Ended::Stopping) => return Err(Stopping),
                Err(Ended::Lost(kind, why)) => {
                    self.floor.observer.trouble(&self.machine, kind, &why);
                    self.say(false, Said::LinkLost { why }).await?;
                }
            }
            tokio::time::sleep(self.settings.poll.0).await;
        }
    }

    async fn round(&mut self) -> Result<(), Ended> {
        let folder = self.folder.clone();
        let listed = blocking(move || folder.list()).await;
        let (files, odd) = listed.map_err(|error| self.lost("cannot be worked with", &error))?;
        self.move_away().await?;
        self.say(true, Said::LinkUp { resumed: true }).await?;
        for name in odd {
            let why = format!("{name}: the name is not UTF-8; rename the file");
            self.floor.observer.trouble(&self.machine, Trouble::Unreadable, &why);
        }
        let settle = self.settings.settle.0;
        for entry in self.watch.settled(files, Instant::now(), settle) {
            self.take(entry).await?;
        }
        Ok(())
    }

    /// Takes in one file, whole or not at all, then moves it away.
    async fn take(&mut self, entry: Entry) -> Result<(), Ended> {
        let began = Instant::now();
        let (folder, listed) = (self.folder.clone(), entry.clone());
        let content = match blocking(move || folder.read(&listed)).await {
            Ok(Some(content)) => content,
            Ok(None) => return Ok(()),
            Err(error) => {
                let why = format!(
                    "{} cannot be read ({error}); let the gateway's user read it",
                    entry.name
                );
                self.floor.observer.trouble(&self.machine, Trouble::Unreadable, &why);
                return Ok(());
            }
        };
        let digest = digest(&entry, &content);
        let orders = orders_of(&entry.name, &content);
        if let Some(tape) = self.tape() {
            record::file(tape, &entry, &content, &orders);
        }
        let away = match orders {
            Ok(orders) => {
                let all = signals(&self.machine, &entry.name, &digest, orders, now());
                self.deliver(all).await?;
                Away::Done
            }
            Err(faults) => {
                let why = format!(
                    "{} is not taken in: {}; all faults are told in the folder faulty",
                    entry.name,
                    faults.first().map_or("", String::as_str),
                );
                self.floor.observer.trouble(&self.machine, Trouble::Senseless, &why);
                Away::Faulty(report(&entry.name, &faults))
            }
        };
        self.unmoved = Some(Unmoved { entry, digest, away });
        self.move_away().await?;
        self.floor.observer.round(&self.machine, began.elapsed());
        Ok(())
    }

    /// Hands over the signals and waits until what follows from them is durable.
    async fn deliver(&self, signals: Vec<Signal>) -> Result<(), Stopping> {
        let mut signals = signals.into_iter().peekable();
        while signals.peek().is_some() {
            let some = signals.by_ref().take(TOGETHER).collect();
            self.floor.intake.deliver(some).await?.durable().await?;
        }
        Ok(())
    }

    /// Moves away the file that was dealt with last. Until that succeeds no other is taken.
    async fn move_away(&mut self) -> Result<(), Ended> {
        let Some(Unmoved { entry, digest, away }) = self.unmoved.clone() else {
            return Ok(());
        };
        let folder = self.folder.clone();
        let moved = blocking(move || folder.put_away(&entry, &digest, &away)).await;
        moved
            .map_err(|error| self.lost("does not let files be moved to done and faulty", &error))?;
        self.unmoved = None;
        Ok(())
    }

    fn lost(&self, what: &str, error: &io::Error) -> Ended {
        let kind = match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::PermissionDenied => Trouble::Refused,
            _ => Trouble::Broken,
        };
        let folder = self.folder.path().display();
        let why = format!(
            "the folder {folder} {what} ({error}); see that it is there, and that the gateway's \
             user may read and write in it and in its subfolders done and faulty"
        );
        Ended::Lost(kind, why)
    }

    /// Where it is recorded, if it is.
    fn tape(&self) -> Option<&Tape> {
        self.floor.observer.tapes()?.get(&self.machine)
    }

    /// Says that the link is up or lost, when that is news.
    async fn say(&mut self, up: bool, said: Said) -> Result<(), Stopping> {
        if self.up.replace(up) != Some(up) {
            if let Some(tape) = self.tape() {
                tape.link(&said);
            }
            self.floor.intake.deliver(vec![heard(&self.machine, said)]).await?;
        }
        Ok(())
    }
}

/// Does what may block where that holds up nobody.
async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> io::Result<T> + Send + 'static,
) -> io::Result<T> {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|error| Err(io::Error::other(error)))
}
