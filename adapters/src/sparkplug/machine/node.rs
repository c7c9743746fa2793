//! An edge node at work: its connection, its births, and the devices it speaks for.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use stencilward_domain::names::MachineName;
use tokio::sync::{mpsc, watch};

use super::Controls;
use crate::link::BackOff;
use crate::mqtt::{Access, Arrived, Lost, Post};
use crate::sparkplug::connection::{Connection, Heard};
use crate::sparkplug::payload::{Metric, Payload, Value, datatype};
use crate::sparkplug::settings::{Output, Settings};
use crate::sparkplug::topic::{Kind, NodeName, Topic};
use crate::sparkplug::{BD_SEQ, REBIRTH, encode, millis};

/// What is no payload.
const NOISE: &[u8] = &[0xff, 0x13, 0x37];

/// Metrics that have a new value, or none.
pub(super) type Told = Vec<(String, Option<Value>)>;

/// What an edge node is to do, for one of its machines.
pub(super) enum Order {
    Join(Box<Member>),
    Say(MachineName, Told),
    Power(MachineName, bool),
    Silence(MachineName, bool),
    Cut,
    Repeat(MachineName, u32),
    Flood(MachineName, u32),
}

/// One of its machines: a device, or the edge node itself.
pub(super) struct Member {
    name: MachineName,
    device: Option<String>,
    /// What each metric is, and its present value.
    values: BTreeMap<String, (u32, Option<Value>)>,
    /// From each metric that is written to the one that shows it.
    read_backs: BTreeMap<String, String>,
    levers: BTreeMap<String, watch::Sender<bool>>,
    controls: Arc<Controls>,
    on: bool,
    silent: bool,
    /// It was born since the edge node was.
    born: bool,
    said_last: Option<(Topic, Vec<u8>)>,
}

impl Member {
    pub(super) fn new(
        name: MachineName,
        settings: &Settings,
        levers: BTreeMap<String, watch::Sender<bool>>,
        controls: Arc<Controls>,
    ) -> Self {
        let pair = |output: &Output| {
            let shows = output.read_back.as_ref().unwrap_or(&output.metric);
            (output.metric.clone(), shows.clone())
        };
        Self {
            name,
            device: settings.device.clone(),
            values: encode::blank(settings),
            read_backs: settings.outputs.iter().map(pair).collect(),
            levers,
            controls,
            on: true,
            silent: false,
            born: false,
            said_last: None,
        }
    }

    /// Every metric as a birth tells it, with an alias that no other of the edge node has.
    fn birth(&mut self, at: usize) -> Vec<Metric> {
        self.controls.births.fetch_add(1, Ordering::SeqCst);
        self.born = true;
        let now = millis();
        let metrics = self.values.iter().zip(aliases(at)).map(|((name, (kind, value)), alias)| {
            Metric { alias: Some(alias), ..Metric::new(name, *kind, value.clone(), now) }
        });
        metrics.collect()
    }

    fn alias(&self, at: usize, name: &str) -> Option<u64> {
        self.values
            .keys()
            .zip(aliases(at))
            .find(|(known, _)| *known == name)
            .map(|(_, alias)| alias)
    }

    fn called(&self, at: usize, metric: &Metric) -> Option<String> {
        let by_alias = |alias| self.values.keys().zip(aliases(at)).find(|(_, of)| *of == alias);
        let named = || by_alias(metric.alias?).map(|(name, _)| name.clone());
        metric.name.clone().or_else(named)
    }

    /// Does what it is commanded, and gives what shows it.
    fn follow(&self, name: &str, value: Option<Value>) -> Option<(String, Option<Value>)> {
        if self.controls.disobeys.load(Ordering::SeqCst) {
            return None;
        }
        if let (Some(lever), Some(Value::Boolean(on))) = (self.levers.get(name), &value) {
            lever.send_replace(*on);
        }
        Some((self.read_backs.get(name)?.clone(), value))
    }

    fn loses(&self) -> bool {
        let lose = |left: u64| left.checked_sub(1);
        self.controls.lose.fetch_update(Ordering::SeqCst, Ordering::SeqCst, lose).is_ok()
    }
}

/// The aliases of one machine's metrics.
fn aliases(at: usize) -> std::ops::RangeFrom<u64> {
    ((at as u64) << 32) + 1..
}

pub(super) struct Node {
    access: Access,
    name: NodeName,
    members: Vec<Member>,
    line: Option<Connection>,
    seq: u8,
    bd_seq: u64,
    born: bool,
}

impl Node {
    pub(super) fn new(access: Access, name: NodeName, member: Member) -> Self {
        Self { access, name, members: vec![member], line: None, seq: 0, bd_seq: 0, born: false }
    }

    pub(super) async fn run(mut self, mut orders: mpsc::Receiver<Order>) {
        let mut back_off = BackOff::for_machines();
        loop {
            if self.powered()
                && let Err(lost) = self.connect().await
            {
                tracing::debug!(?lost, "a simulated edge node has no broker");
            }
            while self.line.is_some() || !self.powered() {
                tokio::select! {
                    heard = hear(self.line.as_mut()) => match heard {
                        Ok(heard) => self.heed(heard).await,
                        Err(lost) => {
                            tracing::debug!(?lost, "a simulated edge node lost its broker");
                            self.line = None;
                        }
                    },
                    order = orders.recv() => match order {
                        Some(order) => self.obey(order).await,
                        None => return,
                    },
                }
            }
            if std::mem::take(&mut self.born) {
                back_off.reset();
            }
            self.bd_seq = (self.bd_seq + 1) % 256;
            tokio::time::sleep(back_off.wait()).await;
        }
    }

    /// True unless the edge node itself, or its only machine, has no power.
    fn powered(&self) -> bool {
        self.members.iter().all(|member| member.on || !self.stands_for_all(member))
    }

    fn stands_for_all(&self, member: &Member) -> bool {
        member.device.is_none() || self.members.len() == 1
    }

    async fn connect(&mut self) -> Result<(), Lost> {
        let metrics = vec![self.bd_seq_metric()];
        let death = Payload { timestamp: Some(millis()), metrics, seq: None };
        let topic = Topic::new(&self.name, Kind::Death, None).to_string();
        let will = Post { topic, payload: death.bytes(), retain: false, reply: None };
        self.line = Some(Connection::open(&self.access, "node", will).await?);
        self.subscribe().await;
        Ok(())
    }

    async fn subscribe(&mut self) {
        let own = Topic::new(&self.name, Kind::Command, None);
        let devices = self.members.iter().filter_map(|member| member.device.as_deref());
        let devices = devices.map(|device| Topic::new(&self.name, Kind::Command, Some(device)));
        let filters = std::iter::once(own).chain(devices).map(|topic| (topic.to_string(), 1));
        let filters = filters.collect();
        if let Some(line) = &mut self.line {
            line.subscribe(filters).await;
        }
    }

    fn bd_seq_metric(&self) -> Metric {
        Metric::new(BD_SEQ, datatype::INT64, Some(Value::Long(self.bd_seq)), millis())
    }

    async fn heed(&mut self, heard: Heard) {
        match heard {
            Heard::Granted(_) => self.be_born().await,
            Heard::Unwanted(why) => tracing::debug!(why, "it is not taken"),
            Heard::Message(arrived) => {
                if let Some(line) = &self.line {
                    line.confirm(arrived.token).await;
                }
                self.command(&arrived).await;
            }
        }
    }

    async fn obey(&mut self, order: Order) {
        match order {
            Order::Join(member) => {
                self.members.push(*member);
                // Its grant makes all be born.
                self.subscribe().await;
            }
            Order::Cut => self.line = None,
            Order::Say(name, told) => {
                if let Some(at) = self.find(&name) {
                    self.tell(at, told).await;
                }
            }
            Order::Power(name, on) => {
                if let Some(at) = self.find(&name) {
                    self.switch(at, on).await;
                }
            }
            Order::Silence(name, silent) => {
                if let Some(at) = self.find(&name) {
                    self.silence(at, silent).await;
                }
            }
            Order::Repeat(name, times) => {
                let last =
                    |member: &Member| (member.name == name).then(|| member.said_last.clone());
                if let Some((topic, payload)) = self.members.iter().find_map(last).flatten() {
                    self.send_often(&topic, &payload, times).await;
                }
            }
            Order::Flood(name, times) => {
                if let Some(member) = self.members.iter().find(|member| member.name == name) {
                    let topic = Topic::new(&self.name, Kind::Data, member.device.as_deref());
                    self.send_often(&topic, NOISE, times).await;
                }
            }
        }
    }

    fn find(&self, name: &MachineName) -> Option<usize> {
        self.members.iter().position(|member| member.name == *name)
    }

    async fn switch(&mut self, at: usize, on: bool) {
        let alone = self.members.get(at).is_some_and(|member| self.stands_for_all(member));
        let Some(member) = self.members.get_mut(at) else { return };
        if std::mem::replace(&mut member.on, on) == on {
            return;
        }
        if alone && !on {
            self.line = None;
        } else if on {
            self.bear(at).await;
        } else if std::mem::take(&mut member.born) && self.born {
            let device = member.device.clone();
            self.send(Kind::Death, device.as_deref(), Vec::new()).await;
        }
    }

    /// What it did not tell meanwhile it tells in the end.
    async fn silence(&mut self, at: usize, silent: bool) {
        let Some(member) = self.members.get_mut(at) else { return };
        if std::mem::replace(&mut member.silent, silent) == silent || silent {
            return;
        }
        if member.born {
            let all = member.values.iter().map(|(name, (_, value))| (name.clone(), value.clone()));
            let all = all.collect();
            self.tell(at, all).await;
        } else if member.device.is_none() {
            self.be_born().await;
        } else {
            self.bear(at).await;
        }
    }

    /// All births; none while the edge node itself is silent.
    async fn be_born(&mut self) {
        for member in &mut self.members {
            member.born = false;
        }
        if self.members.iter().any(|member| member.device.is_none() && member.silent) {
            self.born = false;
            return;
        }
        (self.seq, self.born) = (0, self.line.is_some());
        let rebirth = Some(Value::Boolean(false));
        let rebirth = Metric::new(REBIRTH, datatype::BOOLEAN, rebirth, millis());
        let mut own = vec![self.bd_seq_metric(), rebirth];
        for (at, member) in self.members.iter_mut().enumerate() {
            if member.device.is_none() {
                own.extend(member.birth(at));
            }
        }
        self.send(Kind::Birth, None, own).await;
        for at in 0..self.members.len() {
            self.bear(at).await;
        }
    }

    /// The birth of a device, while it can be.
    async fn bear(&mut self, at: usize) {
        let Some(member) = self.members.get_mut(at) else { return };
        let Some(device) = member.device.clone() else { return };
        if self.born && member.on && !member.silent {
            let metrics = member.birth(at);
            self.send(Kind::Birth, Some(&device), metrics).await;
        }
    }

    async fn tell(&mut self, at: usize, metrics: Told) {
        let Some(member) = self.members.get_mut(at) else { return };
        let mut told = Vec::new();
        for (name, value) in metrics {
            let Some(alias) = member.alias(at, &name) else { continue };
            if let Some((_, known)) = member.values.get_mut(&name) {
                known.clone_from(&value);
            }
            let metric = Metric::new(&name, 0, value, millis());
            told.push(Metric { name: None, datatype: None, alias: Some(alias), ..metric });
        }
        if !member.born || member.silent || !self.born {
            return;
        }
        let (device, lost) = (member.device.clone(), member.loses());
        let (topic, payload) = self.message(Kind::Data, device.as_deref(), told);
        if !lost {
            self.send_often(&topic, &payload, 1).await;
        }
        if let Some(member) = self.members.get_mut(at) {
            member.said_last = Some((topic, payload));
        }
    }

    async fn command(&mut self, arrived: &Arrived) {
        let (Some(topic), Ok(command)) =
            (Topic::parse(&arrived.topic), Payload::read(&arrived.payload))
        else {
            return;
        };
        let at = self.members.iter().position(|member| member.device == topic.device);
        let mut shows = Vec::new();
        for metric in command.metrics {
            let reborn = metric.name.as_deref() == Some(REBIRTH) && topic.device.is_none();
            if reborn && metric.value == Some(Value::Boolean(true)) {
                self.be_born().await;
            } else if let Some((at, member)) = at.and_then(|at| Some((at, self.members.get(at)?)))
                && let Some(name) = member.called(at, &metric)
            {
                shows.extend(member.follow(&name, metric.value));
            }
        }
        if let Some(at) = at.filter(|_| !shows.is_empty()) {
            self.tell(at, shows).await;
        }
    }

    /// A message with the next number.
    fn message(
        &mut self,
        kind: Kind,
        device: Option<&str>,
        metrics: Vec<Metric>,
    ) -> (Topic, Vec<u8>) {
        let seq = Some(u64::from(self.seq));
        self.seq = self.seq.wrapping_add(1);
        let payload = Payload { timestamp: Some(millis()), metrics, seq };
        (Topic::new(&self.name, kind, device), payload.bytes())
    }

    async fn send(&mut self, kind: Kind, device: Option<&str>, metrics: Vec<Metric>) {
        let (topic, payload) = self.message(kind, device, metrics);
        self.send_often(&topic, &payload, 1).await;
    }

    async fn send_often(&mut self, topic: &Topic, payload: &[u8], times: u32) {
        let Some(line) = &mut self.line else { return };
        for _ in 0..times {
            line.send(topic, payload.to_vec()).await;
        }
    }
}

/// What comes over the line; for ever nothing while there is none.
async fn hear(line: Option<&mut Connection>) -> Result<Heard, Lost> {
    match line {
        Some(line) => line.next().await,
        None => std::future::pending().await,
    }
}
