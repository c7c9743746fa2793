//! A small invented history with something in every table.

use stencilward_domain::event::Event;
use stencilward_domain::signal::{Measurement, Said, WashOutcome};
use stencilward_domain::site::{Correction, Request, Wrong};
use stencilward_domain::time::Timestamp;

use super::plant::{Floor, ONE, RACK, TWO, WASHER, code, machine, order, slot};

const MINUTE: i64 = 60_000;
const DAY: i64 = 86_400_000;

fn by() -> String {
    "M. Example".to_owned()
}

fn strokes(count: u64) -> Said {
    Said::StrokesDone { count }
}

/// The history.
pub(crate) fn told() -> Floor {
    let mut floor = Floor::new();
    for name in [ONE, TWO, WASHER, RACK] {
        floor.says(name, Said::LinkUp { resumed: false });
    }
    an_order_with_everything(&mut floor);
    strokes_of_nobody(&mut floor);
    a_worn_stencil(&mut floor);
    corrections(&mut floor);
    five_weeks(&mut floor);
    // What has been wrong all along is told now: as a last event, it moves no other.
    floor.tick();
    floor
}

/// Taken with permission, tension measured, printed for an order that disagrees, washed.
fn an_order_with_everything(floor: &mut Floor) {
    let measurement =
        Measurement { quantity: "tension".to_owned(), value: 34.5, unit: "N/cm".to_owned() };
    floor.says(RACK, Said::Measured { code: Some(code("ST-1")), measurement });
    let (stencil, rack, slot_of) = (code("ST-1"), Some(machine(RACK)), Some(slot("A1")));
    let store = Request::Store { stencil, rack: rack.clone(), slot: slot_of, by: Some(by()) };
    floor.ask(&store);
    floor
        .after(1_000)
        .says(RACK, Said::SlotOccupied { slot: slot("A1"), code: Some(code("ST-1")) });
    floor.after(MINUTE).says(ONE, Said::OrderReleased(order("WO-1")));
    let order_name = Some(order("WO-1").order);
    let take = Request::Take { stencil: code("ST-1"), rack, order: order_name, by: Some(by()) };
    floor.ask(&take);
    floor.after(1_000).says(RACK, Said::SlotEmptied { slot: slot("A1"), code: None });
    floor.after(MINUTE).says(ONE, Said::OrderStarted(order("WO-1")));
    floor.after(MINUTE).seats(ONE, "ST-1");
    floor.after(MINUTE).says(ONE, strokes(20));
    floor.says(ONE, Said::WipesDone { count: 4 });
    let finished = Said::OrderFinished { order: order("WO-1").order, made: Some(40) };
    floor.after(MINUTE).says(ONE, finished);
    floor.says(ONE, Said::Removed);
    floor
        .after(MINUTE)
        .says(RACK, Said::SlotOccupied { slot: slot("A2"), code: Some(code("ST-1")) });
    floor.after(MINUTE).washes("ST-1", WashOutcome::Failed);
    floor.after(MINUTE).washes("ST-1", WashOutcome::Aborted);
    floor.after(MINUTE).washes("ST-1", WashOutcome::Passed);
    floor.washes("ST-X", WashOutcome::Passed);
}

/// Strokes before anybody scanned a stencil: some assigned, some written off, some left.
fn strokes_of_nobody(floor: &mut Floor) {
    floor.after(MINUTE).says(TWO, Said::OrderStarted(order("WO-2")));
    floor.after(MINUTE).says(TWO, strokes(30));
    let of = floor.last(|event| matches!(event, Event::StrokesUnattributed { .. })).position;
    let shares = vec![(code("ST-2"), 12)];
    let why = "the shift book says ST-2".to_owned();
    floor.after(MINUTE).ask(&Request::Assign { of, shares, write_off: 8, by: by(), why });
    let seat = Request::Seat { stencil: code("ST-2"), machine: machine(TWO), by: by() };
    floor.after(MINUTE).ask(&seat);
    floor.after(MINUTE).says(TWO, strokes(50));
    let finished = Said::OrderFinished { order: order("WO-2").order, made: None };
    floor.after(MINUTE).says(TWO, finished);
}

/// Stopped, refused, conceded, printed for an order, and washed by hand.
fn a_worn_stencil(floor: &mut Floor) {
    floor.after(MINUTE).seats(ONE, "ST-3");
    floor.after(MINUTE).says(ONE, strokes(35));
    let until = Some(Timestamp(floor.now.0 + 60 * DAY));
    floor.after(MINUTE).ask(&Request::Grant {
        stencil: code("ST-3"),
        strokes: 40,
        until,
        by: "P. Example, manager".to_owned(),
        why: "its successor comes on Friday, \"as promised\"".to_owned(),
    });
    floor.after(MINUTE).says(ONE, Said::OrderStarted(order("WO-3")));
    floor.after(MINUTE).says(ONE, strokes(10));
    let finished = Said::OrderFinished { order: order("WO-3").order, made: Some(40) };
    floor.after(MINUTE).says(ONE, finished);
    floor.after(MINUTE).says(ONE, Said::Removed);
    let (stencil, outcome) = (code("ST-3"), WashOutcome::Passed);
    floor.after(MINUTE).ask(&Request::ReportWash { stencil, outcome, by: by() });
}

/// A booking moved to another stencil, a wash that was none, a start that was miscounted.
fn corrections(floor: &mut Floor) {
    floor.after(DAY);
    let correction = |what, why: &str| Correction { what, by: by(), why: why.to_owned() };
    let booked = floor.last(|event| matches!(event, Event::StrokesBooked { count: 50, .. }));
    let shares = Wrong::Strokes(vec![(code("ST-2"), 45), (code("ST-1"), 5)]);
    floor.correct(&booked, &correction(shares, "five test prints were with ST-1"));
    let washed = floor.last(|event| matches!(event, Event::WashEnded { .. }));
    floor.correct(&washed, &correction(Wrong::Wash, "only\nwiped"));
    let came_in =
        floor.last(|event| matches!(event, Event::StencilRegistered { starting_strokes: 700, .. }));
    let counted = Wrong::Strokes(vec![(code("ST-1"), 690)]);
    floor.correct(&came_in, &correction(counted, "the old list was wrong"));
}

/// Work on weekdays, so that there is something to forecast from.
fn five_weeks(floor: &mut Floor) {
    floor.after(5 * DAY);
    for day in 0..35_u64 {
        if day % 7 < 5 {
            floor.after(MINUTE).seats(ONE, "ST-2");
            floor.after(MINUTE).says(ONE, strokes(8 + day % 3));
            floor.after(MINUTE).says(ONE, Said::Removed);
            floor.after(MINUTE).washes("ST-2", WashOutcome::Passed);
            floor.after(DAY - 4 * MINUTE);
        } else {
            floor.after(DAY);
        }
    }
}
