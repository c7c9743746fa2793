//! Every stroke that an honest printer makes is booked once, to the stencil that made it, or is
//! visibly nobody's: whatever links, gateways and people do meanwhile.

mod common;

use common::honest::{Honest, Make, Naming, Step};
use proptest::prelude::*;
use stencilward_domain::event::Event;
use stencilward_domain::signal::{Reading, Width};

fn makes() -> impl Strategy<Value = Make> {
    let readings = prop_oneof![Just(Reading::Polled), Just(Reading::Reported)];
    let widths = prop_oneof![Just(Width::Bits16), Just(Width::Bits32), Just(Width::Bits64)];
    (any::<bool>(), readings, widths, prop_oneof![Just(0), Just(100), 1..40u64], any::<bool>())
        .prop_map(|(names, reading, width, offset, near_the_end)| {
            let first = if near_the_end { width.largest() - offset } else { offset };
            Make { names, reading, width, first }
        })
}

fn namings() -> impl Strategy<Value = Naming> {
    prop_oneof![Just(Naming::First), Just(Naming::AfterARead), Just(Naming::TooLate)]
}

fn steps() -> impl Strategy<Value = Step> {
    let stencils = prop_oneof![Just(None), Just(Some("A")), Just(Some("B")), Just(Some("C"))];
    prop_oneof![
        6 => (1..9u64).prop_map(Step::Strokes),
        6 => Just(Step::Poll),
        4 => stencils.prop_map(Step::Change),
        2 => Just(Step::LinkLost),
        3 => (any::<bool>(), namings()).prop_map(|(resumed, when)| Step::LinkUp(resumed, when)),
        1 => Just(Step::Stop),
        1 => Just(Step::Crash),
        3 => Just(Step::Start),
        1 => Just(Step::PowerCycle),
        2 => prop_oneof![1..60i64, 100..140i64, Just(4_000)].prop_map(Step::Wait),
        1 => Just(Step::Tick),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_500))]
    #[test]
    fn no_stroke_is_lost_or_booked_twice_or_to_the_wrong_stencil(
        make in makes(), steps in prop::collection::vec(steps(), 1..60),
    ) {
        let mut printer = Honest::new(make);
        for step in steps {
            printer.step(step);
        }
        printer.settle();
        let known = printer.floor.machine(printer.name());
        let made = u64::try_from(printer.log.len()).expect("a small number");
        prop_assert_eq!(known.booked + known.unattributed, made);
        let mut booked = 0;
        for name in ["A", "B", "C"] {
            let count = printer.floor.strokes(name);
            let truly = printer.log.iter().filter(|maker| **maker == name).count();
            prop_assert!(count <= truly as u64, "{}: {} of {} strokes", name, count, truly);
            booked += count;
        }
        prop_assert_eq!(booked, known.booked);
        let doubted = |event: &Event| matches!(event, Event::CounterDoubted { .. });
        prop_assert!(printer.floor.last(doubted).is_none(), "an honest counter was doubted");
    }
}

/// Where nothing goes wrong, nothing is left to nobody.
#[test]
fn an_undisturbed_printer_leaves_nothing_to_nobody() {
    for names in [true, false] {
        for reading in [Reading::Polled, Reading::Reported] {
            let make = Make { names, reading, width: Width::Bits16, first: 65_500 };
            let mut printer = Honest::new(make);
            for name in ["A", "B", "C"].into_iter().cycle().take(30) {
                printer.step(Step::Change(Some(name)));
                printer.step(Step::Poll);
                printer.step(Step::Strokes(7));
                printer.step(Step::Poll);
            }
            let known = printer.floor.machine(printer.name());
            assert_eq!((known.booked, known.unattributed), (210, 0));
        }
    }
}
