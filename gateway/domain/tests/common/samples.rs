//! One invented event of each kind.

use stencilward_domain::alarm::{AlarmId, AlarmKind, AlarmState, Priority, Subject};
use stencilward_domain::decision::{Cause, Decision, Rule};
use stencilward_domain::event::{
    Advance, AlarmChange, AlarmEvent, AlarmMoved, Basis, BasisKind, ClockDoubted, ClockWrong,
    Configured, DecisionDoubted, Event, Left, LikelyCause, MessageNumbered, Noted, PeopleEvent,
    Position, Raised, Role, Shown, StencilSpec, WashUnmatched, WhyUnattributed,
};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::place::Place;
use stencilward_domain::reason::Reason;
use stencilward_domain::signal::{MachineState, Measurement, OrderSpec, Side, WashOutcome, Width};
use stencilward_domain::wear::{Share, WearBand, WearLimits};

use super::words::{at, code, counter, machine, order, product, slot};

fn stencil() -> StencilCode {
    code("A")
}

fn printer() -> MachineName {
    machine("namer")
}

fn by() -> String {
    "M. Example".to_owned()
}

fn why() -> String {
    "an invented reason".to_owned()
}

fn full_spec() -> StencilSpec {
    StencilSpec {
        stencil: stencil(),
        product: Some(product("board-7")),
        side: Some(Side::Top),
        revision: Some("C".to_owned()),
        rated_strokes: 1_000,
        rated_washes: Some(50),
        wear_limits: Some(WearLimits { reorder: Share::percent(70), stop: Share::percent(90) }),
        price_centi: None,
        lead_days: None,
    }
}

fn order_spec() -> OrderSpec {
    OrderSpec {
        order: order("WO-1"),
        product: Some(product("board-7")),
        side: Some(Side::Bottom),
        revision: Some("C".to_owned()),
        quantity: Some(240),
        panels_per_stroke: Some(4),
        strokes_per_panel: Some(2),
        setup_strokes: None,
        stencils: Vec::new(),
    }
}

fn measurement() -> Measurement {
    Measurement { quantity: "tension".to_owned(), value: 32.5, unit: "N/cm".to_owned() }
}

fn counted() -> Basis {
    Basis::Counter {
        counter: counter("total"),
        raw: 107,
        width: Width::Bits16,
        advance: Advance::Difference,
    }
}

/// One event of each kind, in the order of their definition.
pub(crate) fn samples() -> Vec<Event> {
    [of_stencils(), of_places(), of_standing(), of_machines(), of_second_thoughts(), of_doubts()]
        .concat()
}

fn of_stencils() -> Vec<Event> {
    vec![
        Event::StencilRegistered {
            spec: full_spec(),
            starting_strokes: 12,
            clean: true,
            source: "configuration".to_owned(),
        },
        Event::StencilRevised { spec: full_spec(), source: None },
        Event::StrokesBooked { stencil: stencil(), machine: printer(), count: 7, basis: counted() },
        Event::WearBandEntered { stencil: stencil(), band: WearBand::Reorder, strokes: 800 },
        Event::Seated { stencil: stencil(), machine: printer(), by: None, unseen: false },
        Event::Loaded { stencil: stencil(), machine: machine("washer"), by: Some(by()) },
        Event::Removed { stencil: stencil(), machine: printer(), by: Some(by()), unseen: false },
        Event::LostSight { stencil: stencil(), why: why() },
        Event::WashBegan {
            stencil: stencil(),
            machine: Some(machine("washer")),
            programme: Some("paste".to_owned()),
        },
        Event::WashEnded {
            stencil: stencil(),
            machine: Some(machine("washer")),
            by: None,
            programme: Some("paste".to_owned()),
            outcome: WashOutcome::Passed,
            measured: vec![Measurement {
                quantity: "resistivity".to_owned(),
                value: 1.25,
                unit: "MΩ·cm".to_owned(),
            }],
        },
        Event::WashUnmatched(WashUnmatched {
            machine: machine("washer"),
            code: Some(code("X")),
            outcome: Some(WashOutcome::Aborted),
            why: why(),
        }),
    ]
}

fn of_places() -> Vec<Event> {
    let (rack, place) = (machine("rack"), slot("3"));
    vec![
        Event::Stored { stencil: stencil(), rack: rack.clone(), slot: place.clone() },
        Event::SlotFound { stencil: None, rack: rack.clone(), slot: place.clone() },
        Event::StorageBreached {
            stencil: Some(stencil()),
            rack: rack.clone(),
            slot: place.clone(),
            reasons: vec![Cause {
                reason: Reason::Unwashed { strokes: 7 },
                because: Some(Position(4)),
            }],
        },
        Event::Taken {
            stencil: stencil(),
            rack: rack.clone(),
            slot: place.clone(),
            permitted: true,
        },
        Event::SlotCleared { rack: rack.clone(), slot: place.clone() },
        Event::Decided {
            decision: Decision {
                rule: Rule::Take,
                stencil: Some(stencil()),
                machine: Some(rack.clone()),
                slot: None,
                order: None,
                by: None,
                reasons: vec![Cause {
                    reason: Reason::Elsewhere { place: Place::Slot { rack, slot: place } },
                    because: None,
                }],
            },
            valid_until: Some(at(60)),
        },
    ]
}

fn of_standing() -> Vec<Event> {
    vec![
        Event::HoldPlaced { stencil: stencil(), by: by(), why: why() },
        Event::HoldReleased { stencil: stencil(), by: by(), why: why() },
        Event::ConcessionGranted {
            stencil: stencil(),
            strokes: 50,
            valid_until: Some(at(3_600)),
            by: by(),
            why: why(),
        },
        Event::ConcessionWithdrawn { stencil: stencil(), by: by(), why: why() },
        Event::Retired { stencil: stencil(), by: by(), why: why() },
        Event::Measured { stencil: stencil(), machine: None, measurement: measurement() },
        Event::DriedOut { stencil: stencil(), printed: at(5) },
    ]
}

fn of_machines() -> Vec<Event> {
    let machine = printer();
    let (total, raw, width) = (counter("total"), 107, Width::Bits32);
    vec![
        Event::MachineUp { machine: machine.clone() },
        Event::MachineDown { machine: machine.clone(), why: why() },
        Event::MachineStateChanged {
            machine: machine.clone(),
            state: MachineState::SetUp,
            word: "CHANGEOVER".to_owned(),
        },
        Event::FaultRaised {
            machine: machine.clone(),
            code: "E-17".to_owned(),
            text: "paste low".to_owned(),
        },
        Event::FaultEnded { machine: machine.clone(), code: "E-17".to_owned() },
        Event::CounterNoted {
            machine: machine.clone(),
            counter: total.clone(),
            raw,
            width,
            why: Noted::SeatChanged,
        },
        Event::CounterDoubted {
            machine: machine.clone(),
            counter: total,
            last: 107,
            raw: u64::MAX,
            possible: 3,
        },
        Event::StrokesUnattributed {
            machine: machine.clone(),
            count: 4,
            since: at(0),
            candidates: vec![stencil(), code("B")],
            why: WhyUnattributed::ChangedMeanwhile,
            basis: Basis::Reported { by_machine: None },
        },
        Event::BoardsCounted { machine: machine.clone(), count: 12, by_machine: None },
        Event::OrderReleased { spec: order_spec(), by: None },
        Event::OrderStarted { machine: machine.clone(), spec: order_spec(), by: None },
        Event::OrderFinished { machine, order: order("WO-1"), made: None, by: None },
        Event::GatewayStarted { version: "0.0.0".to_owned() },
        Event::GatewayStopped,
    ]
}

fn of_second_thoughts() -> Vec<Event> {
    let machine = printer();
    let counter = counter("io-1/pulses");
    let (raw, width, advance) = (80, Width::Bits16, Advance::Wrapped);
    vec![
        Event::StrokesChecked {
            machine: machine.clone(),
            count: 40,
            basis: Basis::Pulses { counter: counter.clone(), raw, width, advance },
        },
        Event::BasesDisagreed {
            machine: machine.clone(),
            stencils: vec![stencil()],
            order: Some(order("WO-1")),
            since: at(0),
            booked: 80,
            checked_by: BasisKind::Order,
            checked: 40,
            likely: LikelyCause::DoublePrint,
        },
        Event::StrokesAssigned {
            stencil: stencil(),
            machine: machine.clone(),
            of: Position(32),
            until: at(10),
            count: 3,
            by: by(),
            why: why(),
        },
        Event::StrokesWrittenOff {
            machine: machine.clone(),
            of: Position(32),
            count: 1,
            by: by(),
            why: why(),
        },
        Event::StrokesCorrected {
            stencil: stencil(),
            machine: Some(machine.clone()),
            corrects: Position(3),
            was: 7,
            is: 5,
            made: None,
            by: by(),
            why: why(),
        },
        Event::WashAnnulled { stencil: stencil(), corrects: Position(10), by: by(), why: why() },
        Event::WipesCounted {
            stencil: Some(stencil()),
            machine: machine.clone(),
            count: 2,
            basis: Basis::Reported { by_machine: Some(machine.clone()) },
        },
        Event::RestartUnseen { machine, counter, last: 9_000, raw: 12, at_most: 30 },
        Event::Configured(Configured {
            digest: "00ff".repeat(16),
            by: Some(by()),
            changes: vec!["machine printer-2 is added".to_owned()],
            trial: [self::machine("printer-2")].into(),
            timed: std::collections::BTreeSet::new(),
        }),
        Event::MessageNumbered(MessageNumbered {
            machine: self::machine("printer-2"),
            sequence: "floor/printer-2/strokes".to_owned(),
            number: 17,
            missed: 3,
        }),
    ]
}

fn of_doubts() -> Vec<Event> {
    vec![
        Event::ClockDoubted(ClockDoubted {
            machine: self::machine("printer-2"),
            told: at(99),
            wrong: ClockWrong::Ahead,
        }),
        Event::DecisionDoubted(DecisionDoubted {
            stencil: stencil(),
            rule: Rule::Store,
            machine: Some(self::machine("rack")),
            decision: Position(17),
            late: Position(20),
            reasons: vec![Cause {
                reason: Reason::Unwashed { strokes: 3 },
                because: Some(Position(20)),
            }],
        }),
        Event::Alarm(alarm_samples().remove(0)),
        Event::People(people_samples().remove(0)),
    ]
}

/// Which sample is of this kind. The match has no rest: who adds a kind adds a sample of it, too.
pub(crate) fn ordinal(event: &Event) -> usize {
    match event {
        Event::StencilRegistered { .. } => 0,
        Event::StencilRevised { .. } => 1,
        Event::StrokesBooked { .. } => 2,
        Event::WearBandEntered { .. } => 3,
        Event::Seated { .. } => 4,
        Event::Loaded { .. } => 5,
        Event::Removed { .. } => 6,
        Event::LostSight { .. } => 7,
        Event::WashBegan { .. } => 8,
        Event::WashEnded { .. } => 9,
        Event::WashUnmatched(_) => 10,
        Event::Stored { .. } => 11,
        Event::SlotFound { .. } => 12,
        Event::StorageBreached { .. } => 13,
        Event::Taken { .. } => 14,
        Event::SlotCleared { .. } => 15,
        Event::Decided { .. } => 16,
        Event::HoldPlaced { .. } => 17,
        Event::HoldReleased { .. } => 18,
        Event::ConcessionGranted { .. } => 19,
        Event::ConcessionWithdrawn { .. } => 20,
        Event::Retired { .. } => 21,
        Event::Measured { .. } => 22,
        Event::DriedOut { .. } => 23,
        Event::MachineUp { .. } => 24,
        Event::MachineDown { .. } => 25,
        Event::MachineStateChanged { .. } => 26,
        Event::FaultRaised { .. } => 27,
        Event::FaultEnded { .. } => 28,
        Event::CounterNoted { .. } => 29,
        Event::CounterDoubted { .. } => 30,
        Event::StrokesUnattributed { .. } => 31,
        Event::BoardsCounted { .. } => 32,
        Event::OrderReleased { .. } => 33,
        Event::OrderStarted { .. } => 34,
        Event::OrderFinished { .. } => 35,
        Event::GatewayStarted { .. } => 36,
        Event::GatewayStopped => 37,
        Event::StrokesChecked { .. } => 38,
        Event::BasesDisagreed { .. } => 39,
        Event::StrokesAssigned { .. } => 40,
        Event::StrokesWrittenOff { .. } => 41,
        Event::StrokesCorrected { .. } => 42,
        Event::WashAnnulled { .. } => 43,
        Event::WipesCounted { .. } => 44,
        Event::RestartUnseen { .. } => 45,
        Event::Configured(_) => 46,
        Event::MessageNumbered(_) => 47,
        Event::ClockDoubted(_) => 48,
        Event::DecisionDoubted(_) => 49,
        Event::Alarm(_) => 50,
        Event::People(_) => 51,
    }
}

fn washer_fault() -> AlarmId {
    let subject = Subject::Fault { machine: machine("washer"), code: "E-17".to_owned() };
    AlarmId { kind: AlarmKind::MachineFault, subject }
}

/// One alarm event of each kind and change, in the order of their definition.
pub(crate) fn alarm_samples() -> Vec<AlarmEvent> {
    use AlarmState as S;
    let moved = |to: S, change: AlarmChange| {
        let raised = (to == S::Unacknowledged)
            .then(|| Raised { priority: Priority::Medium, what: "pump off".to_owned() });
        AlarmEvent::Moved(AlarmMoved { id: washer_fault(), to, change, raised })
    };
    let comment = Some("on my way".to_owned());
    vec![
        moved(S::Unacknowledged, AlarmChange::Raised),
        moved(S::ReturnedUnacknowledged, AlarmChange::Cleared),
        moved(S::Acknowledged, AlarmChange::Acknowledged { by: by(), comment: comment.clone() }),
        moved(S::Normal, AlarmChange::Reset { by: by(), comment }),
        moved(S::Shelved, AlarmChange::Shelved { until: at(3_600), by: by(), why: why() }),
        moved(S::Normal, AlarmChange::Unshelved { by: Some(by()) }),
        moved(S::Suppressed, AlarmChange::Suppressed { under_maintenance: machine("washer") }),
        moved(S::Unacknowledged, AlarmChange::Released),
        moved(S::OutOfService, AlarmChange::TakenOut { by: by(), why: why() }),
        moved(S::Normal, AlarmChange::Returned { by: by() }),
        moved(S::Unacknowledged, AlarmChange::AlarmedAgain),
        AlarmEvent::Commented { id: washer_fault(), by: by(), comment: "seen".to_owned() },
        AlarmEvent::MaintenanceBegan { machine: machine("washer"), by: by(), why: why() },
        AlarmEvent::MaintenanceEnded { machine: machine("washer"), by: by() },
    ]
}

/// One event of people of each kind, in the order of their definition.
pub(crate) fn people_samples() -> Vec<PeopleEvent> {
    let name = || "M. Muster".to_owned();
    vec![
        PeopleEvent::Admitted {
            name: name(),
            role: Role::Technician,
            program: false,
            ends: Some(at(3_600)),
            by: by(),
            why: why(),
        },
        PeopleEvent::Changed {
            name: name(),
            role: Role::Engineer,
            what: vec!["role".to_owned(), "pin".to_owned()],
            by: by(),
            why: why(),
        },
        PeopleEvent::Dismissed { name: name(), by: by(), why: why() },
        PeopleEvent::SignedIn {
            by: name(),
            role: Role::Engineer,
            shown: Shown::Pin,
            from: Some("192.0.2.7".to_owned()),
        },
        PeopleEvent::SignedOut { by: name(), why: Left::Idle },
        PeopleEvent::Refused { name: Some(name()), count: 3 },
        PeopleEvent::Confirmed { by: name(), second: Some(by()) },
    ]
}
