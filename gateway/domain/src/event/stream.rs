//! Streams: what each event is about.

use std::fmt;

use super::Event;
use crate::names::{MachineName, OrderName, StencilCode};

/// What has a history of its own: the unit within which the ledger refuses a stale writer.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stream {
    /// One stencil.
    Stencil(StencilCode),
    /// One machine.
    Machine(MachineName),
    /// One order.
    Order(OrderName),
    /// The gateway itself.
    Site,
}

impl fmt::Display for Stream {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Stencil(code) => write!(f, "stencil/{code}"),
            Self::Machine(name) => write!(f, "machine/{name}"),
            Self::Order(name) => write!(f, "order/{name}"),
            Self::Site => f.write_str("site"),
        }
    }
}

impl Event {
    /// The stream this event belongs to.
    #[must_use]
    pub fn stream(&self) -> Stream {
        match self {
            Self::StencilRegistered { spec, .. } | Self::StencilRevised { spec, .. } => {
                Stream::Stencil(spec.stencil.clone())
            }
            Self::StrokesBooked { stencil, .. }
            | Self::StrokesAssigned { stencil, .. }
            | Self::StrokesCorrected { stencil, .. }
            | Self::WashAnnulled { stencil, .. }
            | Self::WearBandEntered { stencil, .. }
            | Self::Seated { stencil, .. }
            | Self::Loaded { stencil, .. }
            | Self::Removed { stencil, .. }
            | Self::LostSight { stencil, .. }
            | Self::WashBegan { stencil, .. }
            | Self::WashEnded { stencil, .. }
            | Self::Stored { stencil, .. }
            | Self::Taken { stencil, .. }
            | Self::HoldPlaced { stencil, .. }
            | Self::HoldReleased { stencil, .. }
            | Self::ConcessionGranted { stencil, .. }
            | Self::ConcessionWithdrawn { stencil, .. }
            | Self::Retired { stencil, .. }
            | Self::Measured { stencil, .. }
            | Self::DriedOut { stencil, .. } => Stream::Stencil(stencil.clone()),
            Self::WipesCounted { stencil, machine, .. } => {
                stencil.clone().map_or_else(|| Stream::Machine(machine.clone()), Stream::Stencil)
            }
            Self::StorageBreached { stencil, rack, .. } | Self::SlotFound { stencil, rack, .. } => {
                stencil.clone().map_or_else(|| Stream::Machine(rack.clone()), Stream::Stencil)
            }
            Self::Decided { decision, .. } => match (&decision.stencil, &decision.machine) {
                (Some(stencil), _) => Stream::Stencil(stencil.clone()),
                (None, Some(machine)) => Stream::Machine(machine.clone()),
                (None, None) => Stream::Site,
            },
            Self::MachineUp { machine }
            | Self::MachineDown { machine, .. }
            | Self::MachineStateChanged { machine, .. }
            | Self::FaultRaised { machine, .. }
            | Self::FaultEnded { machine, .. }
            | Self::CounterNoted { machine, .. }
            | Self::CounterDoubted { machine, .. }
            | Self::RestartUnseen { machine, .. }
            | Self::StrokesChecked { machine, .. }
            | Self::BasesDisagreed { machine, .. }
            | Self::StrokesWrittenOff { machine, .. }
            | Self::StrokesUnattributed { machine, .. }
            | Self::BoardsCounted { machine, .. } => Stream::Machine(machine.clone()),
            Self::WashUnmatched(unmatched) => Stream::Machine(unmatched.machine.clone()),
            Self::ClockDoubted(doubted) => Stream::Machine(doubted.machine.clone()),
            Self::DecisionDoubted(doubted) => Stream::Stencil(doubted.stencil.clone()),
            Self::Alarm(event) => event.stream(),
            Self::MessageNumbered(numbered) => Stream::Machine(numbered.machine.clone()),
            Self::SlotCleared { rack, .. } => Stream::Machine(rack.clone()),
            Self::OrderReleased { spec, .. } | Self::OrderStarted { spec, .. } => {
                Stream::Order(spec.order.clone())
            }
            Self::OrderFinished { order, .. } => Stream::Order(order.clone()),
            Self::GatewayStarted { .. }
            | Self::GatewayStopped
            | Self::Configured(_)
            | Self::People(_) => Stream::Site,
        }
    }
}
