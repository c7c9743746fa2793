//! A broker, a wire that can be cut, a gateway and people of another library.

use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use stencilward_domain::event::{Event, Recorded};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::mosquitto::{Mosquitto, Persistence};
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

pub(crate) const LIMIT: Duration = Duration::from_secs(60);

/// The client id of the gateway's connection that publishes.
const OUT: &[u8] = b"mqtt-test-out";

/// How long one last message may take, and how often it is tried.
const WHILE: Duration = Duration::from_secs(10);
const ATTEMPTS: u32 = 5;

pub(crate) struct Works {
    pub(crate) broker: Mosquitto,
    pub(crate) floor: Peer,
    pub(crate) gateway: Child,
    cut: watch::Sender<u32>,
    held: watch::Sender<bool>,
    address: SocketAddr,
    folder: TempDir,
}

impl Works {
    /// None, said aloud, where a peer is missing.
    pub(crate) async fn start(persistence: Persistence, queue: u32, version: &str) -> Option<Self> {
        let broker = Mosquitto::with_queue(persistence, queue).await?;
        let port = broker.port().to_string();
        let arguments = ["--host", broker.host(), "--port", &port];
        let floor = Peer::start("mqtt_floor.py", &arguments).await?;
        let (held, holding) = watch::channel(false);
        let (cut, near) = wire(format!("{}:{port}", broker.host()), holding).await;
        let folder = tempfile::tempdir().unwrap();
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        let text = configuration(near, version, address);
        std::fs::write(folder.path().join("mqtt.yaml"), text).unwrap();
        let gateway = run(&folder.path().join("mqtt.yaml"));
        let works = Self { broker, floor, gateway, cut, held, address, folder };
        works.up().await;
        Some(works)
    }

    /// Cuts every connection of the gateway's.
    pub(crate) fn cut(&self) {
        self.cut.send_modify(|cuts| *cuts += 1);
    }

    /// Holds, or lets through, what the gateway publishes.
    pub(crate) fn hold(&self, holds: bool) {
        self.held.send_replace(holds);
    }

    /// Ends the gateway in order, and gives what its ledger holds.
    pub(crate) async fn recorded(&mut self) -> Vec<Recorded> {
        let status = self.gateway.stop();
        assert!(status.success(), "{status}: {}", self.gateway.transcript());
        ledger_read::recorded(&self.folder.path().join("mqtt.db")).await
    }

    pub(crate) fn start_gateway(&mut self) {
        self.gateway = run(&self.file());
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("mqtt.yaml")
    }

    pub(crate) async fn tell(&mut self, command: Value, said: &str) -> Value {
        self.floor.ask(command, said, LIMIT).await
    }

    pub(crate) async fn up(&self) {
        eventually("the gateway hears the broker", LIMIT, async || {
            let seen = self.machines().await;
            let list = seen["machines"].as_array();
            let up = list.is_some_and(|list| list.iter().all(|machine| machine["link"] == "up"));
            if up { Ok(()) } else { Err(seen) }
        })
        .await;
    }

    async fn machines(&self) -> Value {
        let answer = http::get(self.address, "/api/v1/machines").await;
        answer.map_or(Value::Null, |answer| answer.json())
    }

    /// Strokes known and messages missed, as people see them.
    async fn known(&self) -> Option<(u64, u64)> {
        let machines = self.machines().await;
        let printer =
            machines["machines"].as_array()?.iter().find(|m| m["machine"] == "printer")?;
        let strokes =
            printer["booked_strokes"].as_u64()? + printer["unattributed_strokes"].as_u64()?;
        let metrics = http::get(self.address, "/metrics").await?.body;
        let line = "stencilward_messages_missed_total{machine=\"printer\"} ";
        let missed = metrics.lines().find_map(|text| text.strip_prefix(line)).unwrap_or("0");
        Some((strokes, missed.parse().ok()?))
    }

    /// How often the gateway has told that an answer to the rack waits.
    pub(crate) async fn late_answers(&self) -> u64 {
        let line = "stencilward_link_troubles_total{kind=\"timed-out\",machine=\"rack\"} ";
        let metrics =
            http::get(self.address, "/metrics").await.map_or_else(String::new, |m| m.body);
        let told = metrics.lines().find_map(|text| text.strip_prefix(line)?.parse().ok());
        told.unwrap_or(0)
    }

    /// Waits until so many are told to be missed, and all are either known or missed.
    pub(crate) async fn until_missed(&self, at_least: u64, all: u64) {
        eventually("the gap is told", LIMIT, async || {
            let known = self.known().await;
            let told = known
                .is_some_and(|(strokes, missed)| missed >= at_least && strokes + missed == all);
            if told { Ok(()) } else { Err(format!("{known:?}")) }
        })
        .await;
    }

    /// Waits a while; gives what is known when that is not all.
    async fn accounted_for(&self, published: u64, exact: bool) -> Option<(u64, u64)> {
        let begun = Instant::now();
        let mut seen = (0, 0);
        while begun.elapsed() < WHILE {
            seen = self.known().await.unwrap_or(seen);
            let (strokes, missed) = seen;
            if strokes + missed == published || (!exact && strokes + missed > published) {
                return None;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        Some(seen)
    }

    /// One more message, so that a gap at the end shows; then all `published` are accounted for,
    /// and the ledger says the same, number by number. Gives how many were missed.
    /// `exact` unless the broker went back to an older memory: what it then sends late counts
    /// among the missed all the same, so that more are told, never fewer.
    pub(crate) async fn add_up(&mut self, exact: bool) -> u64 {
        let mut published = 0;
        let mut seen = None;
        // A broker that forgets may do so between our look at the link and the message.
        for _ in 0..ATTEMPTS {
            self.up().await;
            let last = json!({ "do": "count", "topic": "a/strokes", "times": 1 });
            published = self.tell(last, "counted").await["number"].as_u64().unwrap();
            seen = self.accounted_for(published, exact).await;
            if seen.is_none() {
                break;
            }
        }
        assert_eq!(seen, None, "known and missed, of {published}");
        compare(&self.recorded().await, published, exact)
    }
}

/// Every number is in the ledger once, or is one of those that are told to be missed.
fn compare(recorded: &[Recorded], published: u64, exact: bool) -> u64 {
    let mut numbers = BTreeSet::new();
    let mut missed = 0;
    for recorded in recorded {
        match &recorded.fact.event {
            Event::StrokesUnattributed { count, .. } | Event::StrokesBooked { count, .. } => {
                assert_eq!(*count, 1);
                let identity = recorded.fact.identity.as_deref().unwrap();
                let number: u64 = identity.rsplit('/').next().unwrap().parse().unwrap();
                assert!(numbers.insert(number), "{number} counts twice");
            }
            Event::MessageNumbered(numbered) => missed += numbered.missed,
            _ => {}
        }
    }
    let lost: Vec<u64> = (1..=published).filter(|number| !numbers.contains(number)).collect();
    let told = if exact { missed == lost.len() as u64 } else { missed >= lost.len() as u64 };
    assert!(told, "told to be missed: {missed}; really missing: {lost:?}");
    missed
}

pub(crate) fn run(file: &std::path::Path) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(file);
    Child::start(&command)
}

/// A wire to the broker on a port of its own. All of it is cut when the number changes; while it
/// holds, nothing passes of what the gateway publishes.
async fn wire(far: String, holding: watch::Receiver<bool>) -> (watch::Sender<u32>, SocketAddr) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (cut, cuts) = watch::channel(0);
    tokio::spawn(async move {
        while let Ok((near, _)) = listener.accept().await {
            let (far, mut cuts, holding) = (far.clone(), cuts.clone(), holding.clone());
            cuts.mark_unchanged();
            tokio::spawn(async move {
                let Ok(far) = TcpStream::connect(far).await else { return };
                let (near_in, near_out) = near.into_split();
                let (far_in, far_out) = far.into_split();
                tokio::select! {
                    () = pass(near_in, far_out, Some(holding)) => {}
                    () = pass(far_in, near_out, None) => {}
                    _ = cuts.changed() => {}
                }
            });
        }
    });
    (cut, address)
}

/// Passes bytes on until one end is gone. Held is only the connection that publishes, by its
/// client id in the first packet (MQTT 3.1.1, 3.1.3.1).
async fn pass(
    mut from: OwnedReadHalf,
    mut to: OwnedWriteHalf,
    mut holding: Option<watch::Receiver<bool>>,
) {
    let mut buffer = vec![0; 65_536];
    let mut first = true;
    while let Ok(length @ 1..) = from.read(&mut buffer).await {
        let publishes = || buffer[..length].windows(OUT.len()).any(|bytes| bytes == OUT);
        if std::mem::take(&mut first) && !publishes() {
            holding = None;
        }
        if let Some(holding) = &mut holding
            && holding.wait_for(|holds| !holds).await.is_err()
        {
            return;
        }
        if to.write_all(&buffer[..length]).await.is_err() {
            return;
        }
    }
}

fn configuration(broker: SocketAddr, version: &str, listen: SocketAddr) -> String {
    format!(
        r#"
site: Invented Works
listen: {listen}
ledger: mqtt.db
stencils:
  - {{ code: ST-1, rated-strokes: 1000, clean: true }}
  - {{ code: ST-2, rated-strokes: 1000, clean: true }}
brokers:
  - {{ name: floor, address: "{broker}", client: mqtt-test, version: "{version}", keep-alive: 2s }}
machines:
  - name: printer
    kind: printer
    fastest-cycle: 1ms
    mqtt:
      broker: floor
      messages:
        - {{ topic: a/strokes, signal: strokes-done, count: /count, identity: /id, sequence: /n }}
  - name: rack
    kind: rack
    mqtt:
      broker: floor
      messages:
        - {{ topic: "scan/{{person}}/rack", signal: store-asked, stencil: /code, slot: /slot, identity: /id, answer: scan/answer }}
"#
    )
}
