//! What each thing that a machine tells is worth now: how old it is, and whether it is believed.
//! Known only while the gateway runs, like everything live.

use super::Site;
use crate::machine::LinkState;
use crate::names::{CounterName, MachineName};
use crate::time::Timestamp;

/// Kinds of signals that tell of the link, not of the machine.
const OF_LINK: [&str; 2] = ["link-up", "link-lost"];

/// How far something that a machine tells is to be believed now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quality {
    /// Not heard since the gateway began.
    Never,
    /// The last value cannot be: the one before counts.
    Doubted,
    /// It waits until the machine names its stencil.
    Waiting,
    /// The link is not up: it may be otherwise by now.
    Old,
    /// As the machine last said.
    Good,
}

impl Quality {
    /// Its stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Never => "never",
            Self::Doubted => "doubted",
            Self::Waiting => "waiting",
            Self::Old => "old",
            Self::Good => "good",
        }
    }
}

/// One thing that a machine tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Point {
    /// The kind of signal.
    pub kind: &'static str,
    /// Which counter, where it is one.
    pub counter: Option<CounterName>,
    /// The counter's value that counts.
    pub raw: Option<u64>,
    /// When it was last heard.
    pub at: Option<Timestamp>,
    /// Whether it is believed.
    pub quality: Quality,
}

impl Site {
    /// Everything that the machine told since the gateway began, or told before, or should tell by
    /// its configuration; those to look at first.
    #[must_use]
    pub fn points(&self, name: &MachineName) -> Vec<Point> {
        let (live, spec) = (self.live.get(name), self.plant.machines.get(name));
        let machine = self.state.machines.get(name);
        let up = machine.is_some_and(|machine| machine.link == LinkState::Up);
        let heard = |at: Option<Timestamp>| match at {
            None => Quality::Never,
            Some(_) if up => Quality::Good,
            Some(_) => Quality::Old,
        };
        let known = machine.into_iter().flat_map(|machine| machine.counters.keys());
        let mut counters: Vec<&CounterName> = known.collect();
        counters.extend(spec.into_iter().flat_map(|spec| spec.counters.keys()));
        counters.sort_unstable();
        counters.dedup();
        let counter = |counter: &CounterName| {
            let watch = live.and_then(|live| live.watches.get(counter));
            let at =
                watch.and_then(|watch| watch.doubt.map(|doubt| doubt.at).or(watch.last_read()));
            let waits = live.is_some_and(|live| live.held.contains_key(counter));
            let doubted = watch.is_some_and(|watch| watch.doubt.is_some());
            Point {
                kind: "stroke-total",
                counter: Some(counter.clone()),
                raw: machine.and_then(|m| Some(m.counters.get(counter)?.known.raw)),
                at,
                quality: match heard(at) {
                    _ if waits => Quality::Waiting,
                    Quality::Good if doubted => Quality::Doubted,
                    otherwise => otherwise,
                },
            }
        };
        let mut points: Vec<Point> = counters.iter().map(|name| counter(name)).collect();
        let mut kinds = live.map(|live| live.kinds.clone()).unwrap_or_default();
        let names_stencil = spec.is_some_and(|spec| spec.names_stencil);
        let (seated, of_counters) = ("stencil-seated", !points.is_empty());
        let at = |at: Option<Timestamp>, kind| Point {
            kind,
            counter: None,
            raw: None,
            at,
            quality: heard(at),
        };
        if names_stencil && !kinds.contains_key(seated) {
            points.push(at(None, seated));
        }
        if of_counters {
            kinds.remove("stroke-total");
        }
        kinds.retain(|kind, _| !OF_LINK.contains(kind));
        points.extend(kinds.into_iter().map(|(kind, heard)| at(Some(heard), kind)));
        points.sort_by_key(|point| point.quality);
        points
    }
}
