//! The embedded engine: one SQLite file, one writer thread, many events per durable write.
//!
//! WAL with `synchronous = FULL`: a commit returns once the log is on the disk. Appends that wait
//! at the same time are made durable together. Not for network file systems: WAL needs shared
//! memory and honest locks.

mod archive;
mod at_rest;
mod open;
mod owed;
mod part;
mod parts;
mod read;
mod reader;
mod source;
mod transact;
mod write;

use std::collections::{BTreeSet, HashMap};
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

use async_trait::async_trait;
use stencilward_domain::event::{Position, Stream};
use tokio::sync::{mpsc, oneshot, watch};

use crate::body;
use crate::contract::{Append, Appended, Due, Entry, Ledger, Owed, Row};
use crate::error::{LedgerError, Refused};
pub use archive::ArchiveError;
pub use at_rest::AtRest;
pub use open::OpenError;
use read::Readers;
pub use reader::Reader;
use source::Shelf;
use write::{Call, Job, Writer};

/// Calls that may wait for the writer; more wait in their callers.
const QUEUE: usize = 256;

/// A ledger in one SQLite file.
pub struct SqliteLedger {
    readers: Arc<Readers>,
    /// None once closed.
    jobs: Mutex<Option<mpsc::Sender<Job>>>,
    writer: Mutex<Option<JoinHandle<()>>>,
    head: watch::Receiver<Position>,
    owing: watch::Receiver<u64>,
    commits: Arc<AtomicU64>,
    /// Held by who makes a part: one at a time.
    archiving: tokio::sync::Mutex<()>,
}

impl fmt::Debug for SqliteLedger {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SqliteLedger")
            .field("path", &self.readers.path())
            .field("head", &*self.head.borrow())
            .finish_non_exhaustive()
    }
}

impl SqliteLedger {
    /// Opens the ledger in this file, making it when it is not there. Waits for the disk.
    ///
    /// # Errors
    /// [`OpenError`], saying what to do; also when a part of its archive is not there.
    pub fn open(path: &Path) -> Result<Self, OpenError> {
        let path = open::resolve(path)?;
        let folder = open::folder(&path).to_owned();
        Self::open_among(path, folder)
    }

    /// As [`Self::open`], and looks for relative files of parts from this folder.
    ///
    /// # Errors
    /// As for [`Self::open`].
    pub fn open_beside(path: &Path, folder: &Path) -> Result<Self, OpenError> {
        Self::open_among(open::resolve(path)?, folder.to_owned())
    }

    fn open_among(path: PathBuf, folder: PathBuf) -> Result<Self, OpenError> {
        let lock = open::lock(&path, open::LEAVING)?;
        let connection = open::writer(&path)?;
        open::look_at_parts(&connection, &folder)?;
        let commits = Arc::new(AtomicU64::new(0));
        let shelf = Shelf::new(&folder);
        let (writer, head, owing) = Writer::new(connection, shelf, Arc::clone(&commits))?;
        let (jobs, queue) = mpsc::channel(QUEUE);
        let writer = std::thread::Builder::new()
            .name("ledger-writer".to_owned())
            .spawn(move || {
                writer.work(queue);
                drop(lock);
            })
            .map_err(OpenError::Thread)?;
        Ok(Self {
            readers: Arc::new(Readers::new(path, folder)),
            jobs: Mutex::new(Some(jobs)),
            writer: Mutex::new(Some(writer)),
            head,
            owing,
            commits,
            archiving: tokio::sync::Mutex::new(()),
        })
    }

    /// Durable writes made since it was opened. Each holds one call's appends or those of many.
    #[must_use]
    pub fn commits(&self) -> u64 {
        self.commits.load(Ordering::Relaxed)
    }

    /// Lets the file grow to this many pages of 4 KiB and no further, as a full disk would; a
    /// test takes the limit away with `u32::MAX`.
    ///
    /// # Errors
    /// [`LedgerError`] when the ledger is closed or SQLite does not take it.
    #[cfg(any(test, feature = "suite"))]
    pub async fn limit_pages(&self, pages: u32) -> Result<(), LedgerError> {
        let (done, answer) = oneshot::channel();
        self.hand_over(Job::Limit { pages, done }).await?;
        answer.await.map_err(|_| LedgerError::Closed)?
    }

    async fn hand_over(&self, job: Job) -> Result<(), LedgerError> {
        let jobs = held(&self.jobs).clone().ok_or(LedgerError::Closed)?;
        jobs.send(job).await.map_err(|_| LedgerError::Closed)
    }

    /// Tells the writer to end after what it was handed, and gives its thread to wait for.
    fn end(&self) -> Option<JoinHandle<()>> {
        *held(&self.jobs) = None;
        self.readers.rest();
        held(&self.writer).take()
    }
}

fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn join(writer: JoinHandle<()>) {
    if writer.join().is_err() {
        tracing::error!("the ledger's writer had broken: please report");
    }
}

impl Drop for SqliteLedger {
    /// Waits until the writer has finished what it holds and closed the file.
    fn drop(&mut self) {
        if let Some(writer) = self.end() {
            join(writer);
        }
    }
}

#[async_trait]
impl Ledger for SqliteLedger {
    async fn append_owing(
        &self,
        appends: &[Append],
        owed: &[Owed],
    ) -> Result<Vec<Result<Appended, Refused>>, LedgerError> {
        let written = appends.iter().map(body::write).collect();
        let owed = owed.to_vec();
        let (done, answer) = oneshot::channel();
        self.hand_over(Job::Append(Call { written, owed, done })).await?;
        answer.await.map_err(|_| LedgerError::Closed)?
    }

    async fn due(&self, to: &str, after: u64, limit: usize) -> Result<Vec<Due>, LedgerError> {
        let to = to.to_owned();
        self.readers.with(move |connection, _| owed::due(connection, &to, after, limit)).await
    }

    async fn delivered(&self, numbers: Vec<u64>) -> Result<(), LedgerError> {
        let (done, answer) = oneshot::channel();
        self.hand_over(Job::Delivered { numbers, done }).await?;
        answer.await.map_err(|_| LedgerError::Closed)?
    }

    async fn owe_only(&self, to: BTreeSet<String>) -> Result<BTreeSet<String>, LedgerError> {
        let (done, answer) = oneshot::channel();
        self.hand_over(Job::OweOnly { to, done }).await?;
        answer.await.map_err(|_| LedgerError::Closed)?
    }

    fn owing(&self) -> watch::Receiver<u64> {
        self.owing.clone()
    }

    async fn read(&self, after: Position, limit: usize) -> Result<Vec<Entry>, LedgerError> {
        self.readers.with(move |file, shelf| read::all(file, shelf, after, limit)).await
    }

    async fn read_stream(
        &self,
        stream: &Stream,
        after: u64,
        limit: usize,
    ) -> Result<Vec<Entry>, LedgerError> {
        let stream = stream.to_string();
        let read = move |file: &_, shelf: &mut _| read::stream(file, shelf, &stream, after, limit);
        self.readers.with(read).await
    }

    async fn read_stream_back(
        &self,
        stream: &Stream,
        limit: usize,
    ) -> Result<Vec<Entry>, LedgerError> {
        let stream = stream.to_string();
        let read = move |file: &_, shelf: &mut _| read::stream_back(file, shelf, &stream, limit);
        self.readers.with(read).await
    }

    async fn rows(&self, after: Position, limit: usize) -> Result<Vec<Row>, LedgerError> {
        self.readers.with(move |file, shelf| read::rows(file, shelf, after, limit)).await
    }

    async fn versions(&self) -> Result<HashMap<Stream, u64>, LedgerError> {
        self.readers.with(|file, _| read::versions(file)).await
    }

    fn head(&self) -> watch::Receiver<Position> {
        self.head.clone()
    }

    async fn close(&self) {
        if let Some(writer) = self.end() {
            // The thread ends by itself also when nobody waits for it any more.
            let _ = tokio::task::spawn_blocking(move || join(writer)).await;
        }
    }
}

#[cfg(test)]
mod tests;
