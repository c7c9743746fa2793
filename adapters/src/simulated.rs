//! The other side of a link: a machine made of the same settings, for rehearsal and tests.

use std::time::Duration;

use async_trait::async_trait;
use stencilward_domain::names::{CounterName, MachineName, OutputName, SlotName};
use stencilward_domain::plant::Counted;
use stencilward_domain::signal::{MachineState, Said, Width};
use tokio::sync::watch;

/// What a simulated machine could not do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CannotSay {
    /// The settings map no such signal, so a real machine wired like this could not say it.
    #[error("the settings of this machine map no {0}")]
    NotMapped(&'static str),
    /// The protocol's peer is gone.
    #[error("the simulated machine has no connection: {0}")]
    NoConnection(String),
}

/// An answer to a store or take that the machine asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered {
    /// The identity the machine gave its question.
    pub request: Option<String>,
    /// True when it may go ahead.
    pub permitted: bool,
    /// The codes of the reasons against it.
    pub reasons: Vec<String>,
}

/// What the wiring of a machine lets it say, whatever its protocol.
#[derive(Debug, Clone, Default)]
pub struct Wired {
    /// Everything it can say: each signal's word and, where there are several, which.
    pub says: Vec<String>,
    /// Its totals: where each wraps, and what it counts.
    pub counters: Vec<(CounterName, Width, Counted)>,
    /// It tells of strokes as they are done.
    pub strokes: bool,
    /// It tells of wipes as they are done.
    pub wipes: bool,
    /// It tells of boards.
    pub boards: bool,
    /// It names the stencil in it.
    pub seat: bool,
    /// The states it can tell of.
    pub states: Vec<MachineState>,
    /// The faults it can tell of: code and text.
    pub faults: Vec<(String, String)>,
    /// Whose slots it shows.
    pub slots: Slots,
    /// It asks whether a stencil may be stored.
    pub asks_store: bool,
    /// It asks whether a stencil may be taken.
    pub asks_take: bool,
    /// It is given answers, beside what its outputs show.
    pub answered: bool,
    /// It tells of washes from their beginning to their end.
    pub washes: bool,
    /// It says which stencil it washes.
    pub names_washed: bool,
    /// What it measures at the end of a wash: quantity and unit.
    pub measures_washes: Vec<(String, String)>,
    /// What it measures by itself: quantity and unit.
    pub measures: Vec<(String, String)>,
    /// It says which stencil it measures.
    pub names_measured: bool,
    /// It releases orders.
    pub releases_orders: bool,
    /// It tells of orders that begin.
    pub starts_orders: bool,
    /// It tells of orders that end.
    pub finishes_orders: bool,
    /// How long what it shows must stand to be read for certain; none when it sends by itself.
    pub read_within: Option<Duration>,
}

/// Slots that a rack shows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Slots {
    /// None.
    #[default]
    None,
    /// Any, by the name in its message.
    Any,
    /// These.
    Named(Vec<SlotName>),
}

/// Something that goes wrong with a machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// While true, it has no power.
    Off(bool),
    /// While true, it is connected and says nothing.
    Silent(bool),
    /// It says everything so much later.
    Late(Duration),
    /// While set, it answers everything with this error of its protocol.
    Refusing(Option<u8>),
    /// Its connections end; it takes or makes new ones.
    Cut,
    /// While true, its outputs do not follow what they are told.
    Disobeying(bool),
    /// It says the last thing again, so many times.
    Repeating(u32),
    /// It sends so many messages that mean nothing.
    Flooding(u32),
}

/// Why a machine cannot have a fault: in words, with what can be had instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct CannotFail(pub &'static str);

/// A machine that says what it is told to say, over its real protocol, and shows its outputs.
#[async_trait]
pub trait Simulated: Send + Sync {
    /// Says it the way the settings describe: sets registers, or publishes messages.
    ///
    /// # Errors
    /// [`CannotSay`] when the settings do not map it or the connection is gone.
    async fn say(&self, said: &Said, identity: Option<&str>) -> Result<(), CannotSay>;

    /// The present state of an output, as the machine sees it; false until first written.
    ///
    /// # Errors
    /// [`CannotSay::NotMapped`] when the settings name no such output.
    fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay>;

    /// The next answer from the gateway; none when this machine never asks.
    async fn answered(&self) -> Option<Answered>;

    /// What its wiring lets it say of itself.
    fn wired(&self) -> Wired {
        Wired::default()
    }

    /// What its wiring lets it say of other machines, which it names.
    fn wired_for_others(&self) -> Wired {
        Wired::default()
    }

    /// Says it of another machine, as a scanner does.
    ///
    /// # Errors
    /// As for [`Self::say`].
    async fn say_of(
        &self,
        _of: &MachineName,
        said: &Said,
        _identity: Option<&str>,
    ) -> Result<(), CannotSay> {
        Err(CannotSay::NotMapped(said.kind()))
    }

    /// Has a fault from now on, or no longer.
    ///
    /// # Errors
    /// When a machine of its protocol cannot have it.
    async fn suffer(&self, _fault: Fault) -> Result<(), CannotFail> {
        Err(CannotFail("a machine of this protocol has no such fault"))
    }
}
