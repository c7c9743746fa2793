//! The states of an alarm and what moves it between them, as one table.
//!
//! States and transitions are those of ANSI/ISA-18.2-2016 and IEC 62682 (alarm state transition
//! diagram; from memory, the text itself was not at hand). Where the standards leave a choice, the
//! table's own tests say which was taken.

use serde::{Deserialize, Serialize};

/// The state of an alarm, with the standards' letters.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmState {
    /// A: nothing is wrong.
    #[default]
    Normal,
    /// B: something is wrong, and nobody has said that he knows.
    Unacknowledged,
    /// C: something is wrong, and somebody knows.
    Acknowledged,
    /// D: it is gone before anybody said that he knew.
    ReturnedUnacknowledged,
    /// E: it is gone, stays until it is reset, and nobody has said that he knows.
    LatchedUnacknowledged,
    /// F: it is gone, stays until it is reset, and somebody knows.
    LatchedAcknowledged,
    /// G: a person put it aside for a time.
    Shelved,
    /// H: silenced by what it follows from, such as a washer under maintenance.
    Suppressed,
    /// I: a person took it out of service.
    OutOfService,
}

impl AlarmState {
    /// All states, A to I.
    pub const ALL: [Self; 9] = [
        Self::Normal,
        Self::Unacknowledged,
        Self::Acknowledged,
        Self::ReturnedUnacknowledged,
        Self::LatchedUnacknowledged,
        Self::LatchedAcknowledged,
        Self::Shelved,
        Self::Suppressed,
        Self::OutOfService,
    ];

    /// The state's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Unacknowledged => "unacknowledged",
            Self::Acknowledged => "acknowledged",
            Self::ReturnedUnacknowledged => "returned-unacknowledged",
            Self::LatchedUnacknowledged => "latched-unacknowledged",
            Self::LatchedAcknowledged => "latched-acknowledged",
            Self::Shelved => "shelved",
            Self::Suppressed => "suppressed",
            Self::OutOfService => "out-of-service",
        }
    }

    /// True while the condition holds and the alarm shows it: B and C.
    #[must_use]
    pub fn is_active(self) -> bool {
        matches!(self, Self::Unacknowledged | Self::Acknowledged)
    }

    /// True while the alarm is kept from showing: G, H and I.
    #[must_use]
    pub fn is_silenced(self) -> bool {
        matches!(self, Self::Shelved | Self::Suppressed | Self::OutOfService)
    }
}

/// What may move an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Input {
    /// Its condition holds, after the on-delay.
    ConditionTrue,
    /// Its condition is gone, after the off-delay.
    ConditionFalse,
    /// A person knows.
    Acknowledge,
    /// A person lets go of a latched alarm.
    Reset,
    /// A person puts it aside for a time.
    Shelve,
    /// A person takes it back, or its time is up.
    Unshelve,
    /// What it follows from is known to be out of order on purpose.
    Suppress,
    /// That is over.
    Release,
    /// A person takes it out of service.
    TakeOut,
    /// A person puts it back into service.
    Return,
    /// It has been acknowledged for so long that it is told again.
    AlarmAgain,
}

impl Input {
    /// All inputs.
    pub const ALL: [Self; 11] = [
        Self::ConditionTrue,
        Self::ConditionFalse,
        Self::Acknowledge,
        Self::Reset,
        Self::Shelve,
        Self::Unshelve,
        Self::Suppress,
        Self::Release,
        Self::TakeOut,
        Self::Return,
        Self::AlarmAgain,
    ];
}

/// What a transition depends on besides state and input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Circumstances {
    /// True when alarms of this kind stay until they are reset.
    pub latching: bool,
    /// True while the condition holds, or a latch does that nobody has reset.
    pub condition: bool,
}

/// What follows from an input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Next {
    /// The alarm moves to this state.
    To(AlarmState),
    /// Nothing changes.
    Stays,
    /// What a person asks for cannot be done: why, and what to do instead.
    Refused(&'static str),
}

/// Where an alarm goes. Each cell of the table is written out: who adds a state or an input has to
/// say what becomes of it.
#[must_use]
#[expect(clippy::too_many_lines, reason = "one table: each cell of it")]
pub fn next(state: AlarmState, input: Input, circumstances: Circumstances) -> Next {
    use AlarmState as S;
    use Next::{Refused, Stays, To};
    let Circumstances { latching, condition } = circumstances;
    let anew = To(if condition { S::Unacknowledged } else { S::Normal });
    match input {
        Input::ConditionTrue => match state {
            S::Normal
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged => To(S::Unacknowledged),
            S::Unacknowledged | S::Acknowledged => Stays,
            S::Shelved | S::Suppressed | S::OutOfService => Stays,
        },
        Input::ConditionFalse => match state {
            S::Unacknowledged if latching => To(S::LatchedUnacknowledged),
            S::Unacknowledged => To(S::ReturnedUnacknowledged),
            S::Acknowledged if latching => To(S::LatchedAcknowledged),
            S::Acknowledged => To(S::Normal),
            S::Normal
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged => Stays,
            S::Shelved | S::Suppressed | S::OutOfService => Stays,
        },
        Input::Acknowledge => match state {
            S::Unacknowledged => To(S::Acknowledged),
            S::ReturnedUnacknowledged => To(S::Normal),
            S::LatchedUnacknowledged => To(S::LatchedAcknowledged),
            S::Normal => Refused(NORMAL),
            S::Acknowledged | S::LatchedAcknowledged => Refused("it is acknowledged already"),
            S::Shelved | S::Suppressed | S::OutOfService => Refused(SILENCED),
        },
        Input::Reset => match state {
            S::LatchedAcknowledged if condition => Refused(STILL_WRONG),
            S::LatchedAcknowledged => To(S::Normal),
            S::LatchedUnacknowledged => Refused("acknowledge it first, then reset it"),
            S::Unacknowledged | S::Acknowledged => Refused(STILL_WRONG),
            S::ReturnedUnacknowledged => Refused("it needs no reset: acknowledge it"),
            S::Normal => Refused(NORMAL),
            S::Shelved | S::Suppressed | S::OutOfService => Refused(SILENCED),
        },
        Input::Shelve => match state {
            S::Normal
            | S::Unacknowledged
            | S::Acknowledged
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged => To(S::Shelved),
            S::Shelved => Refused("it is shelved already: unshelve it, look, and shelve it anew"),
            S::Suppressed => Refused("it is suppressed already: end the maintenance first"),
            S::OutOfService => Refused("it is out of service already: return it first"),
        },
        Input::Unshelve => match state {
            S::Shelved => anew,
            S::Normal
            | S::Unacknowledged
            | S::Acknowledged
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged
            | S::Suppressed
            | S::OutOfService => Refused("it is not shelved"),
        },
        Input::Suppress => match state {
            S::Normal
            | S::Unacknowledged
            | S::Acknowledged
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged => To(S::Suppressed),
            S::Shelved | S::Suppressed | S::OutOfService => Stays,
        },
        Input::Release => match state {
            S::Suppressed => anew,
            S::Normal
            | S::Unacknowledged
            | S::Acknowledged
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged
            | S::Shelved
            | S::OutOfService => Stays,
        },
        Input::TakeOut => match state {
            S::Normal
            | S::Unacknowledged
            | S::Acknowledged
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged => To(S::OutOfService),
            S::Shelved => Refused("it is shelved: unshelve it first"),
            S::Suppressed => Refused("it is suppressed: end the maintenance first"),
            S::OutOfService => Refused("it is out of service already"),
        },
        Input::Return => match state {
            S::OutOfService => anew,
            S::Normal
            | S::Unacknowledged
            | S::Acknowledged
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged
            | S::Shelved
            | S::Suppressed => Refused("it is not out of service"),
        },
        Input::AlarmAgain => match state {
            S::Acknowledged => To(S::Unacknowledged),
            S::Normal
            | S::Unacknowledged
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged
            | S::Shelved
            | S::Suppressed
            | S::OutOfService => Stays,
        },
    }
}

const NORMAL: &str = "nothing is wrong: there is nothing to do";

const SILENCED: &str = "it is shelved, suppressed or out of service: bring it back first";

const STILL_WRONG: &str = "what is wrong is wrong still: see to it, then it ends or can be reset";
