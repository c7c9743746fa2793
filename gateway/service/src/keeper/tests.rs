//! The site task when its ledger fails: nothing follows, everything refuses, nothing is lost.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::atomic::{AtomicBool, Ordering};

use async_trait::async_trait;
use stencilward_adapters::link::{Intake, Receipt, heard};
use stencilward_domain::event::{Event, Position, StencilSpec, Stream};
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::plant::{Bases, Listed, MachineKind, MachineSpec, OutputRule, Plant};
use stencilward_domain::signal::Said;
use stencilward_ledger::{
    Append, Appended, BatchId, Due, Entry, Ledger, LedgerError, Refused, Row, SqliteLedger,
};
use tokio::task::JoinHandle;
use tokio::time::timeout;

use super::*;

const BROKER: &str = "floor";

const LIMIT: Duration = Duration::from_secs(10);

/// A ledger whose disk is full while `full`.
struct Filling {
    ledger: SqliteLedger,
    full: AtomicBool,
}

#[async_trait]
impl Ledger for Filling {
    async fn append_owing(
        &self,
        appends: &[Append],
        owed: &[Owed],
    ) -> Result<Vec<Result<Appended, Refused>>, LedgerError> {
        if self.full.load(Ordering::SeqCst) {
            return Err(LedgerError::storage("no space left on device"));
        }
        self.ledger.append_owing(appends, owed).await
    }

    async fn read(&self, after: Position, limit: usize) -> Result<Vec<Entry>, LedgerError> {
        self.ledger.read(after, limit).await
    }

    async fn read_stream(
        &self,
        stream: &Stream,
        after: u64,
        limit: usize,
    ) -> Result<Vec<Entry>, LedgerError> {
        self.ledger.read_stream(stream, after, limit).await
    }

    async fn read_stream_back(
        &self,
        stream: &Stream,
        limit: usize,
    ) -> Result<Vec<Entry>, LedgerError> {
        self.ledger.read_stream_back(stream, limit).await
    }

    async fn rows(&self, after: Position, limit: usize) -> Result<Vec<Row>, LedgerError> {
        self.ledger.rows(after, limit).await
    }

    async fn versions(&self) -> Result<HashMap<Stream, u64>, LedgerError> {
        self.ledger.versions().await
    }

    async fn due(&self, to: &str, after: u64, limit: usize) -> Result<Vec<Due>, LedgerError> {
        self.ledger.due(to, after, limit).await
    }

    async fn delivered(&self, numbers: Vec<u64>) -> Result<(), LedgerError> {
        self.ledger.delivered(numbers).await
    }

    async fn owe_only(&self, to: BTreeSet<String>) -> Result<BTreeSet<String>, LedgerError> {
        self.ledger.owe_only(to).await
    }

    fn owing(&self) -> watch::Receiver<u64> {
        self.ledger.owing()
    }

    fn head(&self) -> watch::Receiver<Position> {
        self.ledger.head()
    }

    async fn close(&self) {
        self.ledger.close().await;
    }
}

fn printer() -> MachineName {
    MachineName::new("printer-1").unwrap()
}

fn lock() -> OutputName {
    OutputName::new("lock").unwrap()
}

fn code() -> StencilCode {
    StencilCode::new("ST-1").unwrap()
}

/// One printer that names its stencil, one clean stencil, no take asked for.
fn plant() -> Plant {
    let spec = StencilSpec::rated(code(), 1_000);
    let source = "the test".to_owned();
    let listed = Listed { spec, starting_strokes: 0, clean: true, source };
    let machine = MachineSpec {
        kind: MachineKind::Printer,
        line: None,
        names_stencil: true,
        fastest_cycle: Duration::from_millis(1),
        counts_for: None,
        counters: BTreeMap::new(),
        bases: Bases::default(),
        outputs: BTreeMap::from([(lock(), OutputRule::PrintPermit)]),
    };
    let mut plant = Plant {
        machines: BTreeMap::from([(printer(), machine)]),
        stencils: BTreeMap::from([(code(), listed)]),
        ..Plant::default()
    };
    plant.policy.print_needs_take = false;
    plant
}

struct Task {
    ledger: Arc<Filling>,
    intake: Intake,
    wanted: watch::Receiver<Arc<Wanted>>,
    readiness: Arc<Readiness>,
    alarms: Arc<AlarmBoard>,
    metrics: Arc<Metrics>,
    give_up: CancellationToken,
    forgets: mpsc::Sender<String>,
    running: JoinHandle<Result<Ended, JournalError>>,
    _folder: tempfile::TempDir,
}

impl Task {
    /// A site task at whose printer ST-1 may be printed with.
    async fn permitting() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let ledger = SqliteLedger::open(&folder.path().join("site.db")).unwrap();
        let ledger = Arc::new(Filling { ledger, full: AtomicBool::new(false) });
        let metrics = Arc::new(Metrics::new().unwrap());
        let readiness = Arc::new(Readiness::not_yet("starting"));
        let alarms = Arc::new(AlarmBoard::default());
        let mut site = Site::new(plant());
        site.start("test", now());
        let (intake, deliveries) = Intake::bounded(8);
        let (_, visits) = stencilward_web::SiteHandle::bounded(1);
        let (_, replans) = mpsc::channel(1);
        let (forgets, forgetful) = mpsc::channel(1);
        let (sender, wanted) = watch::channel(Arc::new(Wanted::default()));
        let give_up = CancellationToken::new();
        let kept: Arc<dyn Ledger> = ledger.clone();
        let keeper = Keeper {
            site,
            journal: Journal::new(kept.clone(), metrics.clone(), HashMap::new()),
            follower: Follower::new(metrics.clone(), 100),
            showing: Showing::new().0,
            metrics: metrics.clone(),
            readiness: readiness.clone(),
            alarms: alarms.clone(),
            wanted: sender,
            deliveries,
            visits,
            replans,
            notices: Notices::new(Told {
                brokers: BTreeSet::from([BROKER.to_owned()]),
                ..Told::default()
            }),
            forgetful,
            give_up: give_up.clone(),
            beat: 0,
            snapshots: Taker::new(kept, folder.path().join("site.db.snapshot"), Position(0)),
            recheck: None,
        };
        let running = tokio::spawn(keeper.run());
        let mut task = Self {
            ledger,
            intake,
            wanted,
            readiness,
            alarms,
            metrics,
            give_up,
            forgets,
            running,
            _folder: folder,
        };
        task.say(Said::LinkUp { resumed: false }).await.durable().await.unwrap();
        task.say(Said::Seated { code: code() }).await.durable().await.unwrap();
        task.until_permits(true).await;
        task
    }

    async fn say(&self, said: Said) -> Receipt {
        self.intake.deliver(vec![heard(&printer(), said)]).await.unwrap()
    }

    async fn until_permits(&mut self, permits: bool) {
        let shown = self.wanted.wait_for(|wanted| wanted.permits(&printer(), &lock()) == permits);
        timeout(LIMIT, shown).await.expect("the output follows").unwrap();
    }

    async fn strokes(&self) -> u64 {
        let entries = self.ledger.read(Position(0), 1_000).await.unwrap();
        let booked = entries.iter().map(|entry| match &entry.recorded.fact.event {
            Event::StrokesBooked { count, .. } => *count,
            _ => 0,
        });
        booked.sum()
    }
}

#[tokio::test]
async fn a_full_disk_refuses_everything_until_there_is_room() {
    let mut task = Task::permitting().await;
    task.ledger.full.store(true, Ordering::SeqCst);
    let mut receipt = Box::pin(task.say(Said::StrokesDone { count: 3 }).await.durable());
    task.until_permits(false).await;
    assert!(task.readiness.trouble().is_some_and(|trouble| trouble.contains("takes no writes")));
    assert!(still_waits(&mut receipt).await, "nothing is confirmed that is not durable");
    let shown: Vec<&str> = task.alarms.standing().iter().map(|alarm| alarm.code).collect();
    assert_eq!(shown, ["ledger-trouble"], "it is shown without the ledger");
    assert_eq!(critical(&task), "1");

    task.ledger.full.store(false, Ordering::SeqCst);
    timeout(LIMIT, receipt).await.expect("it goes on by itself").unwrap();
    task.until_permits(true).await;
    assert_eq!(task.readiness.trouble(), None);
    assert!(!task.alarms.is_troubled(), "it ends by itself");
    assert_eq!(critical(&task), "0");
    assert_eq!(task.strokes().await, 3);
}

/// What the metrics tell of critical alarms that nobody acknowledged.
fn critical(task: &Task) -> String {
    let series = "stencilward_alarms{priority=\"critical\",state=\"unacknowledged\"} ";
    let text = task.metrics.text();
    let told = text.lines().find_map(|line| line.strip_prefix(series));
    told.expect("the series is there").to_owned()
}

/// The notice and the event that made it so come to be durable together, and neither without room.
#[tokio::test]
async fn what_a_broker_is_owed_is_durable_with_its_cause() {
    let task = Task::permitting().await;
    let due = task.ledger.due(BROKER, 0, 100).await.unwrap();
    let abouts: BTreeSet<&str> = due.iter().map(|due| due.owed.about.as_str()).collect();
    let all = ["decisions/print/ST-1", "machines/printer-1", "stencils/ST-1"];
    assert_eq!((due.len(), abouts), (3, BTreeSet::from(all)));
    task.ledger.delivered(due.iter().map(|due| due.number).collect()).await.unwrap();

    task.ledger.full.store(true, Ordering::SeqCst);
    let receipt = task.say(Said::StrokesDone { count: 3 }).await;
    assert_eq!(task.ledger.due(BROKER, 0, 100).await.unwrap(), []);
    task.ledger.full.store(false, Ordering::SeqCst);
    receipt.durable().await.unwrap();
    let due = task.ledger.due(BROKER, 0, 100).await.unwrap();
    assert_eq!(due.len(), 1, "strokes change no machine: {due:?}");
    let notice: serde_json::Value = serde_json::from_slice(&due[0].owed.body).unwrap();
    assert_eq!((&notice["stencil"], &notice["strokes"]), (&"ST-1".into(), &3.into()));
    task.ledger.delivered(vec![due[0].number]).await.unwrap();

    let mut owing = task.ledger.owing();
    owing.mark_unchanged();
    task.forgets.send(BROKER.to_owned()).await.unwrap();
    timeout(LIMIT, owing.changed()).await.expect("it is told everything").unwrap();
    assert_eq!(task.ledger.due(BROKER, 0, 100).await.unwrap().len(), 2, "a stencil, a printer");
}

/// True when it has not come to an end by itself.
async fn still_waits<F: Future + Unpin>(future: &mut F) -> bool {
    timeout(Duration::ZERO, future).await.is_err()
}

#[tokio::test]
async fn a_stop_while_the_disk_is_full_tells_what_is_left() {
    let mut task = Task::permitting().await;
    task.ledger.full.store(true, Ordering::SeqCst);
    let receipt = task.say(Said::StrokesDone { count: 3 }).await;
    task.until_permits(false).await;
    task.give_up.cancel();
    let ended = timeout(LIMIT, task.running).await.expect("it ends").unwrap().unwrap();
    assert!(ended.unwritten > 0);
    assert!(receipt.durable().await.is_err(), "the message comes again");
}

#[tokio::test]
async fn a_second_writer_ends_it_with_everything_refused() {
    let mut task = Task::permitting().await;
    let version = task.ledger.versions().await.unwrap()[&Stream::Stencil(code())];
    let entries = task.ledger.read(Position(0), 1_000).await.unwrap();
    let fact = entries.into_iter().rev().map(|entry| entry.recorded.fact);
    let fact = fact.into_iter().find(|fact| fact.event.stream() == Stream::Stencil(code()));
    let append = Append {
        stream: Stream::Stencil(code()),
        expected: version,
        batch: BatchId([9; 16]),
        facts: fact.into_iter().collect(),
    };
    task.ledger.append(vec![append]).await.unwrap().remove(0).unwrap();

    let receipt = task.say(Said::StrokesDone { count: 1 }).await;
    let ended = timeout(LIMIT, &mut task.running).await.expect("it ends").unwrap();
    assert!(matches!(ended, Err(JournalError::NotAlone(_))), "{ended:?}");
    assert!(receipt.durable().await.is_err());
    let shown = task.wanted.borrow().permits(&printer(), &lock());
    assert!(!shown, "two writers cannot both be right: nothing is permitted");
}
