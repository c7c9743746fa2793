//! Two bases of one run: what is told when they disagree, and what likely made the difference.

mod common;

use common::floor::{Floor, names};
use common::plant::{MUTE, SCANNER, plant_with};
use common::words::{
    at, code, link_lost, link_up, machine, order, order_spec, pulses, reads, remove, seat, strokes,
};
use stencilward_domain::event::{BasisKind, Event, LikelyCause};
use stencilward_domain::plant::{Bases, Plant, Tolerance};
use stencilward_domain::signal::{OrderSpec, Said};
use stencilward_domain::wear::Share;

fn booked_and_compared(book: BasisKind, check: BasisKind) -> Plant {
    plant_with(|plant| {
        let printer = plant.machines.get_mut(&machine(MUTE)).expect("a printer");
        printer.bases = Bases { book: [book].into(), check: [check].into() };
        let module = plant.machines.get_mut(&machine(SCANNER)).expect("a machine");
        module.counts_for = Some(machine(MUTE));
    })
}

fn ordered(quantity: u64, at_once: u32, each: u32) -> OrderSpec {
    OrderSpec {
        quantity: Some(quantity),
        panels_per_stroke: Some(at_once),
        strokes_per_panel: Some(each),
        ..order_spec("WO-1")
    }
}

/// An order of which the printer's counter made so many strokes; what is told at its end.
fn finished(spec: OrderSpec, counted: u64, made: Option<u64>) -> Vec<Event> {
    let mut floor = Floor::of(booked_and_compared(BasisKind::Counter, BasisKind::Order));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.says(MUTE, Said::OrderStarted(spec.clone()));
    floor.after(100_000).says(MUTE, reads(100 + counted));
    floor.says(MUTE, Said::OrderFinished { order: spec.order, made })
}

fn told(events: &[Event]) -> Option<(u64, u64, LikelyCause)> {
    events.iter().find_map(|event| match event {
        Event::BasesDisagreed { booked, checked, likely, .. } => Some((*booked, *checked, *likely)),
        _ => None,
    })
}

#[test]
fn an_order_that_its_counter_agrees_with_is_no_finding() {
    for counted in [100, 96, 105] {
        let events = finished(ordered(400, 4, 1), counted, None);
        assert_eq!(names(&events), ["strokes-checked", "order-finished"], "{counted}");
    }
}

#[test]
fn what_differs_is_told_with_its_likely_cause() {
    let cases = [
        (ordered(400, 1, 1), 800, None, LikelyCause::DoublePrint),
        (ordered(400, 1, 1), 1_200, None, LikelyCause::DoublePrint),
        (ordered(400, 4, 1), 400, None, LikelyCause::WrongPanelFactor),
        (ordered(400, 4, 1), 25, None, LikelyCause::WrongPanelFactor),
        (ordered(400, 1, 1), 100, None, LikelyCause::WrongPanelFactor),
        (ordered(400, 1, 1), 140, None, LikelyCause::OrderScrapped),
        (ordered(400, 1, 1), 0, None, LikelyCause::Silent),
        (ordered(400, 1, 1), 560, None, LikelyCause::Unknown),
    ];
    for (spec, counted, made, likely) in cases {
        let expected = spec.strokes_for(400);
        let events = finished(spec.clone(), counted, made);
        assert_eq!(told(&events), Some((counted, expected, likely)), "{spec:?} {counted}");
        let last = names(&events);
        assert_eq!(last.last().map(String::as_str), Some("order-finished"));
    }
}

#[test]
fn the_boards_that_were_made_count_not_those_that_were_asked_for() {
    assert_eq!(told(&finished(ordered(400, 1, 1), 140, Some(141))), None);
}

#[test]
fn an_order_that_says_no_quantity_is_not_compared() {
    let spec = OrderSpec { quantity: None, ..ordered(1, 1, 1) };
    assert_eq!(names(&finished(spec, 140, None)), ["order-finished"]);
}

#[test]
fn a_restart_during_the_run_is_named_before_all_else() {
    let mut floor = Floor::of(booked_and_compared(BasisKind::Counter, BasisKind::Order));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.says(MUTE, Said::OrderStarted(ordered(400, 1, 1)));
    floor.after(1_000).says(MUTE, reads(200));
    floor.after(1_000).says(MUTE, reads(100));
    let events = floor.says(MUTE, Said::OrderFinished { order: order("WO-1"), made: None });
    assert_eq!(told(&events), Some((200, 400, LikelyCause::CounterRestarted)));
}

#[test]
fn a_finding_names_the_run() {
    let mut floor = Floor::of(booked_and_compared(BasisKind::Counter, BasisKind::Order));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.at(50).says(MUTE, Said::OrderStarted(ordered(400, 1, 1)));
    floor.at(10_000).does(&seat("B", MUTE));
    let events = floor.says(MUTE, Said::OrderFinished { order: order("WO-1"), made: None });
    assert!(
        matches!(&events[1], Event::BasesDisagreed { machine: printer, stencils, order, since, checked_by, .. }
        if *printer == machine(MUTE) && *stencils == [code("A"), code("B")]
        && order.as_ref().is_some_and(|order| order.as_str() == "WO-1")
        && *since == at(50) && *checked_by == BasisKind::Order)
    );
}

/// Without orders a run lasts as long as one stencil is in the printer.
#[test]
fn without_orders_the_bases_are_compared_when_the_stencil_leaves() {
    for (pulsed, expected) in [
        (47, None),
        (20, Some((50, 20, LikelyCause::Unknown))),
        (0, Some((50, 0, LikelyCause::Silent))),
    ] {
        let mut floor = Floor::of(booked_and_compared(BasisKind::Counter, BasisKind::Pulses));
        floor.says(MUTE, reads(100));
        floor.says(SCANNER, pulses(10));
        floor.does(&seat("A", MUTE));
        floor.says(MUTE, reads(100));
        floor.says(SCANNER, pulses(10));
        floor.after(1_000).says(MUTE, reads(150));
        floor.says(SCANNER, pulses(10 + pulsed));
        let before = floor.ledger.len();
        floor.does(&remove(MUTE));
        let events: Vec<Event> =
            floor.ledger[before..].iter().map(|r| r.fact.event.clone()).collect();
        assert_eq!(told(&events), expected, "{pulsed} pulses");
        let before = floor.ledger.len();
        floor.does(&seat("B", MUTE));
        floor.does(&remove(MUTE));
        let again: Vec<Event> =
            floor.ledger[before..].iter().map(|r| r.fact.event.clone()).collect();
        assert_eq!(told(&again), None, "a new run begins with nothing");
    }
}

#[test]
fn a_link_that_was_down_is_a_likely_cause() {
    let mut floor = Floor::of(booked_and_compared(BasisKind::Reported, BasisKind::Pulses));
    floor.says(MUTE, link_up());
    floor.says(SCANNER, pulses(10));
    floor.does(&seat("A", MUTE));
    floor.says(SCANNER, pulses(10));
    floor.says(MUTE, strokes(10));
    floor.says(MUTE, link_lost());
    floor.after(60).says(MUTE, link_up());
    floor.after(1_000).says(SCANNER, pulses(40));
    let before = floor.ledger.len();
    floor.does(&remove(MUTE));
    let events: Vec<Event> = floor.ledger[before..].iter().map(|r| r.fact.event.clone()).collect();
    assert_eq!(told(&events), Some((10, 30, LikelyCause::NotHeard)));
}

#[test]
fn a_difference_must_exceed_both_tolerances() {
    let tolerance = Tolerance { strokes: 5, share: Share::percent(2) };
    assert!(!tolerance.exceeded(100, 105), "no more than five strokes");
    assert!(tolerance.exceeded(100, 106));
    assert!(!tolerance.exceeded(1_000, 1_020), "no more than two per cent of the larger");
    assert!(tolerance.exceeded(1_021, 1_000));
    assert!(tolerance.exceeded(u64::MAX, 0));
    assert!(!tolerance.exceeded(u64::MAX, u64::MAX));
}

#[test]
fn a_run_is_in_the_ledger_and_survives_a_restart() {
    let mut floor = Floor::of(booked_and_compared(BasisKind::Counter, BasisKind::Order));
    floor.says(MUTE, link_up());
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.says(MUTE, Said::OrderStarted(ordered(400, 1, 1)));
    floor.after(5_000).says(MUTE, reads(300));
    floor.restart_after(60);
    floor.says(MUTE, link_up());
    floor.says(MUTE, reads(312));
    let events = floor.says(MUTE, Said::OrderFinished { order: order("WO-1"), made: None });
    assert_eq!(told(&events), Some((212, 400, LikelyCause::NotHeard)));
}

#[test]
fn an_order_that_starts_ends_the_one_before() {
    let mut floor = Floor::of(booked_and_compared(BasisKind::Counter, BasisKind::Order));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.says(MUTE, Said::OrderStarted(ordered(400, 1, 1)));
    let next = OrderSpec { order: order("WO-2"), ..ordered(10, 1, 1) };
    let events = floor.after(10).says(MUTE, Said::OrderStarted(next));
    let expected = ["strokes-checked", "bases-disagreed", "order-finished", "order-started"];
    assert_eq!(names(&events), expected);
    assert!(floor.machine(MUTE).works_on(&order("WO-2")));
}
