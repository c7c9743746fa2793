//! Whose strokes: the stencil that was seated from one read to the next, or nobody's.

mod common;

use common::floor::{Floor, names};
use common::plant::{MUTE, NAMER, WASHER};
use common::words::{code, link_up, reads, reports, seat, seated, strokes, washed};
use stencilward_domain::event::{Event, Noted, WhyUnattributed};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Said;

/// Why the strokes among these events are nobody's, how many, and who may have made them.
fn nobodys(events: &[Event]) -> Option<(WhyUnattributed, u64, Vec<StencilCode>)> {
    events.iter().find_map(|event| match event {
        Event::StrokesUnattributed { why, count, candidates, .. } => {
            Some((*why, *count, candidates.clone()))
        }
        _ => None,
    })
}

fn counting() -> Floor {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.bring("A", NAMER);
    floor.says(NAMER, reads(100));
    floor.at(60);
    floor
}

#[test]
fn the_only_stencil_between_two_reads_made_them() {
    let mut floor = counting();
    floor.says(NAMER, reads(105));
    assert_eq!((floor.strokes("A"), floor.machine(NAMER).booked), (5, 5));
}

#[test]
fn a_stencil_that_was_changed_between_two_reads_leaves_them_to_nobody() {
    let mut floor = counting();
    floor.says(NAMER, seated("B"));
    let events = floor.says(NAMER, reads(105));
    let both = vec![code("A"), code("B")];
    assert_eq!(nobodys(&events), Some((WhyUnattributed::ChangedMeanwhile, 5, both)));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 0));
    assert_eq!(floor.machine(NAMER).unattributed, 5);
    floor.at(120).says(NAMER, reads(107));
    assert_eq!(floor.strokes("B"), 2);
}

#[test]
fn an_unchanged_read_after_the_change_settles_it() {
    let mut floor = counting();
    floor.says(NAMER, seated("B"));
    let noted = floor.says(NAMER, reads(100));
    assert!(matches!(noted[..], [Event::CounterNoted { why: Noted::SeatChanged, .. }]));
    floor.at(120).says(NAMER, reads(105));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 5));
}

#[test]
fn a_stencil_that_was_taken_out_made_what_was_made_before() {
    let mut floor = counting();
    floor.says(NAMER, Said::Removed);
    floor.says(NAMER, reads(105));
    assert_eq!(floor.strokes("A"), 5);
    let events = floor.at(120).says(NAMER, reads(107));
    assert_eq!(nobodys(&events), Some((WhyUnattributed::NothingSeated, 2, Vec::new())));
}

#[test]
fn a_stencil_that_was_put_in_made_what_was_made_since() {
    let mut floor = counting();
    floor.says(NAMER, Said::Removed);
    floor.says(NAMER, reads(100));
    floor.says(NAMER, seated("B"));
    floor.at(120).says(NAMER, reads(105));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 5));
}

#[test]
fn two_changes_leave_three_that_may_have_made_them() {
    let mut floor = counting();
    floor.says(NAMER, seated("B"));
    floor.says(NAMER, Said::Removed);
    floor.says(NAMER, seated("C"));
    let events = floor.says(NAMER, reads(105));
    let three = vec![code("A"), code("B"), code("C")];
    assert_eq!(nobodys(&events), Some((WhyUnattributed::ChangedMeanwhile, 5, three)));
}

#[test]
fn a_machine_that_speaks_after_each_stroke_means_the_stencil_that_is_in_now() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, reports(100));
    floor.at(60).says(NAMER, seated("B"));
    floor.says(NAMER, reports(101));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 1));
    floor.at(120).says(NAMER, seated("A"));
    let two = floor.says(NAMER, reports(103));
    assert_eq!(nobodys(&two).map(|n| n.1), Some(2), "one message was lost: whose stroke was it?");
}

#[test]
fn nothing_seated_and_an_unlisted_code_are_nobodys() {
    let mut floor = Floor::new();
    let nothing = floor.says(NAMER, strokes(3));
    assert_eq!(nobodys(&nothing), Some((WhyUnattributed::NothingSeated, 3, Vec::new())));
    floor.says(NAMER, seated("X"));
    let unlisted = floor.says(NAMER, strokes(4));
    assert_eq!(nobodys(&unlisted), Some((WhyUnattributed::UnknownStencil, 4, vec![code("X")])));
    assert_eq!(floor.machine(NAMER).unattributed, 7);
}

#[test]
fn a_clean_stencil_that_may_have_printed_counts_as_printed() {
    let mut floor = counting();
    floor.says(NAMER, seated("B"));
    floor.says(NAMER, reads(105));
    let words = |floor: &Floor| ["A", "B", "C"].map(|name| floor.cleanliness(name).as_str());
    assert_eq!(words(&floor), ["printed", "printed", "clean"]);
    floor.says(WASHER, washed("A"));
    assert_eq!(words(&floor), ["clean", "printed", "clean"]);
}

#[test]
fn a_printer_that_cannot_say_is_told_by_scans() {
    let mut floor = Floor::new();
    floor.says(MUTE, link_up());
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.at(60).says(MUTE, reads(105));
    floor.does(&seat("B", MUTE));
    floor.says(MUTE, reads(105));
    floor.at(120).says(MUTE, reads(108));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (5, 3));
}

#[test]
fn a_scan_of_the_same_stencil_changes_nothing() {
    let mut floor = Floor::new();
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, reads(100));
    floor.does(&seat("A", MUTE));
    floor.at(60).says(MUTE, reads(105));
    assert_eq!(floor.strokes("A"), 5);
}

#[test]
fn what_two_printers_say_of_one_code_is_booked_for_both() {
    let mut floor = counting();
    floor.says(common::plant::NAMER_2, seated("A"));
    floor.says(common::plant::NAMER_2, strokes(2));
    floor.says(NAMER, reads(105));
    assert_eq!(floor.strokes("A"), 7);
}

#[test]
fn the_stencils_of_a_gap_survive_a_restart() {
    let mut floor = counting();
    floor.says(NAMER, seated("B"));
    floor.restart_after(1);
    floor.says(NAMER, link_up());
    floor.says(NAMER, seated("B"));
    let events = floor.after(60).says(NAMER, reads(105));
    assert_eq!(names(&events).first().map(String::as_str), Some("strokes-unattributed"));
}
