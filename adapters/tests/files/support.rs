//! A folder of its own for each test, and a gateway that answers receipts when a test says so.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use serde_json::json;
use stencilward_adapters::files::{Link, Settings};
use stencilward_adapters::link::{Delivery, Floor, Intake, Link as _, Observer, Trouble};
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::{Said, Signal};
use tempfile::TempDir;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

pub(crate) use crate::patience::{until, within};

pub(crate) fn name() -> MachineName {
    MachineName::new("planning").unwrap()
}

/// A folder that orders are dropped into.
pub(crate) struct Drop(TempDir);

impl Drop {
    pub(crate) fn empty() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub(crate) fn path(&self) -> PathBuf {
        self.0.path().join("orders")
    }

    /// The same, with the folder made.
    pub(crate) fn made() -> Self {
        let drop = Self::empty();
        fs::create_dir(drop.path()).unwrap();
        drop
    }

    /// Drops a file, whole from the first moment on.
    pub(crate) fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        let unfinished = self.0.path().join("unfinished");
        fs::write(&unfinished, content).unwrap();
        fs::rename(unfinished, self.path().join(name)).unwrap();
    }

    /// The names of the files in a subfolder, or in the folder itself for an empty name.
    pub(crate) fn files(&self, of: &str) -> Vec<String> {
        files(&self.path().join(of))
    }
}

fn files(folder: &Path) -> Vec<String> {
    let Ok(found) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let found = found.map(|entry| entry.unwrap());
    let found = found.filter(|entry| !entry.file_type().unwrap().is_dir());
    let mut names: Vec<String> =
        found.map(|entry| entry.file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// What the link told its observer.
#[derive(Default)]
pub(crate) struct Notes(Mutex<Vec<(Trouble, String)>>);

impl Observer for Notes {
    fn trouble(&self, machine: &MachineName, kind: Trouble, detail: &str) {
        assert_eq!(*machine, name());
        self.0.lock().unwrap().push((kind, detail.to_owned()));
    }

    fn round(&self, _: &MachineName, _: Duration) {}

    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

impl Notes {
    pub(crate) fn has(&self, kind: Trouble, part: &str) -> bool {
        let notes = self.0.lock().unwrap();
        notes.iter().any(|(known, detail)| *known == kind && detail.contains(part))
    }

    pub(crate) fn count(&self, kind: Trouble) -> usize {
        self.0.lock().unwrap().iter().filter(|(known, _)| *known == kind).count()
    }
}

/// A link at work, and everything it was given.
pub(crate) struct Gateway {
    pub(crate) notes: Arc<Notes>,
    pub(crate) stop: CancellationToken,
    deliveries: mpsc::Receiver<Delivery>,
    task: JoinHandle<()>,
    _wanted: watch::Sender<Arc<stencilward_domain::outputs::Wanted>>,
}

impl Gateway {
    pub(crate) fn start(drop: &Drop) -> Self {
        let settings = json!({ "folder": drop.path(), "poll": "10ms", "settle": "10ms" });
        let settings: Settings = serde_json::from_value(settings).unwrap();
        assert_eq!(settings.check(), Vec::new());
        let (intake, deliveries) = Intake::bounded(1);
        let (wanted, receiver) = watch::channel(Arc::default());
        let notes = Arc::new(Notes::default());
        let stop = CancellationToken::new();
        let observer = Arc::clone(&notes) as Arc<dyn Observer>;
        let floor = Floor::bare(intake, receiver, observer, stop.clone());
        let task = tokio::spawn(Box::new(Link::new(name(), settings)).run(floor));
        Self { notes, stop, deliveries, task, _wanted: wanted }
    }

    /// One whose link is up.
    pub(crate) async fn up(drop: &Drop) -> Self {
        let mut gateway = Self::start(drop);
        assert_eq!(gateway.next_said().await, [Said::LinkUp { resumed: true }]);
        gateway
    }

    /// The next delivery, not durable yet.
    pub(crate) async fn next(&mut self) -> Delivery {
        within("a delivery", self.deliveries.recv()).await.unwrap()
    }

    /// The next delivery's signals. They are durable at once.
    pub(crate) async fn next_signals(&mut self) -> Vec<Signal> {
        let delivery = self.next().await;
        // The link may have been stopped meanwhile.
        let _ = delivery.receipt.send(Vec::new());
        delivery.signals
    }

    pub(crate) async fn next_said(&mut self) -> Vec<Said> {
        self.next_signals().await.into_iter().map(|signal| signal.said).collect()
    }

    /// The names of the orders of the next delivery.
    pub(crate) async fn next_orders(&mut self) -> Vec<String> {
        let said = self.next_said().await.into_iter();
        said.map(|said| match said {
            Said::OrderReleased(spec) => spec.order.as_str().to_owned(),
            other => panic!("{other:?}"),
        })
        .collect()
    }

    /// Why the link is lost, when that comes next.
    pub(crate) async fn next_lost(&mut self) -> String {
        match self.next_said().await.as_slice() {
            [Said::LinkLost { why }] => why.clone(),
            other => panic!("{other:?}"),
        }
    }

    /// True when nothing was handed over that nobody has looked at.
    pub(crate) fn is_silent(&mut self) -> bool {
        self.deliveries.try_recv().is_err()
    }

    /// Takes no more deliveries.
    pub(crate) fn close_intake(&mut self) {
        self.deliveries.close();
    }

    pub(crate) async fn ended(self) {
        within("the link's end", self.task).await.unwrap();
    }

    pub(crate) async fn stop(self) {
        self.stop.cancel();
        self.ended().await;
    }
}
