//! Each basis of counting: which of them books, which is only compared, and what wipes are.

mod common;

use std::collections::BTreeSet;

use common::floor::{Floor, names};
use common::plant::{MUTE, NAMER, NAMER_2, SCANNER, plant_with};
use common::words::{
    code, counter, link_lost, link_up, machine, order_spec, pulses, reads, reports, seat, seated,
    strokes,
};
use stencilward_domain::event::{Basis, BasisKind, Event, WhyUnattributed};
use stencilward_domain::plant::{Bases, Counted, CounterSpec, Plant};
use stencilward_domain::signal::{OrderSpec, Reading, Said, Width};

fn kinds<const N: usize>(kinds: [BasisKind; N]) -> BTreeSet<BasisKind> {
    kinds.into()
}

/// The scanner's machine becomes an I/O module that counts for the mute printer.
fn module(book: BasisKind, check: BTreeSet<BasisKind>) -> impl Fn(&mut Plant) {
    move |plant: &mut Plant| {
        let io = plant.machines.get_mut(&machine(SCANNER)).expect("a machine");
        io.counts_for = Some(machine(MUTE));
        let printer = plant.machines.get_mut(&machine(MUTE)).expect("a printer");
        printer.bases = Bases { book: kinds([book]), check: check.clone() };
    }
}

fn ordered(quantity: u64) -> OrderSpec {
    OrderSpec {
        quantity: Some(quantity),
        panels_per_stroke: Some(4),
        strokes_per_panel: Some(2),
        setup_strokes: Some(3),
        ..order_spec("WO-1")
    }
}

#[test]
fn a_pulse_counter_books_to_the_stencil_of_the_printer_it_counts_for() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Pulses, BTreeSet::new())));
    floor.does(&seat("A", MUTE));
    floor.says(SCANNER, pulses(10));
    let events = floor.after(60).says(SCANNER, pulses(14));
    let expected = Basis::Pulses {
        counter: counter("scanner/pulses"),
        raw: 14,
        width: Width::Bits16,
        advance: stencilward_domain::event::Advance::Difference,
    };
    assert!(matches!(&events[0], Event::StrokesBooked { machine: at, basis, count: 4, .. }
        if *at == machine(MUTE) && *basis == expected));
    assert_eq!(floor.strokes("A"), 4);
    assert_eq!(floor.machine(MUTE).run.by(BasisKind::Pulses), 4);
}

#[test]
fn pulses_counted_while_the_stencil_was_changed_are_nobodys() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Pulses, BTreeSet::new())));
    floor.does(&seat("A", MUTE));
    floor.says(SCANNER, pulses(10));
    floor.after(60).does(&seat("B", MUTE));
    let events = floor.after(60).says(SCANNER, pulses(14));
    assert!(matches!(&events[0], Event::StrokesUnattributed { why, count: 4, candidates, .. }
        if *why == WhyUnattributed::ChangedMeanwhile && *candidates == [code("A"), code("B")]));
}

#[test]
fn a_modules_counter_may_count_for_a_printer_of_its_own() {
    let plant = plant_with(|plant| {
        module(BasisKind::Pulses, BTreeSet::new())(plant);
        let io = plant.machines.get_mut(&machine(SCANNER)).unwrap();
        let other = CounterSpec { counts: Counted::Strokes, of: Some(machine(NAMER)) };
        io.counters.insert(counter("second"), other);
        let namer = plant.machines.get_mut(&machine(NAMER)).unwrap();
        namer.bases.book = kinds([BasisKind::Pulses]);
    });
    let mut floor = Floor::of(plant);
    floor.says(NAMER, seated("C"));
    floor.does(&seat("A", MUTE));
    let second = |raw| Said::CounterRead {
        counter: counter("second"),
        raw,
        width: Width::Bits16,
        reading: Reading::Polled,
    };
    floor.says(SCANNER, pulses(1));
    floor.says(SCANNER, second(1));
    floor.after(60).says(SCANNER, pulses(3));
    floor.says(SCANNER, second(6));
    assert_eq!((floor.strokes("A"), floor.strokes("C")), (2, 5));
}

#[test]
fn strokes_reported_by_a_module_are_pulses_too() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Pulses, BTreeSet::new())));
    floor.does(&seat("A", MUTE));
    floor.says(SCANNER, strokes(2));
    assert_eq!((floor.strokes("A"), floor.machine(MUTE).run.by(BasisKind::Pulses)), (2, 2));
}

#[test]
fn a_basis_that_is_compared_books_nothing_and_dirties_nothing() {
    let check = kinds([BasisKind::Pulses]);
    let mut floor = Floor::of(plant_with(module(BasisKind::Counter, check)));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.says(SCANNER, pulses(10));
    let events = floor.after(60).says(SCANNER, pulses(14));
    assert_eq!(names(&events), ["strokes-checked"]);
    assert_eq!((floor.strokes("A"), floor.cleanliness("A").as_str()), (0, "clean"));
    floor.says(MUTE, reads(104));
    assert_eq!(floor.strokes("A"), 4);
    assert_eq!(floor.machine(MUTE).unattributed, 0);
}

#[test]
fn a_total_and_reports_of_one_printer_are_not_both_booked() {
    let mut floor = Floor::of(plant_with(|plant| {
        let printer = plant.machines.get_mut(&machine(NAMER)).unwrap();
        printer.bases =
            Bases { book: kinds([BasisKind::Counter]), check: kinds([BasisKind::Reported]) };
    }));
    floor.bring("A", NAMER);
    floor.says(NAMER, reads(100));
    for raw in 101..=110 {
        floor.after(10).says(NAMER, strokes(1));
        floor.says(NAMER, reads(raw));
    }
    assert_eq!(floor.strokes("A"), 10);
}

#[test]
fn an_order_books_its_strokes_as_its_boards_are_counted() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Order, BTreeSet::new())));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, Said::OrderStarted(ordered(100)));
    floor.says(SCANNER, Said::BoardsCounted { count: 5 });
    assert_eq!(floor.strokes("A"), 3 + 2 * 2, "set-up, and two panels of which one is not full");
    floor.says(SCANNER, Said::BoardsCounted { count: 3 });
    assert_eq!(floor.strokes("A"), 3 + 2 * 2, "the second panel is full now");
    floor.says(SCANNER, Said::BoardsCounted { count: 92 });
    assert_eq!(floor.strokes("A"), 3 + 25 * 2);
    let ended = floor.says(MUTE, Said::OrderFinished { order: ordered(1).order, made: None });
    assert_eq!(names(&ended), ["order-finished"]);
}

#[test]
fn an_order_whose_boards_nobody_counts_is_booked_at_its_end() {
    for (made, strokes) in [(None, 3 + 26 * 2), (Some(40), 3 + 10 * 2)] {
        let mut floor = Floor::of(plant_with(module(BasisKind::Order, BTreeSet::new())));
        floor.does(&seat("A", MUTE));
        floor.says(MUTE, Said::OrderStarted(ordered(101)));
        assert_eq!(floor.strokes("A"), 0);
        floor.says(MUTE, Said::OrderFinished { order: ordered(1).order, made });
        assert_eq!(floor.strokes("A"), strokes, "{made:?}");
    }
}

#[test]
fn an_order_printed_with_two_stencils_is_nobodys_until_a_person_splits_it() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Order, BTreeSet::new())));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, Said::OrderStarted(ordered(8)));
    floor.after(600).does(&seat("B", MUTE));
    let events = floor.says(MUTE, Said::OrderFinished { order: ordered(1).order, made: None });
    assert!(matches!(&events[0], Event::StrokesUnattributed { count: 7, candidates, .. }
        if *candidates == [code("A"), code("B")]));
    let count = Said::BoardsCounted { count: 4 };
    let mut floor = Floor::of(plant_with(module(BasisKind::Order, BTreeSet::new())));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, Said::OrderStarted(ordered(8)));
    floor.says(SCANNER, count.clone());
    floor.after(600).does(&seat("B", MUTE));
    floor.says(SCANNER, count.clone());
    assert_eq!(floor.machine(MUTE).unattributed, 2, "either may have made the second panel");
    floor.says(SCANNER, count);
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (5, 2));
}

#[test]
fn an_order_that_says_nothing_more_is_a_stroke_for_each_board() {
    assert_eq!(order_spec("WO-1").strokes_for(7), 7);
    assert_eq!(ordered(1).strokes_for(0), 3, "set up, and nothing printed");
    let huge = OrderSpec { strokes_per_panel: Some(u32::MAX), ..order_spec("WO-1") };
    assert_eq!(huge.strokes_for(u64::MAX), u64::MAX);
    let none = OrderSpec { panels_per_stroke: Some(0), ..order_spec("WO-1") };
    assert_eq!(none.strokes_for(7), 7, "no board at once is one");
}

#[test]
fn boards_without_an_order_book_nothing() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Order, BTreeSet::new())));
    floor.does(&seat("A", MUTE));
    let events = floor.says(SCANNER, Said::BoardsCounted { count: 5 });
    assert_eq!(names(&events), ["boards-counted"]);
    assert_eq!(floor.says(SCANNER, Said::BoardsCounted { count: 0 }), []);
}

#[test]
fn a_line_controller_speaks_for_the_only_printer_of_its_line() {
    let plant = plant_with(|plant| {
        for name in [NAMER, SCANNER] {
            plant.machines.get_mut(&machine(name)).unwrap().line = Some("line-1".to_owned());
        }
    });
    let mut floor = Floor::of(plant.clone());
    floor.says(SCANNER, Said::OrderStarted(ordered(8)));
    assert!(floor.machine(NAMER).works_on(&ordered(8).order));
    let mut two = plant;
    two.machines.get_mut(&machine(NAMER_2)).unwrap().line = Some("line-1".to_owned());
    assert_eq!(two.printer_of(&machine(SCANNER)), machine(SCANNER), "which of the two?");
}

#[test]
fn wipes_are_counted_apart_and_wear_nothing() {
    let mut floor = Floor::of(plant_with(|plant| {
        let printer = plant.machines.get_mut(&machine(NAMER)).unwrap();
        let wipes = CounterSpec { counts: Counted::Wipes, of: None };
        printer.counters.insert(counter("wipes"), wipes);
    }));
    floor.bring("A", NAMER);
    let wipes = |raw| Said::CounterRead {
        counter: counter("wipes"),
        raw,
        width: Width::Bits16,
        reading: Reading::Polled,
    };
    floor.says(NAMER, wipes(65_534));
    assert_eq!(names(&floor.after(60).says(NAMER, wipes(1))), ["wipes-counted"]);
    floor.says(NAMER, Said::WipesDone { count: 2 });
    let stencil = floor.stencil("A");
    assert_eq!((stencil.wipes, stencil.strokes, stencil.strokes_since_wash), (5, 0, 0));
    assert_eq!(floor.cleanliness("A").as_str(), "clean");
    assert_eq!((floor.machine(NAMER).wipes, floor.machine(NAMER).booked), (5, 0));
}

#[test]
fn wipes_of_nobody_knows_which_stencil_are_still_counted() {
    let mut floor = Floor::new();
    let events = floor.says(NAMER, Said::WipesDone { count: 2 });
    assert!(matches!(events[0], Event::WipesCounted { stencil: None, count: 2, .. }));
    assert_eq!((floor.machine(NAMER).wipes, floor.machine(NAMER).unattributed), (2, 0));
}

#[test]
fn a_total_that_passed_zero_unheard_is_booked_as_far_as_it_is_sure() {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.bring("A", NAMER);
    floor.says(NAMER, reads(65_500));
    floor.says(NAMER, link_lost());
    floor.after(600).says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    let events = floor.says(NAMER, reads(20));
    assert!(matches!(
        &events[..],
        [
            Event::StrokesUnattributed { count: 36, why: WhyUnattributed::WrapOrRestart, .. },
            Event::StrokesBooked { count: 20, .. },
        ]
    ));
    let next = floor.after(5).says(NAMER, reads(21));
    assert!(matches!(next[..], [Event::StrokesBooked { count: 1, .. }]));
    assert_eq!((floor.strokes("A"), floor.machine(NAMER).unattributed), (21, 36));
}

#[test]
fn a_wrap_that_a_reporting_machine_tells_of_is_no_riddle() {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.bring("A", NAMER);
    floor.says(NAMER, reports(65_535));
    floor.says(NAMER, link_lost());
    floor.after(60).says(NAMER, Said::LinkUp { resumed: true });
    floor.says(NAMER, reports(0));
    assert_eq!((floor.strokes("A"), floor.machine(NAMER).unattributed), (1, 0));
}

/// Found by a simulated year: an order that tells more boards at its end than were counted.
#[test]
fn boards_that_nobody_counted_may_have_been_made_at_any_time_of_the_order() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Order, BTreeSet::new())));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, Said::OrderStarted(ordered(100)));
    floor.says(SCANNER, Said::BoardsCounted { count: 4 });
    floor.after(600).does(&seat("B", MUTE));
    floor.says(SCANNER, Said::BoardsCounted { count: 4 });
    let open = floor.machine(MUTE).unattributed;
    floor.says(MUTE, Said::OrderFinished { order: ordered(1).order, made: Some(100) });
    assert_eq!(floor.machine(MUTE).unattributed - open, 23 * 2);
}

/// Found by a simulated year: boards that waited for their counter's link.
#[test]
fn a_scan_that_overtakes_board_counts_leaves_them_to_nobody() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Order, BTreeSet::new())));
    floor.says(SCANNER, link_up());
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, Said::OrderStarted(ordered(100)));
    floor.says(SCANNER, link_lost());
    floor.after(5_000).does(&seat("B", MUTE));
    floor.after(5_000).says(SCANNER, Said::LinkUp { resumed: true });
    floor.says(SCANNER, Said::BoardsCounted { count: 52 });
    floor.says(SCANNER, Said::BoardsCounted { count: 8 });
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 0));
    floor.after(60).says(SCANNER, Said::BoardsCounted { count: 4 });
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 2));
}

/// Found by a simulated year: a stencil that nobody scanned printed while the module was not heard.
#[test]
fn pulses_from_before_a_scan_in_a_broken_link_are_nobodys() {
    let mut floor = Floor::of(plant_with(module(BasisKind::Pulses, BTreeSet::new())));
    floor.says(SCANNER, link_up());
    floor.says(SCANNER, pulses(10));
    floor.says(SCANNER, link_lost());
    floor.after(5_000).does(&seat("B", MUTE));
    floor.after(5_000).says(SCANNER, link_up());
    let events = floor.says(SCANNER, pulses(355));
    assert!(matches!(&events[0], Event::StrokesUnattributed { why, count: 345, .. }
        if *why == WhyUnattributed::SeatUnconfirmed));
    let next = floor.after(60).says(SCANNER, pulses(360));
    assert!(matches!(&next[..], [Event::StrokesBooked { count: 5, .. }]));
}
