//! A host application: messages of edge nodes go in, signals and requests come out. Pure.
//!
//! Source: Sparkplug 3.0.0, chapter 5. An edge node's birth certificate gives the names and the
//! present values; data follow in the order of their numbers; a death certificate, or a message
//! that never comes, ends it until the next birth. README.md lists the statements.

mod asking;
mod member;
mod names;
mod node;

use std::collections::BTreeMap;
use std::time::Duration;

use stencilward_domain::names::MachineName;
use stencilward_domain::signal::Signal;
use stencilward_domain::time::Timestamp;

use super::payload::Payload;
use super::settings::Settings;
use super::topic::{NodeName, Topic};
use crate::link::Trouble;
pub(super) use names::Writable;
use node::Node;

/// Now, by both clocks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    /// As people tell it; it may be put back.
    pub(super) at: Timestamp,
    /// Since the link began; it only goes on.
    pub(super) clock: Duration,
}

/// What follows from a message, or from the passing of time.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Deed {
    /// Hand these over together.
    Deliver(MachineName, Vec<Signal>),
    /// Ask this edge node to be born again.
    Ask(NodeName),
    /// Count this.
    Trouble(MachineName, Trouble, String),
}

/// The edge nodes of one broker that the configuration names.
pub(super) struct Host {
    nodes: BTreeMap<NodeName, Node>,
}

impl Host {
    pub(super) fn new(machines: &[(MachineName, Settings)], reorder: Duration) -> Self {
        let mut nodes = BTreeMap::new();
        for (machine, settings) in machines {
            let name = settings.node();
            let node = nodes.entry(name.clone()).or_insert_with(|| Node::new(name, reorder));
            node.join(machine, settings);
        }
        Self { nodes }
    }

    pub(super) fn nodes(&self) -> impl Iterator<Item = &NodeName> {
        self.nodes.keys()
    }

    /// The broker lets us hear: everybody shall say who they are.
    pub(super) fn connected(&mut self, now: Moment) -> Vec<Deed> {
        let mut deeds = Vec::new();
        self.nodes.values_mut().for_each(|node| node.heard_anew(now, &mut deeds));
        deeds
    }

    /// The broker is gone, and with it what every edge node says.
    pub(super) fn lost(&mut self, why: &str, now: Moment) -> Vec<Deed> {
        let mut deeds = Vec::new();
        self.nodes.values_mut().for_each(|node| node.unheard(why, now, &mut deeds));
        deeds
    }

    pub(super) fn hear(&mut self, topic: &Topic, payload: &[u8], now: Moment) -> Vec<Deed> {
        let mut deeds = Vec::new();
        let Some(node) = self.nodes.get_mut(&topic.node) else {
            return deeds;
        };
        match Payload::read(payload) {
            Ok(payload) => node.hear(topic, payload, now, &mut deeds),
            Err(error) => {
                let why = format!("message on {topic}: {error}");
                node.miss(topic.kind, Trouble::Unreadable, why, now, &mut deeds);
            }
        }
        deeds.extend(self.tick(now));
        deeds
    }

    /// A message was so large that its payload was thrown away.
    pub(super) fn miss(
        &mut self,
        topic: &Topic,
        size: usize,
        largest: usize,
        now: Moment,
    ) -> Vec<Deed> {
        let mut deeds = Vec::new();
        if let Some(node) = self.nodes.get_mut(&topic.node) {
            let why = format!(
                "a message of {size} bytes on {topic} is larger than largest-message ({largest}) \
                 and was thrown away: raise it; a birth certificate tells every metric at once"
            );
            node.miss(topic.kind, Trouble::TooLarge, why, now, &mut deeds);
        }
        deeds.extend(self.tick(now));
        deeds
    }

    /// What is due by now.
    pub(super) fn tick(&mut self, now: Moment) -> Vec<Deed> {
        let mut deeds = Vec::new();
        self.nodes.values_mut().for_each(|node| node.tick(now, &mut deeds));
        deeds
    }

    /// When something is due next.
    pub(super) fn deadline(&self) -> Option<Duration> {
        self.nodes.values().filter_map(Node::deadline).min()
    }

    /// How to write a metric of a machine; none while the machine is not born, or was born
    /// without it.
    pub(super) fn writable(&self, machine: &MachineName, metric: &str) -> Option<Writable> {
        self.nodes.values().find_map(|node| node.writable(machine, metric))
    }

    /// True when the machine is born.
    pub(super) fn is_born(&self, machine: &MachineName) -> bool {
        self.nodes.values().any(|node| node.is_born(machine))
    }

    /// What a machine shows of a metric that is written.
    pub(super) fn shown(&self, machine: &MachineName, metric: &str) -> Option<bool> {
        self.nodes.values().find_map(|node| node.shown(machine, metric))
    }
}

#[cfg(test)]
mod tests;
