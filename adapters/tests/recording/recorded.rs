//! A link at work whose machine is recorded, and the recording decoded again.

use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use stencilward_adapters::link::{Floor, Intake, Link, Observer, Trouble};
use stencilward_adapters::record::{
    About, Decodes, Difference, Happened, Heard, Player, Read, Reader, Recorder, Settings, Size,
    Tapes, Writer,
};
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Said;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

pub(crate) use crate::patience::{until, within};

pub(crate) fn name() -> MachineName {
    MachineName::new("printer-1").unwrap()
}

struct Deaf;

impl Observer for Deaf {
    fn trouble(&self, _: &MachineName, kind: Trouble, detail: &str) {
        assert_ne!(kind, Trouble::Unrecorded, "{detail}");
    }

    fn round(&self, _: &MachineName, _: Duration) {}

    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

/// A link at work.
pub(crate) struct Recorded {
    heard: Arc<Mutex<Vec<Heard>>>,
    stop: CancellationToken,
    link: JoinHandle<()>,
    writer: JoinHandle<()>,
    taking: JoinHandle<()>,
    to: PathBuf,
    about: About,
    _wanted: watch::Sender<Arc<stencilward_domain::outputs::Wanted>>,
    _folder: tempfile::TempDir,
}

impl Recorded {
    pub(crate) fn start(link: Box<dyn Link>, protocol: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let to = folder.path().join("printer-1.rec");
        let (kind, settings) = ("printer".to_owned(), "0".to_owned());
        let about = About { machine: name(), kind, protocol: protocol.to_owned(), settings };
        let settings = Settings { to: to.clone(), at_most: Size(1 << 30) };
        let (writer, tape) = Writer::new(about.clone(), settings, Arc::new(Deaf));
        let observer = Arc::new(Recorder::new(Arc::new(Deaf), Tapes::from([(name(), tape)])));
        let (intake, mut deliveries) = Intake::bounded(4);
        let (wanted, receiver) = watch::channel(Arc::default());
        let stop = CancellationToken::new();
        let heard = Arc::new(Mutex::new(Vec::new()));
        let taken = Arc::clone(&heard);
        let taking = tokio::spawn(async move {
            while let Some(delivery) = deliveries.recv().await {
                let signals = delivery.signals.into_iter();
                taken.lock().unwrap().extend(signals.map(|signal| Heard::of(&name(), signal)));
                let _ = delivery.receipt.send(Vec::new());
            }
        });
        let floor = Floor::bare(intake, receiver, observer, stop.clone());
        Self {
            heard,
            stop,
            link: tokio::spawn(link.run(floor)),
            writer: tokio::task::spawn_blocking(|| writer.run()),
            taking,
            to,
            about,
            _wanted: wanted,
            _folder: folder,
        }
    }

    /// Waits until this was heard, so many times in all.
    pub(crate) async fn hears(&self, what: &str, times: usize, is_it: impl Fn(&Said) -> bool) {
        until(what, || {
            let heard = self.heard.lock().unwrap();
            heard.iter().filter(|heard| is_it(&heard.said)).count() >= times
        })
        .await;
    }

    /// Stops the link, and waits for the end of the recording.
    pub(crate) async fn stop(self) -> Recording {
        self.stop.cancel();
        within("the link's end", self.link).await.unwrap();
        within("the writer's end", self.writer).await.unwrap();
        within("the last delivery", self.taking).await.unwrap();
        let bytes = std::fs::read(&self.to).unwrap();
        let heard = Arc::into_inner(self.heard).unwrap().into_inner().unwrap();
        Recording { bytes, heard, about: self.about }
    }
}

/// A recording, and what the gateway got meanwhile.
pub(crate) struct Recording {
    pub(crate) bytes: Vec<u8>,
    pub(crate) heard: Vec<Heard>,
    about: About,
}

impl Recording {
    /// Decodes it again: what was recorded as given, and what differs.
    pub(crate) fn play(&self, decodes: Decodes) -> (Vec<Heard>, Vec<Difference>) {
        let mut player = Player::new(self.about.clone(), decodes);
        let (mut given, mut differences) = (Vec::new(), Vec::new());
        for line in Reader::new(self.bytes.as_slice()) {
            let (number, read) = line.unwrap();
            assert!(matches!(read, Read::Line(_)), "line {number}: {read:?}");
            match player.play(read).unwrap() {
                Happened::Began { changed, .. } => assert!(!changed),
                Happened::Same { entry } => given.extend(entry.given.signals),
                Happened::Differs { entry, difference, .. } => {
                    given.extend(entry.given.signals);
                    differences.push(difference);
                }
                other => panic!("line {number}: {other:?}"),
            }
        }
        assert_eq!(player.unread(), Vec::<String>::new());
        (given, differences)
    }
}
