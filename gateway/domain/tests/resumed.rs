//! Sessions that a broker resumes: what machines said meanwhile comes late, but it comes.

mod common;

use common::breaks::{LONG, broken, counting, unattributed};
use common::floor::Floor;
use common::plant::{MUTE, NAMER};
use common::words::{link_lost, link_resumed, link_up, reports, seat, seated, strokes};

/// The broker kept all that the machine said: nothing was missed, however long it took.
#[test]
fn a_resumed_session_needs_no_confirmation() {
    for restart in [false, true] {
        let mut floor = counting(NAMER);
        floor.says(NAMER, reports(100));
        if restart {
            floor.restart_after(LONG);
        } else {
            floor.says(NAMER, link_lost());
            floor.after(LONG).tick();
        }
        floor.says(NAMER, link_resumed());
        for raw in 101..=110 {
            floor.says(NAMER, reports(raw));
        }
        floor.says(NAMER, seated("B"));
        for raw in 111..=115 {
            floor.says(NAMER, reports(raw));
        }
        assert_eq!((floor.strokes("A"), floor.strokes("B")), (10, 5), "restart: {restart}");
        assert_eq!(unattributed(&floor, NAMER), 0);
    }
}

#[test]
fn a_resumed_session_does_not_confirm_what_was_unsure_before_it() {
    let mut floor = broken(NAMER, false, LONG);
    floor.says(NAMER, link_lost());
    floor.after(5).says(NAMER, link_resumed());
    assert_eq!(floor.against_printing(NAMER), ["seat-unconfirmed"]);
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, link_lost());
    floor.after(LONG).says(NAMER, link_resumed());
    assert_eq!(floor.against_printing(NAMER), [""; 0]);
}

#[test]
fn neither_does_a_restart_with_a_resumed_session() {
    let mut floor = broken(NAMER, false, LONG);
    floor.restart_after(5);
    floor.says(NAMER, link_resumed());
    assert_eq!(floor.against_printing(NAMER), ["seat-unconfirmed"]);
}

/// A broker keeps what machines say, not what people would have scanned.
#[test]
fn a_resumed_session_says_nothing_of_what_only_scans_tell() {
    for restart in [false, true] {
        let mut floor = counting(MUTE);
        if restart {
            floor.restart_after(LONG);
        } else {
            floor.says(MUTE, link_lost());
            floor.after(LONG);
        }
        floor.says(MUTE, link_resumed());
        assert!(floor.against_printing(MUTE).contains(&"seat-unconfirmed"));
    }
}

/// The broker kept a stroke; before it is delivered, the next stencil is scanned in.
#[test]
fn a_scan_may_overtake_messages_that_wait() {
    for said in [reports(101), strokes(1)] {
        let mut floor = counting(MUTE);
        floor.says(MUTE, reports(100));
        floor.says(MUTE, link_lost());
        floor.after(30).does(&seat("B", MUTE));
        floor.says(MUTE, link_resumed());
        floor.says(MUTE, said);
        assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 0));
        assert_eq!(unattributed(&floor, MUTE), 1);
        floor.after(10).says(MUTE, strokes(1));
        assert_eq!(floor.strokes("B"), 1, "what comes later did not wait");
    }
}

/// A stroke message that came before the machine named another stencil.
#[test]
fn a_report_that_waited_is_not_the_new_stencils() {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.bring("A", NAMER);
    floor.says(NAMER, reports(100));
    floor.says(NAMER, link_lost());
    floor.after(LONG).says(NAMER, link_up());
    floor.says(NAMER, reports(101));
    floor.says(NAMER, seated("B"));
    assert_eq!((floor.strokes("A"), floor.strokes("B"), unattributed(&floor, NAMER)), (0, 0, 1));
    floor.after(5).says(NAMER, reports(102));
    assert_eq!(floor.strokes("B"), 1);
}
