//! What is told late is shown when it happened.

use stencilward_domain::event::Event;
use stencilward_domain::plant::Plant;
use stencilward_domain::signal::{MachineState, Said, WashOutcome};
use stencilward_domain::site::Request;
use stencilward_domain::time::Timestamp;
use stencilward_reports::report::{Period, Review, TableName, Value};

use super::plant::{Floor, ONE, START, WASHER, code, machine, plant, review};
use super::totals::{cell, number, sum};

const HOUR: i64 = 3_600_000;
const DAY: i64 = 24 * HOUR;

/// Strokes of the first day, told on the third, after a wash of the second day and before one that
/// is told later still, and what they say of a store permitted in between.
fn told_late() -> Floor {
    let timed = [ONE, WASHER].map(machine).into();
    let mut floor = Floor::of(Plant { timed, ..plant() });
    for name in [ONE, WASHER] {
        floor.says(name, Said::LinkUp { resumed: true });
        let state = Said::State { state: MachineState::Idle, word: "idle".to_owned() };
        floor.tells(name, START, state);
    }
    floor.tells(ONE, START, Said::Seated { code: code("ST-1") });
    floor.tells(ONE, START, Said::StrokesDone { count: 2 });
    floor.says(ONE, Said::LinkLost { why: "the cable is out".to_owned() });
    floor.after(DAY);
    let wash = |outcome| {
        let (code, measured) = (Some(code("ST-1")), Vec::new());
        Said::WashEnded { code, programme: None, outcome, measured }
    };
    floor.tells(WASHER, floor.now, wash(WashOutcome::Passed));
    floor.after(DAY / 2);
    let (stencil, rack, slot, by) = (code("ST-1"), None, None, None);
    floor.ask(&Request::Store { stencil, rack, slot, by });
    floor.after(DAY / 2).says(ONE, Said::LinkUp { resumed: true });
    floor.tells(ONE, Timestamp(START.0 + HOUR), Said::StrokesDone { count: 5 });
    floor.tells(ONE, Timestamp(START.0 + DAY + HOUR), Said::StrokesDone { count: 7 });
    floor.tells(WASHER, Timestamp(START.0 + DAY + HOUR / 2), wash(WashOutcome::Passed));
    floor.after(HOUR).tick();
    floor
}

fn strokes(review: &Review, floor: &Floor) -> i128 {
    sum(&review.table(TableName::Lines, &floor.asked()), "booked")
}

#[test]
fn strokes_count_on_the_day_on_which_they_were_made() {
    let floor = told_late();
    let days = [(0, 7), (1, 7), (2, 0)].map(|(day, made)| {
        let (from, to) = (START.0 + day * DAY - HOUR, START.0 + (day + 1) * DAY - HOUR - 1);
        let period = Period { from: Some(Timestamp(from)), to: Some(Timestamp(to)), at: None };
        (strokes(&review(&floor.ledger, period, false), &floor), made)
    });
    assert!(days.iter().all(|(counted, made)| counted == made), "{days:?}");
}

#[test]
fn the_sums_are_those_of_the_state() {
    let floor = told_late();
    let review = review(&floor.ledger, Period::default(), true);
    assert_eq!(review.state(), floor.site.state());
    let wear = review.table(TableName::Wear, &floor.asked());
    let stencils = &floor.site.state().stencils;
    let of = stencils.keys().position(|known| *known == code("ST-1")).unwrap();
    let row = &wear.rows[of];
    let number = |column| number(cell(&wear, row, column));
    assert_eq!((number("strokes"), number("since-wash"), number("washes")), (714, 7, 2));
    assert_eq!(stencils[&code("ST-1")].strokes_since_wash, 7);
}

#[test]
fn a_doubted_decision_is_a_finding() {
    let floor = told_late();
    let doubted = floor.last(|event| matches!(event, Event::DecisionDoubted(_)));
    let review = review(&floor.ledger, Period::default(), false);
    let findings = review.table(TableName::Findings, &floor.asked());
    let row = &findings.rows[0];
    assert_eq!(cell(&findings, row, "kind").value, Value::Text("decision doubted".to_owned()));
    let at = cell(&findings, row, "at");
    assert_eq!(at.value, Value::Time(doubted.fact.at));
}
