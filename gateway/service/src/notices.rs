//! What brokers are told of stencils, machines and decisions: one retained notice for each. CFX
//! endpoints are told the counters of stencils.
//!
//! The notices of a round are kept in the ledger's durable write of that round, as owed, until
//! the broker has them.

mod counters;
mod wording;

use std::collections::{BTreeMap, BTreeSet};

use stencilward_adapters::cfx::Endpoint;
use stencilward_config::Configuration;
use stencilward_domain::event::{Event, Recorded};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;
use stencilward_ledger::Owed;

use crate::metrics::stencils_in;
use counters::Changed;
pub use wording::{DecisionNotice, MachineNotice, Reason, StencilNotice, schema};

/// Who is told something.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Told {
    /// MQTT brokers.
    pub(crate) brokers: BTreeSet<String>,
    /// Ways of CFX endpoints.
    pub(crate) endpoints: BTreeSet<String>,
}

impl Told {
    pub(crate) fn by(configuration: &Configuration) -> Self {
        let brokers = configuration.brokers.iter().filter(|broker| broker.publish.is_some());
        Self {
            brokers: brokers.map(|broker| broker.name.clone()).collect(),
            endpoints: configuration.cfx.iter().flat_map(Endpoint::debtors).collect(),
        }
    }

    pub(crate) fn all(self) -> BTreeSet<String> {
        let Self { mut brokers, mut endpoints } = self;
        brokers.append(&mut endpoints);
        brokers
    }
}

/// Makes the notices that are owed.
pub(crate) struct Notices {
    told: Told,
    counters: Changed,
    /// The machines' last notices, since most events change none.
    machines: BTreeMap<MachineName, MachineNotice>,
}

impl Notices {
    /// For these; without any, nothing is owed.
    pub(crate) fn new(told: Told) -> Self {
        Self { told, counters: Changed::default(), machines: BTreeMap::new() }
    }

    /// What is owed because of these events.
    pub(crate) fn of(&mut self, events: &[Recorded], site: &Site, now: Timestamp) -> Vec<Owed> {
        let Told { brokers, endpoints } = &self.told;
        let events = || events.iter().map(|recorded| &recorded.fact.event);
        let stencils: BTreeSet<&StencilCode> = events().flat_map(stencils_in).collect();
        let mut all = Vec::new();
        if !endpoints.is_empty() {
            let told = self.counters.of(&stencils, site, now);
            all.extend(endpoints.iter().flat_map(|endpoint| owed(endpoint, &told)));
        }
        if brokers.is_empty() {
            return all;
        }
        let mut told: Vec<(String, Vec<u8>)> =
            stencils.into_iter().filter_map(|code| stencil(code, site, now)).collect();
        told.extend(events().filter_map(decision));
        if events().any(|event| !matches!(event, Event::StrokesBooked { .. })) {
            self.changed_machines(site, &mut told);
        }
        all.extend(self.told.brokers.iter().flat_map(|broker| owed(broker, &told)));
        all
    }

    /// Every stencil and machine, for a broker that may have forgotten them; or all counters.
    pub(crate) fn all(&self, broker: &str, site: &Site, now: Timestamp) -> Vec<Owed> {
        if self.told.endpoints.contains(broker) {
            return owed(broker, &counters::all(site, now));
        }
        if !self.told.brokers.contains(broker) {
            return Vec::new();
        }
        let codes = site.state().stencils.keys();
        let mut told: Vec<_> = codes.filter_map(|code| stencil(code, site, now)).collect();
        for name in site.plant().machines.keys() {
            told.extend(machine(name, &MachineNotice::of(site, name)));
        }
        owed(broker, &told)
    }

    fn changed_machines(&mut self, site: &Site, told: &mut Vec<(String, Vec<u8>)>) {
        for name in site.plant().machines.keys() {
            let notice = MachineNotice::of(site, name);
            if self.machines.get(name) != Some(&notice) {
                told.extend(machine(name, &notice));
                self.machines.insert(name.clone(), notice);
            }
        }
    }
}

fn owed(broker: &str, told: &[(String, Vec<u8>)]) -> Vec<Owed> {
    let owe = |(about, body): &(String, Vec<u8>)| Owed {
        to: broker.to_owned(),
        about: about.clone(),
        replaces: true,
        body: body.clone(),
    };
    told.iter().map(owe).collect()
}

fn stencil(code: &StencilCode, site: &Site, now: Timestamp) -> Option<(String, Vec<u8>)> {
    let notice = StencilNotice::of(site, code, now)?;
    Some((format!("stencils/{}", level(code.as_str())), serde_json::to_vec(&notice).ok()?))
}

fn machine(name: &MachineName, notice: &MachineNotice) -> Option<(String, Vec<u8>)> {
    Some((format!("machines/{}", level(name.as_str())), serde_json::to_vec(notice).ok()?))
}

fn decision(event: &Event) -> Option<(String, Vec<u8>)> {
    let Event::Decided { decision, .. } = event else { return None };
    let code = decision.stencil.as_ref()?;
    let notice = DecisionNotice::of(decision);
    let about = format!("decisions/{}/{}", decision.rule.as_str(), level(code.as_str()));
    Some((about, serde_json::to_vec(&notice).ok()?))
}

/// A name as one level of a topic: what means something in topics (MQTT 3.1.1, 4.7) is escaped
/// as in URIs (RFC 3986, 2.1).
fn level(name: &str) -> String {
    let mut level = String::with_capacity(name.len());
    for letter in name.chars() {
        match letter {
            '/' | '+' | '#' | '%' => level.push_str(&format!("%{:02X}", u32::from(letter))),
            other => level.push(other),
        }
    }
    level
}

#[cfg(test)]
mod tests;
