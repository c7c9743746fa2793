//! Anything that machines and people may say and do, in any order.

use proptest::prelude::*;
use stencilward_domain::names::CounterName;
use stencilward_domain::signal::{
    MachineState, Measurement, OrderSpec, Reading, Said, Side, Signal, WashOutcome, Width,
};
use stencilward_domain::site::Request;
use stencilward_domain::time::Timestamp;

use super::floor::Floor;
use super::plant::{MUTE, MUTE_2, NAMER, NAMER_2, RACK, RACK_2, SCANNER, WASHER, WASHER_2};
use super::words::{self, code, machine, order, order_spec, product, slot};

/// One thing that happens.
#[derive(Debug, Clone)]
pub(crate) enum Move {
    Says(&'static str, Option<u8>, Said),
    Asks(Request),
    Waits(i64),
    Tick,
    Restart,
}

impl Move {
    pub(crate) fn happens(&self, floor: &mut Floor) {
        match self {
            Self::Says(name, identity, said) => {
                let identity = identity.map(|identity| identity.to_string());
                let _ = floor.says_as(name, identity.as_deref(), said.clone());
            }
            Self::Asks(request) => drop(floor.ask(request)),
            Self::Waits(millis) => floor.now = Timestamp(floor.now.0.saturating_add(*millis)),
            Self::Tick => drop(floor.tick()),
            Self::Restart => drop(floor.start_again()),
        }
    }
}

/// A signal from anybody, as it might be decoded from rubbish.
pub(crate) fn any_signal() -> impl Strategy<Value = Signal> {
    let times = prop_oneof![Just(i64::MIN), Just(i64::MAX), Just(0), any::<i64>()];
    (machines(), times, prop::option::of(any::<i64>()), prop::option::of(0..4u8), said(extreme()))
        .prop_map(|(name, received, machine_time, identity, said)| Signal {
            machine: machine(name),
            received: Timestamp(received),
            machine_time: machine_time.map(Timestamp),
            identity: identity.map(|identity| identity.to_string()),
            said,
        })
}

/// Moves with the numbers that a floor may see.
pub(crate) fn moves() -> impl Strategy<Value = Move> {
    let identities = prop_oneof![3 => Just(None), 1 => (0..6u8).prop_map(Some)];
    prop_oneof![
        12 => (machines(), identities, said(ordinary()))
            .prop_map(|(name, identity, said)| Move::Says(name, identity, said)),
        5 => requests(ordinary()).prop_map(Move::Asks),
        4 => prop_oneof![0..20_000i64, 50_000..200_000i64, Just(-30_000), Just(90_000_000)]
            .prop_map(Move::Waits),
        1 => Just(Move::Tick),
        1 => Just(Move::Restart),
    ]
}

pub(crate) fn ordinary() -> BoxedStrategy<u64> {
    prop_oneof![4 => 0..12u64, 2 => 95..110u64, 1 => 65_530..65_536u64, 1 => 0..2_000u64].boxed()
}

pub(crate) fn extreme() -> BoxedStrategy<u64> {
    prop_oneof![Just(0), Just(u64::MAX), Just(u64::MAX - 1), 0..70_000u64, any::<u64>()].boxed()
}

fn machines() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec![
        NAMER, NAMER, NAMER_2, MUTE, MUTE_2, WASHER, WASHER, WASHER_2, RACK, RACK, RACK_2, SCANNER,
        "stranger",
    ])
}

fn codes() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["A", "A", "A", "B", "B", "C", "U", "X"])
}

fn slots() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["1", "2"])
}

fn outcomes() -> impl Strategy<Value = WashOutcome> {
    use WashOutcome::{Aborted, Failed, Passed};
    prop::sample::select(vec![Passed, Passed, Passed, Failed, Aborted])
}

fn orders() -> impl Strategy<Value = OrderSpec> {
    (prop::sample::select(vec!["WO-1", "WO-2"]), any::<bool>()).prop_map(|(name, other)| {
        OrderSpec {
            product: other.then(|| product("board-8")),
            side: Some(if other { Side::Top } else { Side::Bottom }),
            ..order_spec(name)
        }
    })
}

fn values() -> impl Strategy<Value = f64> {
    prop_oneof![0.0..50.0f64, Just(f64::NAN), Just(f64::INFINITY), Just(f64::MIN), any::<f64>()]
}

fn measurements() -> impl Strategy<Value = Measurement> {
    values().prop_map(|value| Measurement {
        quantity: "tension".to_owned(),
        value,
        unit: "N/cm".to_owned(),
    })
}

fn reads(numbers: BoxedStrategy<u64>) -> impl Strategy<Value = Said> {
    let widths =
        prop::sample::select(vec![Width::Bits16, Width::Bits16, Width::Bits32, Width::Bits64]);
    let readings = prop::sample::select(vec![Reading::Polled, Reading::Reported]);
    (numbers, widths, readings, any::<bool>()).prop_map(|(raw, width, reading, second)| {
        let name = if second { "second" } else { "total" };
        let counter = CounterName::new(name).expect("a good name");
        Said::CounterRead { counter, raw, width, reading }
    })
}

fn said(numbers: BoxedStrategy<u64>) -> impl Strategy<Value = Said> {
    let link = prop_oneof![
        any::<bool>().prop_map(|resumed| Said::LinkUp { resumed }),
        Just(words::link_lost()),
    ];
    let work = prop_oneof![
        3 => reads(numbers.clone()),
        3 => numbers.clone().prop_map(words::strokes),
        4 => codes().prop_map(words::seated),
        1 => Just(Said::Removed),
    ];
    let washing = prop_oneof![
        prop::option::of(codes()).prop_map(words::wash_began),
        (prop::option::of(codes()), outcomes(), measurements()).prop_map(
            |(name, outcome, value)| {
                Said::WashEnded {
                    code: name.map(code),
                    programme: None,
                    outcome,
                    measured: vec![value],
                }
            }
        ),
    ];
    let storage = prop_oneof![
        (slots(), prop::option::of(codes())).prop_map(|(place, name)| words::occupied(place, name)),
        (slots(), prop::option::of(codes())).prop_map(|(place, name)| Said::SlotEmptied {
            slot: slot(place),
            code: name.map(code),
        }),
        (codes(), prop::option::of(slots())).prop_map(|(name, to)| words::store_asked(name, to)),
        codes().prop_map(|name| words::take_asked(name, Some("WO-1"))),
    ];
    prop_oneof![2 => link, 8 => work, 4 => washing, 6 => storage, 2 => news(numbers)]
}

fn news(numbers: BoxedStrategy<u64>) -> impl Strategy<Value = Said> {
    prop_oneof![
        Just(Said::State { state: MachineState::Idle, word: "READY".to_owned() }),
        Just(Said::FaultRaised { code: "E-17".to_owned(), text: "paste low".to_owned() }),
        Just(Said::FaultEnded { code: "E-17".to_owned() }),
        (prop::option::of(codes()), measurements()).prop_map(|(name, measurement)| {
            Said::Measured { code: name.map(code), measurement }
        }),
        orders().prop_map(Said::OrderReleased),
        orders().prop_map(Said::OrderStarted),
        Just(Said::OrderFinished { order: order("WO-1"), made: None }),
        numbers.clone().prop_map(|count| Said::BoardsCounted { count }),
        numbers.prop_map(|number| Said::MessageNumbered { sequence: "a".to_owned(), number }),
    ]
}

/// Anything that people may ask for.
pub(crate) fn requests(numbers: BoxedStrategy<u64>) -> impl Strategy<Value = Request> {
    let racks = prop::option::of(prop::sample::select(vec![RACK, RACK_2, NAMER, "nowhere"]));
    let seats = prop::sample::select(vec![NAMER, MUTE, MUTE, MUTE_2, WASHER, RACK]);
    let ends = prop::option::of(prop_oneof![0..400i64, Just(100_000)].prop_map(words::at));
    prop_oneof![
        (codes(), racks.clone(), prop::option::of(slots()))
            .prop_map(|(name, rack, place)| words::store(name, rack, place)),
        (codes(), racks).prop_map(|(name, rack)| words::take(name, rack)),
        (codes(), seats.clone()).prop_map(|(name, into)| words::seat(name, into)),
        seats.prop_map(words::remove),
        (codes(), outcomes()).prop_map(|(name, outcome)| words::hand_wash(name, outcome)),
        codes().prop_map(words::hold),
        codes().prop_map(words::release),
        (codes(), numbers, ends).prop_map(|(name, count, end)| words::grant(name, count, end)),
        codes().prop_map(words::withdraw),
        prop::sample::select(vec!["U", "C"]).prop_map(words::retire),
    ]
}
