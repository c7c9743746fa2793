//! The other side: a program that drops orders the way the README asks for.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use async_trait::async_trait;
use stencilward_domain::names::OutputName;
use stencilward_domain::signal::Said;
use tokio::sync::watch;

use crate::simulated::{Answered, CannotFail, CannotSay, Fault, Simulated, Wired};

/// A program that drops each order as a file of its own.
#[derive(Debug)]
pub struct Machine {
    folder: PathBuf,
    dropped: AtomicU64,
    silent: AtomicBool,
    last: Mutex<Option<Vec<u8>>>,
}

impl Machine {
    /// One that drops into this folder, which must be there.
    #[must_use]
    pub fn start(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            dropped: AtomicU64::new(0),
            silent: AtomicBool::new(false),
            last: Mutex::default(),
        }
    }

    /// Drops a file: writes it under another name, then gives it its own.
    ///
    /// # Errors
    /// When the folder cannot be written to.
    pub fn drop_file(&self, name: &str, content: &[u8]) -> std::io::Result<()> {
        let unfinished = self.folder.join(format!("{name}.tmp"));
        std::fs::write(&unfinished, content)?;
        std::fs::rename(unfinished, self.folder.join(name))
    }

    fn drop_next(&self, content: &[u8]) -> std::io::Result<()> {
        let number = self.dropped.fetch_add(1, Ordering::Relaxed);
        self.drop_file(&format!("order-{number}.jsonl"), content)
    }

    fn drop_often(&self, content: &[u8], times: u32) -> Result<(), CannotFail> {
        let dropped = (0..times).try_for_each(|_| self.drop_next(content));
        dropped.map_err(|_| CannotFail("its folder cannot be written to"))
    }
}

#[async_trait]
impl Simulated for Machine {
    /// The identity is left out: a file's name, time and content are its identity.
    async fn say(&self, said: &Said, _identity: Option<&str>) -> Result<(), CannotSay> {
        let Said::OrderReleased(order) = said else {
            return Err(CannotSay::NotMapped(said.kind()));
        };
        if self.silent.load(Ordering::Relaxed) {
            return Ok(());
        }
        let no_connection = |error: std::io::Error| CannotSay::NoConnection(error.to_string());
        let line = serde_json::to_vec(order).map_err(|error| no_connection(error.into()))?;
        self.drop_next(&line).map_err(no_connection)?;
        *self.last.lock().unwrap_or_else(PoisonError::into_inner) = Some(line);
        Ok(())
    }

    fn output(&self, _: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        Err(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        None
    }

    fn wired(&self) -> Wired {
        Wired { says: vec!["order-released".to_owned()], releases_orders: true, ..Wired::default() }
    }

    async fn suffer(&self, fault: Fault) -> Result<(), CannotFail> {
        match fault {
            Fault::Off(silent) | Fault::Silent(silent) => {
                self.silent.store(silent, Ordering::Relaxed);
                Ok(())
            }
            Fault::Repeating(times) => {
                let last = self.last.lock().unwrap_or_else(PoisonError::into_inner).clone();
                self.drop_often(&last.ok_or(CannotFail("it has dropped nothing yet"))?, times)
            }
            Fault::Flooding(times) => self.drop_often(b"{ noise\n", times),
            _ => Err(CannotFail(
                "it only drops files: it can be silent, repeat its last file, or drop many that \
                 mean nothing",
            )),
        }
    }
}
