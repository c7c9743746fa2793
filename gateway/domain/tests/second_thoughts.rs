//! What people find out later: nothing is edited, and every number still adds up.

mod common;

use common::floor::{Floor, names};
use common::plant::{MUTE, NAMER, RACK, RATED, WASHER};
use common::words::{code, grant, machine, retire, seated, strokes, washed};
use stencilward_domain::event::{Event, Position};
use stencilward_domain::site::{Correction, Reply, Request, Wrong};
use stencilward_domain::state::State;

/// Strokes that A or B made: changed between two reads.
fn either(floor: &mut Floor) -> Position {
    floor.bring("A", NAMER);
    floor.says(NAMER, common::words::reads(100));
    floor.says(NAMER, seated("B"));
    floor.after(600).says(NAMER, common::words::reads(110));
    let open = floor.last(|event| matches!(event, Event::StrokesUnattributed { .. }));
    open.expect("strokes left open")
}

fn assign(of: Position, shares: &[(&str, u64)], write_off: u64) -> Request {
    Request::Assign {
        of,
        shares: shares.iter().map(|(name, count)| (code(name), *count)).collect(),
        write_off,
        by: "M. Example".to_owned(),
        why: "the line's book says so".to_owned(),
    }
}

fn correct(floor: &mut Floor, of: Position, what: Wrong) -> Reply {
    let found = floor.ledger.iter().find(|recorded| recorded.position == of);
    let original = found.expect("an event").clone();
    let correction =
        Correction { what, by: "M. Example".to_owned(), why: "counted by hand".to_owned() };
    let reply = floor.site.correct(&original, &correction, floor.now);
    floor.ledger.extend(floor.site.take_fresh());
    reply
}

fn shares(shares: &[(&str, u64)]) -> Wrong {
    Wrong::Strokes(shares.iter().map(|(name, count)| (code(name), *count)).collect())
}

fn refused(reply: &Reply) -> &str {
    match reply {
        Reply::Refused(why) => why,
        other => unreachable!("not refused: {other:?}"),
    }
}

/// The state that the ledger alone gives is the site's.
fn replays(floor: &Floor) {
    let mut state = State::default();
    for recorded in &floor.ledger {
        state.apply(recorded);
    }
    assert_eq!(state, *floor.site.state());
}

#[test]
fn strokes_are_split_between_those_who_made_them_and_nobody() {
    let mut floor = Floor::new();
    let of = either(&mut floor);
    let open = floor.site.state().unattributed.get(&of).unwrap().clone();
    assert_eq!((open.left, open.candidates), (10, vec![code("A"), code("B")]));
    assert_eq!(open.until.since(open.since).as_secs(), 600);
    floor.does(&assign(of, &[("A", 6), ("B", 1)], 0));
    floor.does(&assign(of, &[], 2));
    let known = floor.machine(NAMER);
    assert_eq!((known.booked, known.unattributed, known.written_off), (7, 1, 2));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (6, 1));
    floor.does(&assign(of, &[("C", 1)], 0));
    assert!(floor.site.state().unattributed.is_empty());
    assert_eq!(floor.machine(NAMER).unattributed, 0);
    replays(&floor);
}

#[test]
fn no_stroke_is_assigned_twice_and_no_word_is_taken_for_nothing() {
    let mut floor = Floor::new();
    let of = either(&mut floor);
    let too_many = floor.ask(&assign(of, &[("A", 6), ("B", 4)], 1));
    assert_eq!(refused(&too_many), "11 strokes are more than the 10 left open");
    assert!(refused(&floor.ask(&assign(of, &[("A", u64::MAX), ("B", 2)], 0))).contains("more"));
    assert!(refused(&floor.ask(&assign(of, &[("A", 0)], 0))).starts_with("nothing is assigned"));
    assert!(refused(&floor.ask(&assign(of, &[("X", 1)], 0))).contains("no stencil X"));
    assert!(refused(&floor.ask(&assign(Position(1), &[("A", 1)], 0))).contains("no strokes of"));
    floor.does(&assign(of, &[("A", 10)], 0));
    assert!(refused(&floor.ask(&assign(of, &[("A", 1)], 0))).contains("open"));
    assert_eq!(floor.strokes("A"), 10);
}

#[test]
fn strokes_assigned_after_a_wash_do_not_undo_it() {
    let mut floor = Floor::new();
    let of = either(&mut floor);
    floor.says(NAMER, seated("C"));
    floor.says(WASHER, washed("A"));
    assert_eq!(floor.cleanliness("A").as_str(), "clean");
    floor.does(&assign(of, &[("A", 10)], 0));
    let stencil = floor.stencil("A");
    assert_eq!((stencil.strokes, stencil.strokes_since_wash), (10, 0));
    assert_eq!(floor.cleanliness("A").as_str(), "clean");
    floor.says(RACK, common::words::occupied("1", Some("A")));
    assert!(floor.site.is_stored(&code("A")));
}

#[test]
fn a_stencil_nobody_thought_of_is_printed_once_strokes_are_assigned_to_it() {
    let mut floor = Floor::new();
    let of = either(&mut floor);
    assert_eq!(floor.cleanliness("C").as_str(), "clean");
    floor.does(&assign(of, &[("C", 10)], 0));
    assert_eq!(floor.cleanliness("C").as_str(), "printed");
    let since = floor.stencil("C").last_stroke.clone().unwrap().since;
    assert_eq!(since, floor.now, "as late as they can have been made");
}

#[test]
fn strokes_assigned_may_wear_it_out() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(RATED - 20));
    floor.says(NAMER, common::words::reads(100));
    floor.says(NAMER, seated("B"));
    floor.after(600).says(NAMER, common::words::reads(110));
    let of = floor.last(|event| matches!(event, Event::StrokesUnattributed { .. })).unwrap();
    floor.does(&assign(of, &[("A", 10)], 0));
    assert_eq!(floor.stencil("A").band.value.as_str(), "stopped");
    replays(&floor);
}

#[test]
fn strokes_entered_by_hand_are_booked_with_who_and_why() {
    let mut floor = Floor::new();
    let enter = |stencil: &str, at: &str, strokes| Request::Enter {
        stencil: code(stencil),
        machine: machine(at),
        strokes,
        by: "M. Example".to_owned(),
        why: "hand printed".to_owned(),
    };
    floor.does(&enter("A", MUTE, 12));
    assert_eq!((floor.strokes("A"), floor.cleanliness("A").as_str()), (12, "printed"));
    let last = floor.last(|event| matches!(event, Event::StrokesBooked { .. })).unwrap();
    let line = serde_json::to_string(&floor.ledger[last.0 as usize - 1]).unwrap();
    assert!(line.contains(r#""basis":"hand","by":"M. Example","reason":"hand printed""#), "{line}");
    assert!(refused(&floor.ask(&enter("A", MUTE, 0))).contains("no strokes"));
    let slip = 10 * RATED + 1;
    assert!(refused(&floor.ask(&enter("A", MUTE, slip))).contains("check the number"));
    assert!(refused(&floor.ask(&enter("A", WASHER, 1))).contains("no printer"));
    assert!(refused(&floor.ask(&enter("X", MUTE, 1))).contains("no stencil X"));
}

#[test]
fn a_booking_is_corrected_by_an_event_that_refers_to_it() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(100));
    let booking = floor.last(|event| matches!(event, Event::StrokesBooked { .. })).unwrap();
    assert!(matches!(correct(&mut floor, booking, shares(&[("A", 90)])), Reply::Done(_)));
    assert_eq!((floor.strokes("A"), floor.machine(NAMER).booked), (90, 90));
    assert!(matches!(
        correct(&mut floor, booking, shares(&[("A", 40), ("B", 60)])),
        Reply::Done(_)
    ));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (40, 60));
    assert_eq!(floor.machine(NAMER).booked, 100);
    assert_eq!(floor.cleanliness("B").as_str(), "printed");
    let again = correct(&mut floor, booking, shares(&[("B", 100)]));
    assert!(matches!(again, Reply::Done(_)));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (0, 100));
    let written: Vec<(Position, u64, u64)> = floor
        .ledger
        .iter()
        .filter_map(|recorded| match &recorded.fact.event {
            Event::StrokesCorrected { corrects, was, is, .. } => Some((*corrects, *was, *is)),
            _ => None,
        })
        .collect();
    let steps = [(100, 90), (90, 40), (0, 60), (40, 0), (60, 100)];
    assert_eq!(written, steps.map(|(was, is)| (booking, was, is)));
    assert!(floor.ledger.iter().any(|recorded| recorded.position == booking
        && matches!(recorded.fact.event, Event::StrokesBooked { count: 100, .. })));
    replays(&floor);
}

#[test]
fn a_correction_that_changes_nothing_writes_nothing() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(100));
    let booking = floor.last(|event| matches!(event, Event::StrokesBooked { .. })).unwrap();
    let before = floor.ledger.len();
    correct(&mut floor, booking, shares(&[("A", 60), ("A", 40)]));
    assert_eq!(floor.ledger.len(), before);
}

#[test]
fn a_starting_count_is_corrected_for_its_own_stencil_only() {
    let mut floor = Floor::new();
    let registered = floor
        .last(|event| matches!(event, Event::StencilRegistered { spec, .. } if spec.stencil == code("A")))
        .unwrap();
    correct(&mut floor, registered, shares(&[("A", 850)]));
    assert_eq!(floor.strokes("A"), 850);
    assert_eq!(floor.stencil("A").band.value.as_str(), "reorder");
    let other = correct(&mut floor, registered, shares(&[("B", 850)]));
    assert!(refused(&other).contains("no other stencil's"));
    correct(&mut floor, registered, shares(&[("A", 0)]));
    assert_eq!(floor.stencil("A").band.value.as_str(), "in-service");
}

#[test]
fn what_books_no_strokes_is_not_corrected() {
    let mut floor = Floor::new();
    let started = floor.last(|event| matches!(event, Event::GatewayStarted { .. })).unwrap();
    let reply = correct(&mut floor, started, shares(&[("A", 1)]));
    assert!(refused(&reply).contains("books no strokes"));
    assert!(refused(&correct(&mut floor, started, Wrong::Wash)).contains("no wash"));
}

#[test]
fn a_correction_gives_a_concession_back_what_it_did_not_use() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(RATED));
    floor.does(&grant("A", 50, None));
    floor.says(NAMER, strokes(50));
    assert_eq!(floor.against_printing(NAMER), ["concession-used-up"]);
    let booking =
        floor.last(|event| matches!(event, Event::StrokesBooked { count: 50, .. })).unwrap();
    correct(&mut floor, booking, shares(&[("A", 30)]));
    assert_eq!(floor.against_printing(NAMER), Vec::<&str>::new());
    assert!(floor.may_print(NAMER), "outputs follow at once");
}

#[test]
fn a_wash_that_was_none_leaves_the_stencil_unknown() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(5));
    floor.says(NAMER, stencilward_domain::signal::Said::Removed);
    floor.says(WASHER, washed("A"));
    let wash = floor.last(|event| matches!(event, Event::WashEnded { .. })).unwrap();
    assert!(matches!(correct(&mut floor, wash, Wrong::Wash), Reply::Done(_)));
    assert_eq!((floor.cleanliness("A").as_str(), floor.stencil("A").washes), ("unknown", 0));
    assert!(refused(&correct(&mut floor, wash, Wrong::Wash)).contains("already"));
    assert_eq!(floor.stencil("A").washes, 0);
    floor.says(WASHER, washed("A"));
    assert_eq!((floor.cleanliness("A").as_str(), floor.stencil("A").washes), ("clean", 1));
    replays(&floor);
}

#[test]
fn an_earlier_wash_that_was_none_does_not_touch_the_present_state() {
    let mut floor = Floor::new();
    floor.says(WASHER, washed("A"));
    let first = floor.last(|event| matches!(event, Event::WashEnded { .. })).unwrap();
    floor.stock("A", "1");
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(5));
    floor.says(NAMER, stencilward_domain::signal::Said::Removed);
    floor.says(WASHER, washed("A"));
    correct(&mut floor, first, Wrong::Wash);
    assert_eq!((floor.cleanliness("A").as_str(), floor.stencil("A").washes), ("clean", 1));
}

#[test]
fn a_retired_stencil_is_still_corrected() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(5));
    let booking = floor.last(|event| matches!(event, Event::StrokesBooked { .. })).unwrap();
    floor.does(&retire("A"));
    correct(&mut floor, booking, shares(&[("A", 4)]));
    assert_eq!(floor.strokes("A"), 4);
}

#[test]
fn stencils_come_in_with_their_starting_count_and_its_source() {
    let mut floor = Floor::new();
    let (_, mut entry) = common::plant::listed("N-1", false);
    entry.starting_strokes = 810;
    entry.source = "the old card file".to_owned();
    let (_, known) = common::plant::listed("A", true);
    floor.does(&Request::TakeIn { entries: vec![entry.clone(), known] });
    assert_eq!(floor.strokes("N-1"), 810);
    let last: Vec<Event> =
        floor.ledger.iter().rev().take(2).map(|r| r.fact.event.clone()).collect();
    assert_eq!(names(&last), ["wear-band-entered", "stencil-registered"], "A changes nothing");
    assert!(matches!(&last[1], Event::StencilRegistered { source, .. } if *source == entry.source));
    entry.spec.rated_strokes = 2_000;
    entry.starting_strokes = 0;
    floor.does(&Request::TakeIn { entries: vec![entry] });
    assert_eq!(
        (floor.strokes("N-1"), floor.stencil("N-1").band.value.as_str()),
        (810, "in-service")
    );
}
