//! What went wrong in a year, counted, so that no kind of fault can be forgotten.

macro_rules! kinds {
    ($($kind:ident,)*) => {
        /// Every kind of fault that a year brings.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub(crate) enum Fault { $($kind,)* }

        impl Fault {
            /// All kinds.
            pub(crate) const ALL: &[Self] = &[$(Self::$kind,)*];
        }
    };
}

kinds! {
    GatewayStopped,
    GatewayCrashed,
    TailLost,
    ClockPutForward,
    ClockPutBack,
    MachineDown,
    MachineClockWrong,
    ShortBreak,
    LongBreak,
    RestartInBreak,
    RestartHeard,
    StrokesLostInRestart,
    WrapHeard,
    WrapOrRestartWrapped,
    WrapOrRestartRestarted,
    OutOfOrder,
    ReadRepeated,
    MisreadAsZero,
    GlitchUp,
    FrozenAndCaughtUp,
    FrozenForGood,
    CounterReplaced,
    JumpConfirmed,
    MessageRepeated,
    Redelivered,
    ChangedUnseen,
    ChangedAndBackUnseen,
    ScanMissing,
    NamedTooLate,
    UnlistedStencil,
    OrderMessageLost,
    Assigned,
    WrittenOff,
    Corrected,
    EnteredByHand,
    Checked,
}

/// How often each happened.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Faults([u64; Fault::ALL.len()]);

impl Default for Faults {
    fn default() -> Self {
        Self([0; Fault::ALL.len()])
    }
}

impl Faults {
    pub(crate) fn happened(&mut self, fault: Fault) {
        self.0[fault as usize] += 1;
    }

    pub(crate) fn add(&mut self, other: &Self) {
        for (sum, more) in self.0.iter_mut().zip(other.0) {
            *sum += more;
        }
    }

    pub(crate) fn of(&self, fault: Fault) -> u64 {
        self.0[fault as usize]
    }
}
