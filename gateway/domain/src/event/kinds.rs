//! The kinds of event.
use super::{Basis, BasisKind, LikelyCause, Noted, Position, StencilSpec, WhyUnattributed};
use crate::names::{CounterName, MachineName, OrderName, SlotName, StencilCode};
use crate::signal::{MachineState, Measurement, OrderSpec, WashOutcome, Width};
use crate::{decision::Cause, decision::Decision, time::Timestamp, wear::WearBand};
/// One fact about one stencil, machine, order, or the gateway.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Event {
    /// A stencil entered the plant, with strokes already made, if any.
    StencilRegistered {
        /// What it is.
        #[serde(flatten)]
        spec: StencilSpec,
        /// Strokes made before.
        starting_strokes: u64,
        /// True when it is declared clean as it comes in.
        clean: bool,
        /// Who says so.
        source: String,
    },
    /// What a stencil is was changed.
    StencilRevised {
        /// What it is now.
        #[serde(flatten)]
        spec: StencilSpec,
        /// Who says so.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        source: Option<String>,
    },
    /// Strokes booked to a stencil.
    StrokesBooked {
        /// Which stencil.
        stencil: StencilCode,
        /// Made by which printer.
        machine: MachineName,
        /// How many.
        count: u64,
        /// From what.
        #[serde(flatten)]
        basis: Basis,
    },
    /// Strokes by a basis that is only compared with the one that books.
    StrokesChecked {
        /// Made by which printer.
        machine: MachineName,
        /// How many.
        count: u64,
        /// From what.
        #[serde(flatten)]
        basis: Basis,
    },
    /// Two bases of one run lie further apart than allowed.
    BasesDisagreed {
        /// The printer.
        machine: MachineName,
        /// The stencils that were in it during the run.
        stencils: Vec<StencilCode>,
        /// The order of the run, if there was one.
        order: Option<OrderName>,
        /// When the run began.
        since: Timestamp,
        /// Strokes booked, those nobody can attribute included.
        booked: u64,
        /// The basis that is compared.
        checked_by: BasisKind,
        /// Its strokes.
        checked: u64,
        /// What most likely made the difference.
        likely: LikelyCause,
    },
    /// A person said which stencil made strokes that nobody could attribute.
    StrokesAssigned {
        /// Which stencil.
        stencil: StencilCode,
        /// Made by which printer.
        machine: MachineName,
        /// The event that told of them.
        of: Position,
        /// When they had been made at the latest.
        until: Timestamp,
        /// How many of them.
        count: u64,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A person said that strokes nobody could attribute are no stencil's.
    StrokesWrittenOff {
        /// Told of by which printer.
        machine: MachineName,
        /// The event that told of them.
        of: Position,
        /// How many of them.
        count: u64,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A person corrected strokes that were booked, assigned, or there at the start.
    StrokesCorrected {
        /// Which stencil.
        stencil: StencilCode,
        /// Made by which printer; none for strokes from before the gateway.
        machine: Option<MachineName>,
        /// The event that is corrected.
        corrects: Position,
        /// Strokes of that event that counted for this stencil so far.
        was: u64,
        /// Those that count from now on.
        is: u64,
        /// When they were made, where late messages are told apart.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        made: Option<Timestamp>,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A person said that a wash was none.
    WashAnnulled {
        /// Which stencil.
        stencil: StencilCode,
        /// The event that is corrected.
        corrects: Position,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// The understencil was wiped.
    WipesCounted {
        /// Which stencil; none when nobody can say.
        stencil: Option<StencilCode>,
        /// By which printer.
        machine: MachineName,
        /// How many wipes.
        count: u64,
        /// From what.
        #[serde(flatten)]
        basis: Basis,
    },
    /// A stencil passed into another wear band.
    WearBandEntered {
        /// Which stencil.
        stencil: StencilCode,
        /// The band it is in now.
        band: WearBand,
        /// Strokes booked by then.
        strokes: u64,
    },
    /// A stencil is in a printer.
    Seated {
        /// The code as read.
        stencil: StencilCode,
        /// The printer.
        machine: MachineName,
        /// Who says so, when no machine does.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
        /// True when it changed while nobody was told.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        unseen: bool,
    },
    /// A stencil was put into a washer.
    Loaded {
        /// The code as read.
        stencil: StencilCode,
        /// The washer.
        machine: MachineName,
        /// Who says so, when no machine does.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
    },
    /// A stencil left a printer or washer.
    Removed {
        /// The code that was in it.
        stencil: StencilCode,
        /// The printer, or the washer it was in.
        machine: MachineName,
        /// Who says so, when no machine does.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
        /// True when it changed while nobody was told.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        unseen: bool,
    },
    /// A stencil is no longer where it was thought to be.
    LostSight {
        /// Which stencil.
        stencil: StencilCode,
        /// What was seen instead.
        why: String,
    },
    /// A wash began.
    WashBegan {
        /// Which stencil.
        stencil: StencilCode,
        /// The washer; none when a person reports it.
        machine: Option<MachineName>,
        /// The wash programme.
        programme: Option<String>,
    },
    /// A wash ended.
    WashEnded {
        /// Which stencil.
        stencil: StencilCode,
        /// The washer; none when a person reports it.
        machine: Option<MachineName>,
        /// Who reports it, when no washer does.
        by: Option<String>,
        /// The wash programme.
        programme: Option<String>,
        /// How it ended.
        outcome: WashOutcome,
        /// Values the washer measured.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        measured: Vec<Measurement>,
    },
    /// A washer spoke of a wash that fits no stencil, or cannot be.
    WashUnmatched(super::WashUnmatched),
    /// A stencil went into storage with permission.
    Stored {
        /// Which stencil.
        stencil: StencilCode,
        /// The rack.
        rack: MachineName,
        /// The slot.
        slot: SlotName,
    },
    /// A slot was found occupied when the gateway first saw it.
    SlotFound {
        /// Which stencil; none when the rack cannot say.
        stencil: Option<StencilCode>,
        /// The rack.
        rack: MachineName,
        /// The slot.
        slot: SlotName,
    },
    /// A slot became occupied without a permitted store.
    StorageBreached {
        /// Which stencil; none when the rack cannot say.
        stencil: Option<StencilCode>,
        /// The rack.
        rack: MachineName,
        /// The slot.
        slot: SlotName,
        /// What speaks against it.
        reasons: Vec<Cause>,
    },
    /// A stencil left storage.
    Taken {
        /// Which stencil.
        stencil: StencilCode,
        /// The rack.
        rack: MachineName,
        /// The slot.
        slot: SlotName,
        /// True when a take had been permitted.
        permitted: bool,
    },
    /// A slot that held a stencil nobody could name is empty again.
    SlotCleared {
        /// The rack.
        rack: MachineName,
        /// The slot.
        slot: SlotName,
    },
    /// A decision was asked for or has changed.
    Decided {
        /// The decision.
        #[serde(flatten)]
        decision: Decision,
        /// Until when a permitted store or take may be carried out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        valid_until: Option<Timestamp>,
    },
    /// A stencil was put on hold.
    HoldPlaced {
        /// Which stencil.
        stencil: StencilCode,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A hold was released.
    HoldReleased {
        /// Which stencil.
        stencil: StencilCode,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A manager allows a worn stencil a limited number of strokes.
    ConcessionGranted {
        /// Which stencil.
        stencil: StencilCode,
        /// Strokes allowed from now on.
        strokes: u64,
        /// When it ends, whatever was used.
        valid_until: Option<Timestamp>,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A concession was withdrawn.
    ConcessionWithdrawn {
        /// Which stencil.
        stencil: StencilCode,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A stencil was taken out of use for good.
    Retired {
        /// Which stencil.
        stencil: StencilCode,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Something was measured on a stencil.
    Measured {
        /// Which stencil.
        stencil: StencilCode,
        /// By which machine; none when a person reports it.
        machine: Option<MachineName>,
        /// What and how much.
        #[serde(flatten)]
        measurement: Measurement,
    },
    /// A printed stencil has not been washed within the allowed time.
    DriedOut {
        /// Which stencil.
        stencil: StencilCode,
        /// When it last printed.
        printed: Timestamp,
    },
    /// A link to a machine is up.
    MachineUp {
        /// Which machine.
        machine: MachineName,
    },
    /// A link to a machine is lost.
    MachineDown {
        /// Which machine.
        machine: MachineName,
        /// In words, with what to check.
        why: String,
    },
    /// A machine changed its state.
    MachineStateChanged {
        /// Which machine.
        machine: MachineName,
        /// What it is doing.
        state: MachineState,
        /// Its own word for it.
        word: String,
    },
    /// A machine raised a fault.
    FaultRaised {
        /// Which machine.
        machine: MachineName,
        /// Its code.
        code: String,
        /// In words.
        text: String,
    },
    /// A machine's fault is gone.
    FaultEnded {
        /// Which machine.
        machine: MachineName,
        /// Its code.
        code: String,
    },
    /// A counter's value was kept without booking strokes.
    CounterNoted {
        /// Which machine.
        machine: MachineName,
        /// Which counter.
        counter: CounterName,
        /// Its value.
        raw: u64,
        /// Where it wraps.
        width: Width,
        /// Why.
        why: Noted,
    },
    /// A counter jumped further than the machine could have worked: nothing is booked.
    CounterDoubted {
        /// Which machine.
        machine: MachineName,
        /// Which counter.
        counter: CounterName,
        /// The last value that counts.
        last: u64,
        /// The doubtful value.
        raw: u64,
        /// Strokes that were possible in the time between.
        possible: u64,
    },
    /// A counter restarted long after its last read: what it counted in between is lost.
    RestartUnseen {
        /// Which machine.
        machine: MachineName,
        /// Which counter.
        counter: CounterName,
        /// Its last value before.
        last: u64,
        /// Its value after.
        raw: u64,
        /// Strokes that may have been lost, at the most.
        at_most: u64,
    },
    /// Strokes that nobody can attribute yet.
    StrokesUnattributed {
        /// Made by which machine.
        machine: MachineName,
        /// How many.
        count: u64,
        /// Not before.
        since: Timestamp,
        /// Stencils that may have made them.
        candidates: Vec<StencilCode>,
        /// Why nobody knows.
        why: WhyUnattributed,
        /// From what.
        #[serde(flatten)]
        basis: Basis,
    },
    /// Boards passed a position of the line.
    BoardsCounted {
        /// The printer they came from, or the machine that counted them.
        machine: MachineName,
        /// How many.
        count: u64,
        /// The machine that counted them, when it counts for a printer.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by_machine: Option<MachineName>,
    },
    /// An order may be worked on.
    OrderReleased {
        /// What it asks for.
        #[serde(flatten)]
        spec: OrderSpec,
        /// Who says so, when no machine does.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
    },
    /// An order began at a machine.
    OrderStarted {
        /// The machine.
        machine: MachineName,
        /// What it asks for.
        #[serde(flatten)]
        spec: OrderSpec,
        /// Who says so, when no machine does.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
    },
    /// An order is done at a machine.
    OrderFinished {
        /// The machine.
        machine: MachineName,
        /// Which order.
        order: OrderName,
        /// Boards made, where somebody says so.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        made: Option<u64>,
        /// Who says so, when no machine does.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
    },
    /// The gateway started on this ledger.
    GatewayStarted {
        /// Its version.
        version: String,
    },
    /// The gateway stopped in order.
    GatewayStopped,
    /// A configuration took effect.
    Configured(super::Configured),
    /// A message of a machine that numbers its messages was dealt with.
    MessageNumbered(super::MessageNumbered),
    /// A machine told a time that cannot be.
    ClockDoubted(super::ClockDoubted),
    /// A permitted decision would have been refused, had a late message come in time.
    DecisionDoubted(super::DecisionDoubted),
    /// Something happened to an alarm.
    Alarm(super::AlarmEvent),
    /// Somebody may act, or showed who they are.
    People(super::PeopleEvent),
}
