//! All machines of one endpoint: whose message it is, and whether its sender is there. Pure.
//!
//! A machine is there from its first message on. It is gone when it says so, when its connection to
//! the gateway or the broker's ends, or when heartbeats stay out that it has begun to send.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::time::Duration;

use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};
use stencilward_domain::time::Timestamp;

use super::decode::{Heard, Reader};
use super::envelope::Envelope;
use super::json::{shortened, span, text};
use super::kinds::Kind;
use super::settings::Settings;
use crate::link::Trouble;

/// The longest time between two heartbeats that the standard allows, and the shortest.
const BEATS: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(300));
/// Messages of one machine that are remembered.
const RECENT: usize = 1_024;
/// How late a heartbeat may be, whatever its pace.
const GRACE: Duration = Duration::from_secs(1);

/// Now, by both clocks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    /// As people tell it; it may be put back.
    pub(super) at: Timestamp,
    /// Since the link began; it only goes on.
    pub(super) clock: Duration,
}

/// The way by which a message came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Way {
    /// Through the broker; true when its queues keep what comes while nobody reads them.
    Broker { keeps: bool },
    /// Over a connection of the machine's own.
    Connection(u64),
}

/// What follows from a message, or from the passing of time.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Deed {
    /// Hand these over together.
    Deliver(Vec<Signal>),
    /// Count this.
    Trouble(MachineName, Trouble, String),
}

/// The machines of one endpoint, by their handles.
pub(super) struct Hearing {
    members: BTreeMap<String, Member>,
    first: Option<MachineName>,
}

struct Member {
    machine: MachineName,
    reader: Reader,
    presence: Presence,
    /// When it was last heard.
    last: Duration,
    /// The pace of its heartbeats; none until the first.
    beat: Option<Duration>,
    ways: BTreeSet<Way>,
    heard: Recent,
}

/// Messages that were heard lately, by their identities; the oldest leaves first.
#[derive(Debug, Default)]
struct Recent {
    known: BTreeSet<String>,
    order: VecDeque<String>,
}

impl Recent {
    /// True when this one was heard before; from now on it was.
    fn has(&mut self, id: &str) -> bool {
        if !self.known.insert(id.to_owned()) {
            return true;
        }
        self.order.push_back(id.to_owned());
        if self.order.len() > RECENT
            && let Some(oldest) = self.order.pop_front()
        {
            self.known.remove(&oldest);
        }
        false
    }
}

/// Whether a machine is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Presence {
    There,
    /// Not heard yet, or not since the broker went away: what it said may wait there.
    NotHeard,
    /// It was gone by itself: nobody knows what happened meanwhile.
    Gone,
}

impl Hearing {
    pub(super) fn new(machines: &[(MachineName, Settings)]) -> Self {
        let member = |(machine, settings): &(MachineName, Settings)| {
            let member = Member {
                machine: machine.clone(),
                reader: Reader::new(settings.clone()),
                presence: Presence::NotHeard,
                last: Duration::ZERO,
                beat: None,
                ways: BTreeSet::new(),
                heard: Recent::default(),
            };
            (settings.handle.clone(), member)
        };
        let first = machines.first().map(|(machine, _)| machine.clone());
        Self { members: machines.iter().map(member).collect(), first }
    }

    /// The machine of a handle, and its settings.
    pub(super) fn of(&self, handle: &str) -> Option<(&MachineName, &Settings)> {
        let member = self.members.get(handle)?;
        Some((&member.machine, member.reader.settings()))
    }

    /// A message came.
    pub(super) fn hear(&mut self, envelope: &Envelope, way: Way, now: Moment) -> Vec<Deed> {
        let Some(member) = self.members.get_mut(&envelope.source) else {
            let handle = shortened(&envelope.source);
            let why = format!("no machine has the handle {handle}; its messages change nothing");
            return self.trouble(Trouble::Unmapped, why).into_iter().collect();
        };
        member.hear(envelope, way, now)
    }

    /// What is due by now.
    pub(super) fn tick(&mut self, now: Moment) -> Vec<Deed> {
        let overdue = self.members.values_mut().filter(|member| {
            member.presence == Presence::There && member.due().is_some_and(|due| due <= now.clock)
        });
        let told = overdue.map(|member| {
            let beats = member.reader.settings().missed_heartbeats;
            member.lost(
                Presence::Gone,
                format!(
                    "{beats} of its heartbeats stayed out: see that it runs and that its messages \
                     reach the broker or the gateway"
                ),
                now,
            )
        });
        told.collect()
    }

    /// The broker cannot be reached, or not any more.
    pub(super) fn broker_lost(&mut self, why: &str, first_time: bool, now: Moment) -> Vec<Deed> {
        let mut deeds = Vec::new();
        for member in self.members.values_mut() {
            let before = member.ways.len();
            member.ways.retain(|way| matches!(way, Way::Connection(_)));
            let only_way = member.ways.is_empty() && member.ways.len() < before;
            let never_heard = first_time && member.presence == Presence::NotHeard;
            if (only_way && member.presence == Presence::There) || never_heard {
                deeds.push(member.lost(Presence::NotHeard, why.to_owned(), now));
            }
        }
        deeds
    }

    /// A connection of a machine's own has ended.
    pub(super) fn connection_ended(&mut self, number: u64, now: Moment) -> Vec<Deed> {
        let mut deeds = Vec::new();
        for member in self.members.values_mut() {
            let had = member.ways.remove(&Way::Connection(number));
            if had && member.ways.is_empty() && member.presence == Presence::There {
                let why = "its connection ended: see that it runs and that the network is up";
                deeds.push(member.lost(Presence::Gone, why.to_owned(), now));
            }
        }
        deeds
    }

    /// The machine of which is told what concerns none in particular.
    pub(super) fn first(&self) -> Option<&MachineName> {
        self.first.as_ref()
    }

    /// Something that concerns no machine in particular.
    fn trouble(&self, kind: Trouble, why: String) -> Option<Deed> {
        self.first.clone().map(|machine| Deed::Trouble(machine, kind, why))
    }
}

impl Member {
    fn hear(&mut self, envelope: &Envelope, way: Way, now: Moment) -> Vec<Deed> {
        self.last = now.clock;
        let kind = envelope.kind();
        if kind == Some(Kind::EndpointShuttingDown) {
            self.ways.remove(&way);
            let why = "the machine says that it shuts down: it comes back when it is switched on";
            let there = self.presence == Presence::There;
            return there
                .then(|| self.lost(Presence::Gone, why.to_owned(), now))
                .into_iter()
                .collect();
        }
        self.ways.insert(way);
        if kind == Some(Kind::Heartbeat) {
            let pace = text(&envelope.body, "HeartbeatFrequency").and_then(span);
            self.beat = Some(pace.unwrap_or(BEATS.1).clamp(BEATS.0, BEATS.1));
        }
        let mut said = Vec::new();
        let before = std::mem::replace(&mut self.presence, Presence::There);
        if before != Presence::There || kind == Some(Kind::EndpointConnected) {
            let kept = way == Way::Broker { keeps: true } && before == Presence::NotHeard;
            let resumed = kept && kind != Some(Kind::EndpointConnected);
            said.push(self.plain(Said::LinkUp { resumed }, now));
        }
        let again = envelope.unique_id.as_ref().is_some_and(|id| self.heard.has(id));
        let Heard { said: heard, troubles } = self.reader.read(envelope, again);
        said.extend(self.signals(heard, envelope, now));
        let told = troubles.into_iter().map(|(kind, why)| {
            let why = format!("{}: {why}", short_name(&envelope.name));
            Deed::Trouble(self.machine.clone(), kind, why)
        });
        let mut deeds: Vec<Deed> = told.collect();
        if !said.is_empty() {
            deeds.push(Deed::Deliver(said));
        }
        deeds
    }

    /// Signals of one message have its time and identity; a second one of a kind is told apart.
    fn signals(&self, said: Vec<Said>, envelope: &Envelope, now: Moment) -> Vec<Signal> {
        let mut seen: BTreeMap<&'static str, u32> = BTreeMap::new();
        let signal = |said: Said| {
            let before = seen.entry(said.kind()).or_default();
            *before += 1;
            let identity = envelope.unique_id.as_ref().map(|id| match *before {
                1 => id.clone(),
                again => format!("{id}#{again}"),
            });
            Signal { machine_time: envelope.at, identity, ..self.plain(said, now) }
        };
        said.into_iter().map(signal).collect()
    }

    fn lost(&mut self, presence: Presence, why: String, now: Moment) -> Deed {
        self.presence = presence;
        let lost = self.plain(Said::LinkLost { why }, now);
        Deed::Deliver(vec![lost])
    }

    /// When it counts as lost unless it is heard before.
    fn due(&self) -> Option<Duration> {
        let beats = self.reader.settings().missed_heartbeats;
        Some(self.last + self.beat? * beats + GRACE)
    }

    fn plain(&self, said: Said, now: Moment) -> Signal {
        let machine = self.machine.clone();
        Signal { machine, received: now.at, machine_time: None, identity: None, said }
    }
}

fn short_name(name: &str) -> String {
    let short = name.rsplit('.').next().unwrap_or(name);
    short.chars().filter(|c| !c.is_control()).take(60).collect()
}
