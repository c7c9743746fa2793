//! Broken links and restarts: who may be believed to be in the printer still.

mod common;

use common::breaks::{LONG, SHORT, broken, counting, unattributed};
use common::floor::Floor;
use common::plant::{MUTE, NAMER};
use common::words::{at, link_lost, link_up, reads, remove, seat, seated, strokes};
use stencilward_domain::event::{Event, WhyUnattributed};
use stencilward_domain::machine::LinkState;
use stencilward_domain::signal::Said;

fn last_why(floor: &Floor) -> Option<WhyUnattributed> {
    floor.ledger.iter().rev().find_map(|recorded| match recorded.fact.event {
        Event::StrokesUnattributed { why, .. } => Some(why),
        _ => None,
    })
}

#[test]
fn the_same_stencil_confirmed_made_them() {
    for restart in [false, true] {
        for seconds in [SHORT, LONG] {
            let mut floor = broken(NAMER, restart, seconds);
            floor.says(NAMER, reads(110));
            assert_eq!(floor.strokes("A"), 0, "waits for the machine's word");
            floor.says(NAMER, seated("A"));
            assert_eq!(floor.strokes("A"), 10, "restart: {restart}, {seconds} s");
        }
    }
}

#[test]
fn another_stencil_named_leaves_them_to_nobody() {
    for restart in [false, true] {
        for seconds in [SHORT, LONG] {
            let mut floor = broken(NAMER, restart, seconds);
            floor.says(NAMER, reads(110));
            floor.says(NAMER, seated("B"));
            assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 0));
            assert_eq!(unattributed(&floor, NAMER), 10);
            assert_eq!(last_why(&floor), Some(WhyUnattributed::ChangedMeanwhile));
            floor.after(60).says(NAMER, reads(112));
            assert_eq!(floor.strokes("B"), 2);
        }
    }
}

/// In an hour, a third stencil may have come and gone.
#[test]
fn a_stencil_that_came_or_went_in_a_long_break_did_not_make_them_for_certain() {
    for restart in [false, true] {
        for named_first in [false, true] {
            let mut gone = broken(NAMER, restart, LONG);
            tell(&mut gone, named_first, Said::Removed);
            assert_eq!((gone.strokes("A"), unattributed(&gone, NAMER)), (0, 10));
            let mut came = counting(NAMER);
            came.says(NAMER, Said::Removed);
            came.says(NAMER, reads(100));
            if restart {
                came.restart_after(LONG);
            } else {
                came.says(NAMER, link_lost());
                came.after(LONG);
            }
            came.says(NAMER, link_up());
            tell(&mut came, named_first, seated("B"));
            assert_eq!((came.strokes("B"), unattributed(&came, NAMER)), (0, 10));
            came.after(60).says(NAMER, reads(113));
            assert_eq!(came.strokes("B"), 3, "and from here on it is certain");
        }
    }
}

fn tell(floor: &mut Floor, named_first: bool, named: Said) {
    let words = [named, reads(110)];
    let order = if named_first { [0, 1] } else { [1, 0] };
    for index in order {
        floor.says(NAMER, words[index].clone());
    }
}

#[test]
fn a_machine_that_never_names_its_stencil_is_waited_for_and_then_not_trusted() {
    for restart in [false, true] {
        let mut floor = broken(NAMER, restart, LONG);
        floor.says(NAMER, reads(110));
        floor.after(9).tick();
        assert_eq!(unattributed(&floor, NAMER), 0);
        floor.after(1).tick();
        assert_eq!((floor.strokes("A"), unattributed(&floor, NAMER)), (0, 10));
        assert_eq!(last_why(&floor), Some(WhyUnattributed::SeatUnconfirmed));
        assert!(!floor.may_print(NAMER));
    }
}

#[test]
fn after_a_short_break_it_is_waited_for_and_then_trusted() {
    for restart in [false, true] {
        let mut floor = broken(NAMER, restart, SHORT);
        floor.says(NAMER, reads(110));
        floor.after(10).tick();
        assert_eq!(floor.strokes("A"), 10);
        assert!(floor.may_print(NAMER));
    }
}

#[test]
fn a_read_that_waited_is_given_up_for_a_later_one() {
    for raw in [0, 101] {
        let mut floor = broken(NAMER, false, SHORT);
        floor.says(NAMER, reads(raw));
        floor.after(11).says(NAMER, reads(110));
        floor.tick();
        assert_eq!(floor.strokes("A"), 10);
        let doubts =
            floor.ledger.iter().any(|r| matches!(r.fact.event, Event::CounterDoubted { .. }));
        assert!(!doubts, "the earlier read is not counted after the later one");
    }
}

#[test]
fn a_printer_that_cannot_say_is_trusted_over_a_short_break_only() {
    for restart in [false, true] {
        let mut short = broken(MUTE, restart, SHORT);
        short.says(MUTE, reads(110));
        assert_eq!(short.strokes("A"), 10);
        let mut long = broken(MUTE, restart, LONG);
        assert_eq!(long.against_printing(MUTE), ["seat-unconfirmed", "not-taken"]);
        long.says(MUTE, reads(110));
        assert_eq!((long.strokes("A"), unattributed(&long, MUTE)), (0, 10));
        assert_eq!(last_why(&long), Some(WhyUnattributed::SeatUnconfirmed));
        long.does(&seat("A", MUTE));
        long.after(60).says(MUTE, reads(115));
        assert_eq!(long.strokes("A"), 5);
    }
}

#[test]
fn increments_are_not_trusted_either() {
    let mut floor = broken(MUTE, false, LONG);
    floor.says(MUTE, strokes(4));
    assert_eq!((floor.strokes("A"), unattributed(&floor, MUTE)), (0, 4));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, strokes(4));
    assert_eq!(floor.strokes("A"), 4);
}

#[test]
fn a_restart_does_not_confirm_what_was_unsure_before_it() {
    for printer in [NAMER, MUTE] {
        let mut floor = broken(printer, false, LONG);
        assert!(floor.against_printing(printer).contains(&"seat-unconfirmed"));
        floor.restart_after(5);
        floor.says(printer, link_up());
        assert!(floor.against_printing(printer).contains(&"seat-unconfirmed"));
        floor.after(20).says(printer, reads(104));
        assert_eq!((floor.strokes("A"), unattributed(&floor, printer)), (0, 4), "{printer}");
        floor.does(&seat("A", printer));
        floor.restart_after(5);
        floor.says(printer, link_up());
        assert!(!floor.against_printing(printer).contains(&"seat-unconfirmed"));
    }
}

#[test]
fn two_short_stops_without_a_word_between_are_one_long_one() {
    let mut floor = counting(MUTE);
    floor.restart_after(100);
    floor.restart_after(100);
    floor.says(MUTE, link_up());
    assert!(floor.against_printing(MUTE).contains(&"seat-unconfirmed"));
    let mut floor = counting(MUTE);
    floor.restart_after(100);
    floor.says(MUTE, link_up());
    floor.says(MUTE, reads(100));
    floor.restart_after(100);
    floor.says(MUTE, link_up());
    assert!(!floor.against_printing(MUTE).contains(&"seat-unconfirmed"));
}

#[test]
fn no_link_is_up_until_it_comes_up_again() {
    let mut floor = counting(NAMER);
    floor.after(50).restart_after(5);
    let down = LinkState::Down { why: "the gateway was not running".to_owned(), since: at(50) };
    assert_eq!(floor.machine(NAMER).link, down);
    floor.says(NAMER, link_up());
    assert_eq!(floor.machine(NAMER).link, LinkState::Up);
}

#[test]
fn two_short_breaks_without_a_word_between_are_one_long_one() {
    let mut floor = counting(MUTE);
    floor.says(MUTE, link_lost());
    floor.after(100).says(MUTE, link_up());
    floor.says(MUTE, link_lost());
    floor.after(100).says(MUTE, link_up());
    assert!(floor.against_printing(MUTE).contains(&"seat-unconfirmed"));
    let mut floor = counting(MUTE);
    floor.says(MUTE, link_lost());
    floor.after(100).says(MUTE, link_up());
    floor.says(MUTE, reads(100));
    floor.says(MUTE, link_lost());
    floor.after(100).says(MUTE, link_up());
    assert!(!floor.against_printing(MUTE).contains(&"seat-unconfirmed"));
}

/// The stencil was changed while the link was down, and scanned as it should be.
#[test]
fn a_scan_during_the_break_is_a_confirmation() {
    let mut floor = counting(MUTE);
    floor.says(MUTE, link_lost());
    floor.after(LONG).does(&seat("B", MUTE));
    floor.after(SHORT).says(MUTE, link_up());
    assert!(!floor.against_printing(MUTE).contains(&"seat-unconfirmed"));
    floor.says(MUTE, reads(110));
    assert_eq!(unattributed(&floor, MUTE), 10);
    floor.after(60).says(MUTE, reads(112));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 2));
}

#[test]
fn a_scan_out_during_a_long_break_confirms_that_nothing_is_in() {
    let mut floor = broken(MUTE, false, LONG);
    floor.does(&remove(MUTE));
    floor.says(MUTE, reads(110));
    assert_eq!((floor.strokes("A"), unattributed(&floor, MUTE)), (0, 10));
}

#[test]
fn a_clock_put_back_does_not_make_a_long_break_short() {
    let mut floor = counting(MUTE);
    floor.at(LONG).says(MUTE, reads(100));
    floor.says(MUTE, link_lost());
    floor.at(60).says(MUTE, link_up());
    assert!(floor.against_printing(MUTE).contains(&"seat-unconfirmed"));
    let mut floor = counting(MUTE);
    floor.at(LONG).says(MUTE, reads(101));
    floor.at(60).start_again();
    floor.says(MUTE, link_up());
    assert!(floor.against_printing(MUTE).contains(&"seat-unconfirmed"));
    let mut floor = counting(MUTE);
    floor.at(LONG).says(MUTE, reads(100));
    floor.says(MUTE, link_lost());
    floor.at(LONG - 2).says(MUTE, link_up());
    assert!(
        !floor.against_printing(MUTE).contains(&"seat-unconfirmed"),
        "a second or two is no step"
    );
}

#[test]
fn links_are_noted_when_they_change() {
    let mut floor = Floor::new();
    let count = |floor: &Floor, up: bool| {
        let events = floor.ledger.iter().map(|recorded| &recorded.fact.event);
        let wanted = |event: &&Event| match event {
            Event::MachineUp { .. } => up,
            Event::MachineDown { .. } => !up,
            _ => false,
        };
        events.filter(wanted).count()
    };
    for _ in 0..3 {
        floor.says(NAMER, link_up());
    }
    for _ in 0..3 {
        floor.says(NAMER, link_lost());
    }
    assert_eq!((count(&floor, true), count(&floor, false)), (1, 1));
    let mut never = Floor::new();
    never.says(NAMER, link_lost());
    assert_eq!(count(&never, false), 1, "also when the first attempt fails");
}

/// Found by a simulated year: a restart forgot that a stencil had come back unseen.
#[test]
fn what_changed_unseen_is_still_known_after_a_restart() {
    let mut floor = Floor::new();
    floor.says(MUTE, link_up());
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.says(MUTE, link_lost());
    floor.after(5_000).says(MUTE, link_up());
    floor.does(&remove(MUTE));
    floor.does(&seat("A", MUTE));
    floor.restart_after(5);
    floor.says(MUTE, link_up());
    let events = floor.says(MUTE, reads(285));
    assert!(matches!(events[..], [Event::StrokesUnattributed { count: 185, .. }]));
    let next = floor.after(600).says(MUTE, reads(290));
    assert!(matches!(next[..], [Event::StrokesBooked { count: 5, .. }]));
}

/// Found by a simulated year: a printer thought empty, and not read since, is unsure after a
/// restart too.
#[test]
fn strokes_after_a_removal_that_no_read_followed_are_nobodys() {
    let mut floor = Floor::new();
    floor.says(MUTE, link_up());
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.says(MUTE, link_lost());
    floor.after(1_000).does(&remove(MUTE));
    floor.after(1_000).says(MUTE, link_up());
    floor.restart_after(5);
    floor.says(MUTE, link_up());
    let events = floor.says(MUTE, reads(202));
    assert!(matches!(events[0], Event::StrokesUnattributed { count: 102, .. }), "{events:?}");
}
