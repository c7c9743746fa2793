//! The other side: an edge node with one device, or none, that speaks the way its settings say.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use async_trait::async_trait;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Said;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::connection::{Connection, Heard};
use super::encode;
use super::payload::{Metric, Payload, Value, datatype};
use super::settings::Settings;
use super::topic::{Kind, NodeName, Topic};
use super::{BD_SEQ, REBIRTH, millis};
use crate::link::BackOff;
use crate::mqtt::{Access, Broker, Lost, Post};
use crate::settings::Drive;
use crate::simulated::{Answered, CannotSay, Simulated};

/// Things said that wait to be told.
const WAITING: usize = 1_024;

/// Metrics that have a new value, or none.
type Told = Vec<(String, Option<Value>)>;

/// What a metric is, and its present value.
type Values = BTreeMap<String, (u32, Option<Value>)>;

/// A simulated edge node. What it says while the broker is away is in its next birth. It ends when
/// dropped, without a farewell.
pub struct Machine {
    settings: Settings,
    say: mpsc::Sender<Told>,
    outputs: BTreeMap<OutputName, watch::Receiver<bool>>,
    controls: Arc<Controls>,
    stop: CancellationToken,
}

/// What a test makes it do.
#[derive(Default)]
struct Controls {
    disobeys: AtomicBool,
    /// Messages that get a number and are not sent.
    lose: AtomicU64,
    births: AtomicU64,
}

impl Machine {
    /// An edge node of this name at the broker there.
    #[must_use]
    pub fn start(broker: SocketAddr, name: &MachineName, settings: Settings) -> Self {
        Self::at(Broker::plain(broker), name, settings)
    }

    /// An edge node of this name at a broker that is reached the way the gateway reaches it.
    #[must_use]
    pub fn at(broker: Broker, name: &MachineName, settings: Settings) -> Self {
        let stop = CancellationToken::new();
        let (say, said) = mpsc::channel(WAITING);
        let controls = Arc::new(Controls::default());
        let (mut outputs, mut levers) = (BTreeMap::new(), BTreeMap::new());
        for output in settings.outputs.iter().filter(|output| output.drive != Drive::Heartbeat) {
            if let Ok(name) = OutputName::new(&output.name) {
                let (lever, shown) = watch::channel(false);
                outputs.insert(name, shown);
                levers.insert(output.metric.clone(), lever);
            }
        }
        let node = Node {
            access: Access::new(Broker { client: format!("simulated-{name}"), ..broker }),
            node: settings.node(),
            device: settings.device.clone(),
            values: encode::blank(&settings),
            read_backs: read_backs(&settings),
            levers,
            controls: Arc::clone(&controls),
            seq: 0,
            bd_seq: 0,
            born: false,
        };
        let ended = stop.clone();
        tokio::spawn(async move {
            tokio::select! {
                () = ended.cancelled() => {}
                () = node.run(said) => {}
            }
        });
        Self { settings, say, outputs, controls, stop }
    }

    /// From now on it ignores, or follows again, what it is commanded.
    pub fn disobey(&self, disobeys: bool) {
        self.controls.disobeys.store(disobeys, Ordering::SeqCst);
    }

    /// Its next messages of data get lost on the way.
    pub fn lose(&self, messages: u64) {
        self.controls.lose.store(messages, Ordering::SeqCst);
    }

    /// How often it was born.
    #[must_use]
    pub fn births(&self) -> u64 {
        self.controls.births.load(Ordering::SeqCst)
    }
}

impl Drop for Machine {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

#[async_trait]
impl Simulated for Machine {
    /// The identity is left out: totals and states need none.
    async fn say(&self, said: &Said, _identity: Option<&str>) -> Result<(), CannotSay> {
        for metrics in encode::metrics(&self.settings, said)? {
            let gone = |_| CannotSay::NoConnection("it was switched off".to_owned());
            self.say.send(metrics).await.map_err(gone)?;
        }
        Ok(())
    }

    fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        self.outputs.get(name).cloned().ok_or(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        None
    }
}

/// From each metric that is written to the one that shows it.
fn read_backs(settings: &Settings) -> BTreeMap<String, String> {
    let outputs = settings.outputs.iter();
    let pair = |output: &super::settings::Output| {
        (output.metric.clone(), output.read_back.clone().unwrap_or_else(|| output.metric.clone()))
    };
    outputs.map(pair).collect()
}

struct Node {
    access: Access,
    node: NodeName,
    device: Option<String>,
    values: Values,
    read_backs: BTreeMap<String, String>,
    levers: BTreeMap<String, watch::Sender<bool>>,
    controls: Arc<Controls>,
    seq: u8,
    bd_seq: u64,
    born: bool,
}

impl Node {
    async fn run(mut self, mut said: mpsc::Receiver<Told>) {
        let mut back_off = BackOff::for_machines();
        loop {
            match self.connection(&mut said).await {
                Ok(()) => return,
                Err(lost) => tracing::debug!(?lost, "a simulated edge node lost its broker"),
            }
            if std::mem::take(&mut self.born) {
                back_off.reset();
            }
            self.bd_seq = (self.bd_seq + 1) % 256;
            tokio::time::sleep(back_off.wait()).await;
        }
    }

    /// One connection; it ends in order once nothing more can be said.
    async fn connection(&mut self, said: &mut mpsc::Receiver<Told>) -> Result<(), Lost> {
        let mut connection = Connection::open(&self.access, "node", self.death()).await?;
        let device = self.device.as_deref();
        let own = self.topic(Kind::Command, None);
        let topics = device.map(|device| self.topic(Kind::Command, Some(device)));
        let filters = std::iter::once(own).chain(topics).map(|topic| (topic.to_string(), 1));
        connection.subscribe(filters.collect()).await;
        loop {
            tokio::select! {
                heard = connection.next() => match heard? {
                    Heard::Granted(_) => self.be_born(&mut connection).await,
                    Heard::Unwanted(why) => tracing::debug!(why, "it is not taken"),
                    Heard::Message(arrived) => {
                        connection.confirm(arrived.token).await;
                        if let Ok(command) = Payload::read(&arrived.payload) {
                            self.obey(command, &mut connection).await;
                        }
                    }
                },
                metrics = said.recv() => match metrics {
                    Some(metrics) => self.tell(metrics, &mut connection).await,
                    None => return Ok(()),
                },
            }
        }
    }

    fn death(&self) -> Post {
        let metrics = vec![self.bd_seq_metric()];
        let death = Payload { timestamp: Some(millis()), metrics, seq: None };
        let topic = self.topic(Kind::Death, None).to_string();
        Post { topic, payload: death.bytes(), retain: false }
    }

    fn bd_seq_metric(&self) -> Metric {
        Metric::new(BD_SEQ, datatype::INT64, Some(Value::Long(self.bd_seq)), millis())
    }

    fn topic(&self, kind: Kind, device: Option<&str>) -> Topic {
        Topic::new(&self.node, kind, device)
    }

    async fn be_born(&mut self, connection: &mut Connection) {
        (self.seq, self.born) = (0, true);
        self.controls.births.fetch_add(1, Ordering::SeqCst);
        let at = millis();
        let rebirth = Metric::new(REBIRTH, datatype::BOOLEAN, Some(Value::Boolean(false)), at);
        let mut own = vec![self.bd_seq_metric(), rebirth];
        let values = self.values.iter().zip(1_u64..).map(|((name, (datatype, value)), alias)| {
            let metric = Metric::new(name, *datatype, value.clone(), at);
            Metric { alias: Some(alias), ..metric }
        });
        let values: Vec<Metric> = values.collect();
        match self.device.clone() {
            None => {
                own.extend(values);
                self.send(Kind::Birth, None, own, connection).await;
            }
            Some(device) => {
                self.send(Kind::Birth, None, own, connection).await;
                self.send(Kind::Birth, Some(&device), values, connection).await;
            }
        }
    }

    async fn tell(&mut self, metrics: Told, connection: &mut Connection) {
        let mut told = Vec::new();
        for (name, value) in metrics {
            let alias = self.values.keys().zip(1_u64..).find(|(known, _)| **known == name);
            let Some(alias) = alias.map(|(_, alias)| alias) else {
                continue;
            };
            if let Some((_, known)) = self.values.get_mut(&name) {
                known.clone_from(&value);
            }
            let metric = Metric::new(&name, 0, value, millis());
            told.push(Metric { name: None, datatype: None, alias: Some(alias), ..metric });
        }
        if self.born {
            let device = self.device.clone();
            self.send(Kind::Data, device.as_deref(), told, connection).await;
        }
    }

    async fn obey(&mut self, command: Payload, connection: &mut Connection) {
        let mut shows = Vec::new();
        for metric in command.metrics {
            let by_alias = |alias| {
                let mut names = self.values.keys().zip(1_u64..);
                names.find(|(_, known)| *known == alias).map(|(name, _)| name.clone())
            };
            let Some(name) = metric.name.or_else(|| metric.alias.and_then(by_alias)) else {
                continue;
            };
            if name == REBIRTH && metric.value == Some(Value::Boolean(true)) {
                self.be_born(connection).await;
            } else if !self.controls.disobeys.load(Ordering::SeqCst) {
                if let (Some(lever), Some(Value::Boolean(on))) =
                    (self.levers.get(&name), &metric.value)
                {
                    lever.send_replace(*on);
                }
                if let Some(shown) = self.read_backs.get(&name) {
                    shows.push((shown.clone(), metric.value));
                }
            }
        }
        if !shows.is_empty() {
            self.tell(shows, connection).await;
        }
    }

    async fn send(
        &mut self,
        kind: Kind,
        device: Option<&str>,
        metrics: Vec<Metric>,
        connection: &mut Connection,
    ) {
        let seq = Some(u64::from(self.seq));
        self.seq = self.seq.wrapping_add(1);
        let lose = |left: u64| (kind == Kind::Data).then(|| left.checked_sub(1)).flatten();
        if self.controls.lose.fetch_update(Ordering::SeqCst, Ordering::SeqCst, lose).is_ok() {
            return;
        }
        let payload = Payload { timestamp: Some(millis()), metrics, seq };
        connection.send(&self.topic(kind, device), payload.bytes()).await;
    }
}
