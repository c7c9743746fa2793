//! Where a stencil is thought to be.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::names::{MachineName, SlotName};

/// Where a stencil is. Unknown is a real value.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(tag = "place", rename_all = "kebab-case")]
pub enum Place {
    /// In a slot of a storage rack.
    Slot {
        /// The rack.
        rack: MachineName,
        /// The slot.
        slot: SlotName,
    },
    /// In a printer.
    Printer {
        /// The printer.
        machine: MachineName,
    },
    /// In a washer.
    Washer {
        /// The washer.
        machine: MachineName,
    },
    /// Carried by a person, or on a trolley.
    InHand,
    /// Nobody knows.
    #[default]
    Unknown,
}

impl Place {
    /// The kind of place, as a stable word.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Slot { .. } => "slot",
            Self::Printer { .. } => "printer",
            Self::Washer { .. } => "washer",
            Self::InHand => "in-hand",
            Self::Unknown => "unknown",
        }
    }
}

impl Place {
    /// The rack, printer or washer it is in.
    #[must_use]
    pub fn machine(&self) -> Option<&MachineName> {
        match self {
            Self::Slot { rack, .. } => Some(rack),
            Self::Printer { machine } | Self::Washer { machine } => Some(machine),
            Self::InHand | Self::Unknown => None,
        }
    }

    /// The slot it is in.
    #[must_use]
    pub fn slot(&self) -> Option<&SlotName> {
        match self {
            Self::Slot { slot, .. } => Some(slot),
            _ => None,
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Slot { rack, slot } => write!(f, "in slot {slot} of {rack}"),
            Self::Printer { machine } => write!(f, "in printer {machine}"),
            Self::Washer { machine } => write!(f, "in washer {machine}"),
            Self::InHand => f.write_str("in somebody's hands"),
            Self::Unknown => f.write_str("at an unknown place"),
        }
    }
}
