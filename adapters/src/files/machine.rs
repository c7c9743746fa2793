//! The other side: a program that drops orders the way the README asks for.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use async_trait::async_trait;
use stencilward_domain::names::OutputName;
use stencilward_domain::signal::Said;
use tokio::sync::watch;

use crate::simulated::{Answered, CannotSay, Simulated};

/// A program that drops each order as a file of its own.
#[derive(Debug)]
pub struct Machine {
    folder: PathBuf,
    dropped: AtomicU64,
}

impl Machine {
    /// One that drops into this folder, which must be there.
    #[must_use]
    pub fn start(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), dropped: AtomicU64::new(0) }
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
}

#[async_trait]
impl Simulated for Machine {
    /// The identity is left out: a file's name, time and content are its identity.
    async fn say(&self, said: &Said, _identity: Option<&str>) -> Result<(), CannotSay> {
        let Said::OrderReleased(order) = said else {
            return Err(CannotSay::NotMapped(said.kind()));
        };
        let number = self.dropped.fetch_add(1, Ordering::Relaxed);
        serde_json::to_vec(order)
            .map_err(std::io::Error::from)
            .and_then(|line| self.drop_file(&format!("order-{number}.jsonl"), &line))
            .map_err(|error| CannotSay::NoConnection(error.to_string()))
    }

    fn output(&self, _: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        Err(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        None
    }
}
