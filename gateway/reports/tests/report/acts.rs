//! Anything that machines and people of the plant do, in any order.

use proptest::prelude::*;
use stencilward_domain::event::{Event, Position};
use stencilward_domain::names::CounterName;
use stencilward_domain::signal::{Measurement, Reading, Said, WashOutcome, Width};
use stencilward_domain::site::{Correction, Request, Wrong};

use super::plant::{Floor, ONE, RACK, START, TWO, WASHER, code, machine, order, slot};

/// One thing that is done.
#[derive(Debug, Clone)]
pub(crate) enum Act {
    Says(&'static str, Said),
    Asks(Request),
    /// Assigns part of open strokes, and writes off another part; which, of those that are open.
    Assigns(usize, &'static str, u64, u64),
    /// Corrects an event that has strokes; which, and whose they are.
    Corrects(usize, &'static str, u64),
    Annuls(usize),
    Waits(i64),
    Restarts,
}

impl Act {
    pub(crate) fn happens(&self, floor: &mut Floor) {
        let (by, why) = ("M. Example".to_owned(), "an invented reason".to_owned());
        match self {
            Self::Says(name, said) => floor.says(name, said.clone()),
            Self::Asks(request) => drop(floor.ask(request)),
            Self::Assigns(which, stencil, share, write_off) => {
                let open: Vec<Position> = floor.site.state().unattributed.keys().copied().collect();
                let Some(of) = open.get(which % open.len().max(1)).copied() else {
                    return;
                };
                let (shares, write_off) = (vec![(code(stencil), *share)], *write_off);
                floor.ask(&Request::Assign { of, shares, write_off, by, why });
            }
            Self::Corrects(which, stencil, is) => {
                let what = Wrong::Strokes(vec![(code(stencil), *is)]);
                correct(floor, *which, has_strokes, &Correction { what, by, why });
            }
            Self::Annuls(which) => {
                correct(floor, *which, is_wash, &Correction { what: Wrong::Wash, by, why });
            }
            Self::Waits(millis) => drop(floor.after(*millis)),
            Self::Restarts => floor.restart(),
        }
    }
}

fn has_strokes(event: &Event) -> bool {
    matches!(
        event,
        Event::StrokesBooked { .. }
            | Event::StrokesAssigned { .. }
            | Event::StencilRegistered { .. }
    )
}

fn is_wash(event: &Event) -> bool {
    matches!(event, Event::WashEnded { outcome: WashOutcome::Passed, .. })
}

fn correct(floor: &mut Floor, which: usize, fits: fn(&Event) -> bool, correction: &Correction) {
    let fitting: Vec<_> = floor.ledger.iter().filter(|r| fits(&r.fact.event)).cloned().collect();
    if let Some(original) = fitting.get(which % fitting.len().max(1)) {
        floor.correct(original, correction);
    }
}

fn codes() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["ST-1", "ST-2", "ST-3", "ST-X"])
}

fn printers() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec![ONE, TWO])
}

fn counts() -> impl Strategy<Value = u64> {
    prop_oneof![4 => 0..15u64, 1 => 100..400u64]
}

fn outcomes() -> impl Strategy<Value = WashOutcome> {
    use WashOutcome::{Aborted, Failed, Passed};
    prop::sample::select(vec![Passed, Passed, Passed, Failed, Aborted])
}

fn printing() -> impl Strategy<Value = Act> {
    let total = |(name, raw)| {
        let counter = CounterName::new("total").unwrap();
        let (width, reading) = (Width::Bits16, Reading::Polled);
        Act::Says(name, Said::CounterRead { counter, raw, width, reading })
    };
    prop_oneof![
        6 => (printers(), counts()).prop_map(|(name, count)| Act::Says(name, Said::StrokesDone { count })),
        2 => (printers(), 0..300u64).prop_map(total),
        2 => (printers(), counts()).prop_map(|(name, count)| Act::Says(name, Said::WipesDone { count })),
        4 => (printers(), codes())
            .prop_map(|(name, stencil)| Act::Says(name, Said::Seated { code: code(stencil) })),
        1 => printers().prop_map(|name| Act::Says(name, Said::Removed)),
        2 => (printers(), orders()).prop_map(|(name, which)| Act::Says(name, Said::OrderStarted(order(which)))),
        1 => orders().prop_map(|which| Act::Says(ONE, Said::OrderReleased(order(which)))),
        2 => (printers(), orders(), prop::option::of(counts())).prop_map(|(name, which, made)| {
            Act::Says(name, Said::OrderFinished { order: order(which).order, made })
        }),
        1 => (printers(), counts()).prop_map(|(name, count)| Act::Says(name, Said::BoardsCounted { count })),
        2 => printers().prop_map(|name| Act::Says(name, Said::LinkUp { resumed: false })),
        1 => printers().prop_map(|name| Act::Says(name, Said::LinkLost { why: "cable".to_owned() })),
    ]
}

fn orders() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["WO-1", "WO-2"])
}

fn keeping() -> impl Strategy<Value = Act> {
    let ended = |(stencil, outcome, named): (&str, _, bool)| {
        let (code, measured) = (named.then(|| code(stencil)), Vec::new());
        Act::Says(WASHER, Said::WashEnded { code, programme: None, outcome, measured })
    };
    let tension = |(stencil, value)| {
        let (quantity, unit) = ("tension".to_owned(), "N/cm".to_owned());
        let measurement = Measurement { quantity, value, unit };
        Act::Says(RACK, Said::Measured { code: Some(code(stencil)), measurement })
    };
    prop_oneof![
        3 => (codes(), outcomes(), any::<bool>()).prop_map(ended),
        1 => codes().prop_map(|s| Act::Says(WASHER, Said::WashBegan { code: Some(code(s)), programme: None })),
        1 => (codes(), 20.0..50.0f64).prop_map(tension),
        1 => codes().prop_map(|s| Act::Says(RACK, Said::StoreAsked { code: code(s), slot: None })),
        1 => codes().prop_map(|s| Act::Says(RACK, Said::TakeAsked { code: code(s), order: None, destination: None })),
        1 => codes().prop_map(|s| Act::Says(RACK, Said::SlotOccupied { slot: slot("1"), code: Some(code(s)) })),
        1 => Just(Act::Says(RACK, Said::SlotEmptied { slot: slot("1"), code: None })),
    ]
}

fn asking() -> impl Strategy<Value = Act> {
    let (by, why) = (|| "M. Example".to_owned(), || "an invented reason".to_owned());
    let ends = prop::option::of(
        (0..500_000_000i64).prop_map(|ms| stencilward_domain::time::Timestamp(START.0 + ms)),
    );
    prop_oneof![
        3 => (codes(), counts(), ends).prop_map(move |(s, strokes, until)| {
            Act::Asks(Request::Grant { stencil: code(s), strokes, until, by: by(), why: why() })
        }),
        1 => codes().prop_map(move |s| Act::Asks(Request::Withdraw { stencil: code(s), by: by(), why: why() })),
        1 => codes().prop_map(move |s| Act::Asks(Request::Hold { stencil: code(s), by: by(), why: why() })),
        1 => Just(Act::Asks(Request::Retire { stencil: code("ST-3"), by: by(), why: why() })),
        1 => (codes(), outcomes()).prop_map(move |(s, outcome)| {
            Act::Asks(Request::ReportWash { stencil: code(s), outcome, by: by() })
        }),
        1 => (codes(), printers(), counts()).prop_map(move |(s, name, strokes)| {
            let machine = machine(name);
            Act::Asks(Request::Enter { stencil: code(s), machine, strokes, by: by(), why: why() })
        }),
        4 => (0..9usize, codes(), counts(), counts()).prop_map(|(n, s, share, off)| Act::Assigns(n, s, share, off)),
        3 => (0..99usize, codes(), counts()).prop_map(|(n, s, is)| Act::Corrects(n, s, is)),
        1 => (0..9usize).prop_map(Act::Annuls),
    ]
}

/// Many acts.
pub(crate) fn acts() -> impl Strategy<Value = Vec<Act>> {
    let waits = prop_oneof![6 => 1_000..900_000i64, 1 => Just(90_000_000), 1 => Just(-40_000)];
    let one = prop_oneof![
        8 => printing(),
        3 => keeping(),
        4 => asking(),
        5 => waits.prop_map(Act::Waits),
        1 => Just(Act::Restarts),
    ];
    prop::collection::vec(one, 1..150)
}

/// The plant after some acts.
pub(crate) fn after(acts: &[Act]) -> Floor {
    let mut floor = Floor::new();
    acts.iter().for_each(|act| act.happens(&mut floor));
    floor
}
