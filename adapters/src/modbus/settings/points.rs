//! Points: what is read of a machine, and which signal it gives.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::plant::Counted;

use super::places::{
    BoardTotal, Code, Contact, Fault, FaultCode, Flag, LifeSign, MachineWord, Measured, Number,
    Place, Slot, SlotCode, Total, WashResult,
};

/// The points, each with its word in settings.
macro_rules! points {
    ($($(#[$doc:meta])* $name:ident($kind:ty) = $word:literal,)+) => {
        /// What is read at one place, and which signal it gives.
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(tag = "signal")]
        pub enum Point {
            $($(#[$doc])* #[serde(rename = $word)] $name($kind),)+
        }

        impl Point {
            /// The signal's word in settings.
            #[must_use]
            pub fn signal(&self) -> &'static str {
                match self {
                    $(Self::$name(_) => $word,)+
                }
            }

            /// Where it lies and how it is laid out.
            pub(crate) fn place(&self) -> Place {
                match self {
                    $(Self::$name(point) => point.place(),)+
                }
            }
        }
    };
}

points! {
    /// A cumulative counter of strokes.
    StrokeTotal(Total) = "stroke-total",
    /// A cumulative counter of understencil wipes.
    WipeTotal(Total) = "wipe-total",
    /// A cumulative counter of boards that passed. What it counts while the gateway is stopped is
    /// not told.
    BoardTotal(BoardTotal) = "board-total",
    /// A contact that closes once for each stroke, where nothing counts them. Strokes shorter than
    /// a poll, and those while the link is lost, are missed: a counter register is better.
    StrokeContact(Contact) = "stroke-contact",
    /// A contact that closes once for each understencil wipe; misses what a stroke-contact would.
    WipeContact(Contact) = "wipe-contact",
    /// A contact that closes once for each board; misses what a stroke-contact would.
    BoardContact(Contact) = "board-contact",
    /// The code of the stencil in the printer; empty while there is none.
    StencilSeated(Code) = "stencil-seated",
    /// A bit that is active while a stencil is in the printer. Beside a code that stays when the
    /// stencil is gone; by itself it tells only that there is none.
    StencilPresent(Flag) = "stencil-present",
    /// What the machine is doing.
    MachineState(MachineWord) = "machine-state",
    /// A bit that is active while the controller that answers is connected to the machine itself.
    MachineLink(Flag) = "machine-link",
    /// A number that changes while the machine is alive; the link counts as lost while it stands
    /// still.
    LifeSign(LifeSign) = "life-sign",
    /// A bit that is active while a fault is present.
    Fault(Fault) = "fault",
    /// The number of the fault that is present; 0 while there is none.
    FaultCode(FaultCode) = "fault-code",
    /// A bit that is active while a slot of the rack holds a stencil.
    Slot(Slot) = "slot",
    /// The code of the stencil in a slot; empty while there is none.
    SlotCode(SlotCode) = "slot-code",
    /// A bit that is active while a person or the rack asks to store a stencil. The output
    /// `door-release` answers.
    StoreAsked(Flag) = "store-asked",
    /// A bit that is active while a person or the rack asks to take a stencil. The output
    /// `door-release` answers.
    TakeAsked(Flag) = "take-asked",
    /// The code of the stencil that is asked about.
    AskedStencil(Code) = "asked-stencil",
    /// The slot that is asked about.
    AskedSlot(Code) = "asked-slot",
    /// The order that a stencil is to be taken for.
    AskedOrder(Code) = "asked-order",
    /// A bit that is active while the washer runs.
    WashRunning(Flag) = "wash-running",
    /// How the last wash ended. Must be set no later than the running bit goes off.
    WashResult(WashResult) = "wash-result",
    /// The code of the stencil in the washer.
    WashStencil(Code) = "wash-stencil",
    /// The wash programme.
    WashProgramme(Code) = "wash-programme",
    /// A measured value. Of a washer with a running bit it is told with the end of the wash.
    Measured(Measured) = "measured",
    /// A bit that becomes active when the measured values are valid: they are told then, and only
    /// then.
    MeasuredTaken(Flag) = "measured-taken",
    /// The code of the stencil that the values are measured on.
    MeasuredStencil(Code) = "measured-stencil",
    /// The order that the machine works on; empty while there is none. It is told to have begun
    /// and ended when this changes.
    Order(Code) = "order",
    /// A bit that is active while the order is worked on, where its name stays when it is done.
    OrderRunning(Flag) = "order-running",
    /// The product of the order.
    OrderProduct(Code) = "order-product",
    /// Boards that the order asks for.
    OrderQuantity(Number) = "order-quantity",
    /// Boards of the order that are made.
    OrderMade(Number) = "order-made",
}

impl Point {
    /// The name of the counter whose total it reads, and what that counts; none when it reads none.
    #[must_use]
    pub fn counter(&self) -> Option<(&str, Counted)> {
        let (total, usual, counted) = match self {
            Self::StrokeTotal(total) => (total, "strokes", Counted::Strokes),
            Self::WipeTotal(total) => (total, "wipes", Counted::Wipes),
            _ => return None,
        };
        Some((total.counter.as_deref().unwrap_or(usual), counted))
    }

    /// Its signal, and which of several, in words.
    #[must_use]
    pub fn title(&self) -> String {
        let which = match self {
            Self::StrokeTotal(_) | Self::WipeTotal(_) => self.counter().map(|(name, _)| name),
            Self::Fault(fault) => Some(fault.code.as_str()),
            Self::Slot(slot) => Some(slot.slot.as_str()),
            Self::SlotCode(code) => Some(code.slot.as_str()),
            Self::Measured(measured) => Some(measured.quantity.as_str()),
            _ => None,
        };
        let signal = self.signal();
        which.map_or_else(|| signal.to_owned(), |which| format!("{signal} {}", which.trim()))
    }

    /// True when it announces values that must then be read after it.
    pub(crate) fn announces(&self) -> bool {
        matches!(
            self,
            Self::StencilPresent(_)
                | Self::Slot(_)
                | Self::StoreAsked(_)
                | Self::TakeAsked(_)
                | Self::WashRunning(_)
                | Self::MeasuredTaken(_)
                | Self::OrderRunning(_)
        )
    }
}
