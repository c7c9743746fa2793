//! From the messages of one machine to signals: pure. What it said before is remembered where a
//! signal needs it.

mod orders;
mod printing;
mod state;
mod washing;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use serde_json::{Map, Value};
use stencilward_domain::names::{OrderName, StencilCode};
use stencilward_domain::signal::{Measurement, OrderSpec, Said};

use super::envelope::Envelope;
use super::json::{Garbled, shortened, text};
use super::kinds::Kind;
use super::settings::{Settings, Signal};
use crate::link::Trouble;

/// Transactions remembered of one machine; the oldest leaves first.
const TRANSACTIONS_KEPT: usize = 256;
/// Orders remembered of one machine.
const ORDERS_KEPT: usize = 1_024;

/// What one message gives.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Heard {
    pub(super) said: Vec<Said>,
    pub(super) troubles: Vec<Garbled>,
}

/// The messages of one machine that are read, and what was said in them.
pub(super) struct Reader {
    settings: Settings,
    transactions: Transactions,
    /// Occurrences of faults that are present.
    faults: BTreeSet<String>,
    order: Option<OrderName>,
    orders: BTreeMap<OrderName, OrderSpec>,
}

/// What is remembered of a unit of work, or of a wash.
#[derive(Debug, Default)]
struct Transaction {
    boards: Option<u64>,
    counted: bool,
    /// Stencils in the washer, and whether it said that they are clean.
    washed: BTreeMap<StencilCode, bool>,
    measured: Vec<Measurement>,
}

#[derive(Debug, Default)]
struct Transactions {
    known: BTreeMap<String, Transaction>,
    order: VecDeque<String>,
}

impl Transactions {
    fn of(&mut self, id: &str) -> &mut Transaction {
        if !self.known.contains_key(id) {
            self.order.push_back(id.to_owned());
            if self.order.len() > TRANSACTIONS_KEPT
                && let Some(oldest) = self.order.pop_front()
            {
                self.known.remove(&oldest);
            }
        }
        self.known.entry(id.to_owned()).or_default()
    }
}

impl Reader {
    pub(super) fn new(settings: Settings) -> Self {
        Self {
            settings,
            transactions: Transactions::default(),
            faults: BTreeSet::new(),
            order: None,
            orders: BTreeMap::new(),
        }
    }

    pub(super) fn settings(&self) -> &Settings {
        &self.settings
    }

    /// What a message says, apart from the sender's presence. `again`: it was read before.
    pub(super) fn read(&mut self, envelope: &Envelope, again: bool) -> Heard {
        let mut heard = Heard::default();
        let body = &envelope.body;
        match envelope.kind() {
            Some(Kind::Heartbeat) => self.listed_faults(body, &mut heard),
            Some(Kind::UnitsProcessed) => self.units_processed(body, again, &mut heard),
            Some(Kind::WorkStarted) => self.work_started(body, &mut heard),
            Some(Kind::WorkCompleted) => self.work_completed(body, again, &mut heard),
            Some(Kind::ToolChanged) => self.tool_changed(body, &mut heard),
            Some(Kind::ToolsUsed) => self.tools_used(body, &mut heard),
            Some(Kind::StencilCleaned) => self.stencil_cleaned(body, again, &mut heard),
            Some(Kind::ToolsLoaded) => self.tools_loaded(body, &mut heard),
            Some(Kind::ToolsCleaned) => self.tools_cleaned(body, &mut heard),
            Some(Kind::ToolsUnloaded) => self.tools_unloaded(body, &mut heard),
            Some(Kind::StationStateChanged) => self.state_changed(body, &mut heard),
            Some(Kind::FaultOccurred) => self.fault_occurred(body, &mut heard),
            Some(Kind::FaultCleared) => self.fault_cleared(body, &mut heard),
            Some(Kind::WorkOrdersCreated) => self.orders_listed(body, "NewOrders", &mut heard),
            Some(Kind::WorkOrdersUpdated) => self.orders_listed(body, "UpdatedOrders", &mut heard),
            Some(Kind::WorkOrderQuantityUpdated) => self.quantity_updated(body, &mut heard),
            Some(Kind::WorkOrdersScheduled) => self.orders_scheduled(body, &mut heard),
            Some(
                Kind::EndpointConnected
                | Kind::EndpointShuttingDown
                | Kind::Request
                | Kind::Response
                | Kind::Silent,
            ) => {}
            None => {
                let name = shortened(&envelope.name);
                let why = format!("no message of the name {name} is known; it changes nothing");
                heard.troubles.push((Trouble::Unmapped, why));
            }
        }
        if envelope.at.is_none() {
            let why = "the envelope has no TimeStamp with a zone: see the sender's clock settings";
            heard.troubles.push((Trouble::Senseless, why.to_owned()));
        }
        heard
    }

    fn reads(&self, signal: Signal) -> bool {
        self.settings.reads(signal)
    }
}

/// The id that the messages of one unit of work, or of one wash, have in common. Some of them
/// spell its name `TransactionID`, others `TransactionId`.
fn transaction(body: &Map<String, Value>) -> Option<&str> {
    text(body, "TransactionID")
}

impl Heard {
    /// Keeps what was said, or counts why it was not understood.
    fn take<T>(&mut self, read: Result<T, Garbled>) -> Option<T> {
        read.map_err(|garbled| self.troubles.push(garbled)).ok()
    }

    fn trouble(&mut self, kind: Trouble, why: impl Into<String>) {
        self.troubles.push((kind, why.into()));
    }
}
