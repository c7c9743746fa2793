//! One edge node: born, heard in order, dead or silent.

use std::collections::BTreeMap;
use std::time::Duration;

use stencilward_domain::names::MachineName;

use super::asking::Asking;
use super::member::Member;
use super::names::{Names, Writable};
use super::{Deed, Moment};
use crate::link::Trouble;
use crate::sparkplug::BD_SEQ;
use crate::sparkplug::payload::{Payload, datatype};
use crate::sparkplug::settings::Settings;
use crate::sparkplug::topic::{Kind, NodeName, Topic};
use crate::sparkplug::value::Plain;

/// Most messages held until those before them come.
const MOST_HELD: usize = 128;
/// Beyond the reorder time-out, how long after its edge node a device may be born.
const DEVICES: Duration = Duration::from_secs(5);

/// An edge node, and the machines it speaks for.
pub(super) struct Node {
    name: NodeName,
    reorder: Duration,
    members: Vec<Member>,
    session: Option<Session>,
    held: Vec<Held>,
    asking: Asking,
}

/// From one birth of the edge node to its death or next birth.
struct Session {
    bd_seq: Option<u64>,
    /// The birth's own time.
    begun: Option<u64>,
    since: Duration,
    next: u8,
    /// What was taken in last.
    last: Option<(Topic, Payload)>,
    /// When what is missing counts as lost.
    late: Option<Duration>,
    born: BTreeMap<Option<String>, Names>,
}

/// A message that came before others that were sent earlier.
struct Held {
    seq: u8,
    topic: Topic,
    payload: Payload,
}

impl Node {
    pub(super) fn new(name: NodeName, reorder: Duration) -> Self {
        let (session, asking) = (None, Asking::default());
        Self { name, reorder, members: Vec::new(), session, held: Vec::new(), asking }
    }

    pub(super) fn join(&mut self, machine: &MachineName, settings: &Settings) {
        self.members.push(Member::new(machine, settings));
    }

    pub(super) fn heard_anew(&mut self, now: Moment, deeds: &mut Vec<Deed>) {
        self.asking.forget();
        self.want(now, deeds);
    }

    pub(super) fn unheard(&mut self, why: &str, now: Moment, deeds: &mut Vec<Deed>) {
        self.asking.forget();
        self.end(why, now, deeds);
    }

    /// Asks for a birth, unless that was done just now.
    pub(super) fn want(&mut self, now: Moment, deeds: &mut Vec<Deed>) {
        if self.asking.want(now.clock, self.reorder) {
            deeds.push(Deed::Ask(self.name.clone()));
        }
    }

    /// Counts a trouble of the whole edge node once, for its first machine.
    pub(super) fn trouble(&self, kind: Trouble, why: String, deeds: &mut Vec<Deed>) {
        if let Some(first) = self.members.first() {
            deeds.push(Deed::Trouble(first.machine.clone(), kind, why));
        }
    }

    /// A message came and cannot be taken in. The next one shows the gap; after a death there is
    /// none.
    pub(super) fn miss(
        &mut self,
        kind: Kind,
        trouble: Trouble,
        why: String,
        now: Moment,
        deeds: &mut Vec<Deed>,
    ) {
        self.trouble(trouble, why, deeds);
        if kind == Kind::Death {
            self.want(now, deeds);
        }
    }

    pub(super) fn hear(
        &mut self,
        topic: &Topic,
        payload: Payload,
        now: Moment,
        deeds: &mut Vec<Deed>,
    ) {
        match (topic.kind, &topic.device) {
            (Kind::Birth, None) => self.born(&payload, now, deeds),
            (Kind::Death, None) => self.died(&payload, now, deeds),
            (Kind::Command, _) => {}
            _ => self.in_order(topic, payload, now, deeds),
        }
    }

    fn born(&mut self, birth: &Payload, now: Moment, deeds: &mut Vec<Deed>) {
        self.asking.answered();
        // What came before the birth and was sent after it is of this session.
        let begun = birth.timestamp;
        self.held.retain(|held| begun.is_some() && held.payload.timestamp >= begun);
        let bd_seq = bd_seq(birth);
        if bd_seq.is_none() {
            let why = format!("the birth certificate of {} has no {BD_SEQ}", self.name);
            self.trouble(Trouble::Missing, why, deeds);
        }
        let names = Names::of(birth);
        for member in self.members.iter_mut().filter(|member| member.device.is_none()) {
            member.born(&names, birth, now, deeds);
        }
        self.session = Some(Session {
            bd_seq,
            begun,
            since: now.clock,
            next: birth.seq.and_then(|seq| u8::try_from(seq).ok()).unwrap_or(0).wrapping_add(1),
            last: None,
            late: None,
            born: BTreeMap::from([(None, names)]),
        });
        self.release(now, deeds);
    }

    /// Only the death of this session counts: a will may come after the next birth.
    fn died(&mut self, death: &Payload, now: Moment, deeds: &mut Vec<Deed>) {
        let why =
            format!("edge node {} has died: see that it runs and reaches the broker", self.name);
        let live = self.session.as_ref().map(|session| session.bd_seq);
        match (live, bd_seq(death)) {
            (None | Some(None), _) => self.end(&why, now, deeds),
            (Some(Some(live)), Some(dead)) if live == dead => self.end(&why, now, deeds),
            (Some(Some(_)), Some(_)) => {}
            (Some(Some(_)), None) => {
                let why = format!("the death certificate of {} has no {BD_SEQ}", self.name);
                self.trouble(Trouble::Missing, why, deeds);
                self.want(now, deeds);
            }
        }
    }

    fn end(&mut self, why: &str, now: Moment, deeds: &mut Vec<Deed>) {
        self.session = None;
        self.held.clear();
        self.members.iter_mut().for_each(|member| member.lost(why, now, deeds));
    }

    fn in_order(&mut self, topic: &Topic, payload: Payload, now: Moment, deeds: &mut Vec<Deed>) {
        let Some(seq) = payload.seq.and_then(|seq| u8::try_from(seq).ok()) else {
            let why = format!("message on {topic}: it has no number from 0 to 255");
            self.trouble(Trouble::Garbled, why, deeds);
            return self.want(now, deeds);
        };
        let Some(session) = &mut self.session else {
            self.hold(seq, topic, payload);
            return self.want(now, deeds);
        };
        if seq == session.next {
            session.next = seq.wrapping_add(1);
            self.apply(topic.clone(), payload, now, deeds);
            return self.release(now, deeds);
        }
        // The same again, word for word, is no other message that bears its number.
        if session.last.as_ref().is_some_and(|(at, last)| at == topic && *last == payload) {
            return;
        }
        // What was sent before the birth may still be under way when that is here.
        let recent = now.clock < session.since + self.reorder;
        if recent && payload.timestamp < session.begun {
            return;
        }
        session.late.get_or_insert(now.clock + self.reorder);
        if !self.hold(seq, topic, payload)
            && let Some(session) = &mut self.session
        {
            session.late = Some(now.clock);
        }
    }

    /// Holds a message; false when there is no room.
    fn hold(&mut self, seq: u8, topic: &Topic, payload: Payload) -> bool {
        let room = self.held.len() < MOST_HELD;
        if room && self.held.iter().all(|held| held.seq != seq) {
            self.held.push(Held { seq, topic: topic.clone(), payload });
        }
        room
    }

    /// Takes in what was held for the messages that are here now.
    fn release(&mut self, now: Moment, deeds: &mut Vec<Deed>) {
        let mut released = false;
        while let Some(session) = &mut self.session
            && let Some(index) = self.held.iter().position(|held| held.seq == session.next)
        {
            session.next = session.next.wrapping_add(1);
            released = true;
            let Held { topic, payload, .. } = self.held.swap_remove(index);
            self.apply(topic, payload, now, deeds);
        }
        if let Some(session) = &mut self.session {
            let before = session.late.filter(|_| !released);
            let late = before.unwrap_or(now.clock + self.reorder);
            session.late = (!self.held.is_empty()).then_some(late);
        }
    }

    fn apply(&mut self, topic: Topic, payload: Payload, now: Moment, deeds: &mut Vec<Deed>) {
        self.take_in(&topic, &payload, now, deeds);
        if let Some(session) = &mut self.session {
            session.last = Some((topic, payload));
        }
    }

    fn take_in(&mut self, topic: &Topic, payload: &Payload, now: Moment, deeds: &mut Vec<Deed>) {
        let Topic { kind, device, .. } = topic;
        let Some(session) = &mut self.session else {
            return;
        };
        let mut concerned =
            self.members.iter_mut().filter(|member| member.device == *device).peekable();
        if concerned.peek().is_none() {
            return;
        }
        match kind {
            Kind::Birth => {
                let names = Names::of(payload);
                concerned.for_each(|member| member.born(&names, payload, now, deeds));
                session.born.insert(device.clone(), names);
            }
            Kind::Death => {
                session.born.remove(device);
                let device = device.as_deref().unwrap_or_default();
                let why = format!("its edge node {} says that {device} is gone", self.name);
                concerned.for_each(|member| member.lost(&why, now, deeds));
            }
            Kind::Data | Kind::Command => {
                let Some(names) = session.born.get(device) else {
                    return self.want(now, deeds);
                };
                concerned.for_each(|member| member.told(names, payload, now, deeds));
                let unknown = payload.metrics.iter().find(|m| names.name(m).is_none());
                if let Some(alias) = unknown.map(|metric| metric.alias) {
                    let alias = alias.map_or_else(|| "none".to_owned(), |alias| alias.to_string());
                    let why = format!("message on {topic}: no metric was born with alias {alias}");
                    self.trouble(Trouble::Unmapped, why, deeds);
                    self.want(now, deeds);
                }
            }
        }
    }

    pub(super) fn tick(&mut self, now: Moment, deeds: &mut Vec<Deed>) {
        if let Some(session) = &self.session
            && session.late.is_some_and(|late| now.clock >= late)
        {
            let why = format!(
                "message {} of edge node {} did not come; it is asked to be born again",
                session.next, self.name
            );
            self.trouble(Trouble::Missing, why.clone(), deeds);
            self.end(&why, now, deeds);
            self.want(now, deeds);
        }
        let due = self.asking.due(now.clock);
        if due.ask {
            deeds.push(Deed::Ask(self.name.clone()));
        }
        if due.gone {
            let why = format!(
                "edge node {} was asked to be born and is not: see that it is connected, that its \
                 group and id are spelt so, and that the broker lets it hear commands",
                self.name
            );
            self.end(&why, now, deeds);
        }
        self.miss_devices(now, deeds);
    }

    fn unborn_until(&self) -> Option<Duration> {
        let session = self.session.as_ref()?;
        let unborn =
            |member: &Member| !member.is_lost() && !session.born.contains_key(&member.device);
        self.members.iter().any(unborn).then(|| session.since + self.reorder + DEVICES)
    }

    fn miss_devices(&mut self, now: Moment, deeds: &mut Vec<Deed>) {
        if self.unborn_until().is_none_or(|until| now.clock < until) {
            return;
        }
        let born = self.session.as_ref().map(|session| &session.born);
        let unborn = |member: &&mut Member| born.is_some_and(|b| !b.contains_key(&member.device));
        for member in self.members.iter_mut().filter(unborn) {
            let device = member.device.clone().unwrap_or_default();
            let why = format!(
                "edge node {} was born and device {device} was not: see that it is switched on, \
                 and that its id is spelt so",
                self.name
            );
            member.lost(&why, now, deeds);
        }
    }

    pub(super) fn deadline(&self) -> Option<Duration> {
        let late = self.session.as_ref().and_then(|session| session.late);
        [late, self.asking.deadline(), self.unborn_until()].into_iter().flatten().min()
    }

    fn member(&self, machine: &MachineName) -> Option<&Member> {
        self.members.iter().find(|member| member.machine == *machine)
    }

    fn names(&self, member: &Member) -> Option<&Names> {
        self.session.as_ref()?.born.get(&member.device)
    }

    pub(super) fn is_born(&self, machine: &MachineName) -> bool {
        self.member(machine).is_some_and(|member| self.names(member).is_some())
    }

    pub(super) fn writable(&self, machine: &MachineName, metric: &str) -> Option<Writable> {
        let member = self.member(machine)?;
        let topic = Topic::new(&self.name, Kind::Command, member.device.as_deref());
        self.names(member)?.writable(topic, metric)
    }

    pub(super) fn shown(&self, machine: &MachineName, metric: &str) -> Option<bool> {
        self.member(machine)?.shown(metric)
    }
}

fn bd_seq(payload: &Payload) -> Option<u64> {
    let metric = payload.metrics.iter().find(|metric| metric.name.as_deref() == Some(BD_SEQ))?;
    Plain::of(metric, metric.datatype.or(Some(datatype::INT64))).ok()?.count()
}
