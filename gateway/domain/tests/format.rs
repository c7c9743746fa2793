//! The ledger's format: one golden line for each kind of event. A line that changes means that
//! ledgers already written can no longer be read: add a kind, never change one.

mod common;

use common::samples::{alarm_samples, ordinal, people_samples, samples};
use common::words::at;
use proptest::prelude::*;
use stencilward_domain::event::{Event, Fact, Position, Recorded};
use stencilward_domain::signal::{Measurement, WashOutcome};
use stencilward_domain::time::Timestamp;

const GOLDEN: &str = include_str!("fixtures/events.jsonl");
const ALARMS: &str = include_str!("fixtures/alarms.jsonl");
const PEOPLE: &str = include_str!("fixtures/people.jsonl");

fn recorded(position: u64, event: Event) -> Recorded {
    let fact = Fact {
        at: at(i64::try_from(position).expect("a small number")),
        machine_time: position.is_multiple_of(2).then(|| at(0)),
        happened: None,
        identity: position.is_multiple_of(3).then(|| "namer/strokes-done/17".to_owned()),
        sender: None,
        asked_with: None,
        event,
    };
    Recorded { position: Position(position), fact }
}

fn all() -> Vec<Recorded> {
    let numbered = (1..).zip(samples());
    numbered.map(|(place, event)| recorded(place, event)).collect()
}

#[test]
fn there_is_one_sample_of_each_kind() {
    let kinds: Vec<usize> = samples().iter().map(ordinal).collect();
    assert_eq!(kinds, (0..52).collect::<Vec<_>>());
}

/// Alarm events are one kind of event with many changes: each has its line, too.
#[test]
fn each_change_of_an_alarm_is_written_as_it_always_was() {
    written_as_always(ALARMS, alarm_samples().into_iter().map(Event::Alarm).collect());
}

#[test]
fn each_event_of_people_is_written_as_it_always_was() {
    written_as_always(PEOPLE, people_samples().into_iter().map(Event::People).collect());
}

fn written_as_always(golden: &str, events: Vec<Event>) {
    let written: Vec<String> =
        events.iter().map(|event| serde_json::to_string(event).expect("becomes JSON")).collect();
    let golden: Vec<&str> = golden.lines().collect();
    assert_eq!(written, golden, "{}", written.join("\n"));
    for (line, event) in golden.iter().zip(events) {
        assert_eq!(serde_json::from_str::<Event>(line).expect("can be read"), event);
    }
}

#[test]
fn each_kind_is_written_as_it_always_was() {
    let written: Vec<String> = all()
        .iter()
        .map(|recorded| serde_json::to_string(recorded).expect("becomes JSON"))
        .collect();
    let golden: Vec<&str> = GOLDEN.lines().collect();
    for (line, known) in written.iter().zip(&golden) {
        assert_eq!(line, known);
    }
    assert_eq!(written.len(), golden.len(), "{}", written.join("\n"));
}

#[test]
fn each_kind_is_read_back_as_it_was_written() {
    for (line, expected) in GOLDEN.lines().zip(all()) {
        let read: Recorded = serde_json::from_str(line).expect("can be read");
        assert_eq!(read, expected);
    }
}

#[test]
fn names_are_kebab_case_and_unique() {
    let names = common::floor::names(&samples());
    for name in &names {
        let good = name.chars().all(|c| c.is_ascii_lowercase() || c == '-');
        assert!(good, "{name}");
    }
    let unique: std::collections::BTreeSet<&String> = names.iter().collect();
    assert_eq!(unique.len(), names.len());
}

/// A reader must go on reading ledgers of a newer gateway's fields, and old ones without them.
#[test]
fn optional_fields_may_be_missing_and_unknown_ones_are_passed_over() {
    let line = r#"{"position":1,"at":5,"event":"seated","stencil":"A","machine":"namer","new":1}"#;
    let read: Recorded = serde_json::from_str(line).expect("can be read");
    let expected = Event::Seated {
        stencil: common::words::code("A"),
        machine: common::words::machine("namer"),
        by: None,
        unseen: false,
    };
    assert_eq!(read.fact.event, expected);
    assert_eq!((read.fact.machine_time, read.fact.identity), (None, None));
}

#[test]
fn a_name_that_no_machine_could_have_is_refused() {
    for bad in [r#""""#, r#"" ""#, r#""a\u0007""#] {
        let line = format!(r#"{{"position":1,"at":5,"event":"machine-up","machine":{bad}}}"#);
        assert!(serde_json::from_str::<Recorded>(&line).is_err(), "{line}");
    }
}

#[test]
fn every_event_belongs_to_a_stream() {
    let streams: Vec<String> = samples().iter().map(|e| e.stream().to_string()).collect();
    for (event, stream) in samples().iter().zip(&streams) {
        let whose = stream.split('/').next().unwrap_or_default();
        let known = ["stencil", "machine", "order", "site"].contains(&whose);
        assert!(known, "{event:?} in {stream}");
    }
    assert_eq!(streams.get(37).map(String::as_str), Some("site"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]
    #[test]
    fn numbers_survive_at_the_ends_of_their_range(
        position in any::<u64>(), millis in any::<i64>(), count in any::<u64>(),
        value in -1e6..1e6f64,
    ) {
        let machine = common::words::machine("namer");
        let boards = Event::BoardsCounted { machine: machine.clone(), count, by_machine: None };
        let washed = Event::WashEnded {
            stencil: common::words::code("A"),
            machine: Some(machine),
            by: None,
            programme: None,
            outcome: WashOutcome::Failed,
            measured: vec![Measurement { quantity: "t".to_owned(), value, unit: "°C".to_owned() }],
        };
        for event in [boards, washed] {
            let fact = Fact { at: Timestamp(millis), machine_time: None, happened: None, identity: None, sender: None, asked_with: None, event };
            let recorded = Recorded { position: Position(position), fact };
            let line = serde_json::to_string(&recorded).expect("becomes JSON");
            prop_assert_eq!(serde_json::from_str::<Recorded>(&line).expect("can be read"), recorded);
        }
    }
}
