//! Points that mean something only together.

use std::collections::BTreeMap;

use super::Found;
use crate::modbus::settings::Point;
use crate::settings::Span;

/// Signals that need another one beside them, and why.
const NEEDS: &[(&str, &[&str], &str)] = &[
    (
        "wash-running",
        &["wash-result"],
        "how a wash ended decides whether the stencil may be stored",
    ),
    ("wash-result", &["wash-running"], "it is read when the washer stops"),
    ("wash-stencil", &["wash-running"], "it is read when the washer starts"),
    ("wash-programme", &["wash-running"], "it is read when the washer starts"),
    ("store-asked", &["asked-stencil"], "a question is about a stencil"),
    ("take-asked", &["asked-stencil"], "a question is about a stencil"),
    ("asked-stencil", &["store-asked", "take-asked"], "it is read when a question is asked"),
    ("asked-slot", &["store-asked"], "only a store names a slot"),
    ("asked-order", &["take-asked"], "only a take names an order"),
    ("measured-taken", &["measured"], "it tells when measured values are valid"),
    (
        "measured-stencil",
        &["measured-taken"],
        "else a value could be told of the stencil before or after",
    ),
    ("order-running", &["order"], "it tells nothing by itself"),
    ("order-product", &["order"], "it tells nothing by itself"),
    ("order-quantity", &["order"], "it tells nothing by itself"),
    ("order-made", &["order"], "it tells nothing by itself"),
];

/// Signals that tell the same, so that one machine may have only one of them.
const RIVALS: &[(&str, &str, &str)] = &[
    ("board-total", "board-contact", "each board would be told twice"),
    ("measured-taken", "wash-running", "a washer's values are told with the end of its wash"),
];

pub(super) fn check(points: &[Point], found: &mut Found) {
    let place = |word: &str| points.iter().position(|point| point.signal() == word);
    for (word, needed, why) in NEEDS {
        if let Some(index) = place(word)
            && needed.iter().all(|needed| place(needed).is_none())
        {
            let needed = needed.join(" or ");
            let wrong = format!("{word} needs {needed} beside it: {why}");
            found.tell(format!("points[{index}]"), wrong);
        }
    }
    for (word, rival, why) in RIVALS {
        if let (Some(index), Some(other)) = (place(word), place(rival)) {
            let wrong = format!("{word} stands beside {rival}, points[{other}]: {why}; keep one");
            found.tell(format!("points[{index}]"), wrong);
        }
    }
    check_read_together(points, found);
}

/// What makes one signal is read in one round.
fn check_read_together(points: &[Point], found: &mut Found) {
    let washes = points.iter().any(|point| matches!(point, Point::WashRunning(_)));
    let taken = points.iter().any(|point| matches!(point, Point::MeasuredTaken(_)));
    let mut polls: BTreeMap<String, (usize, Option<Span>)> = BTreeMap::new();
    for (index, point) in points.iter().enumerate() {
        let Some(group) = group(point, washes, taken) else {
            continue;
        };
        let poll = point.place().poll;
        let (first, known) = *polls.entry(group).or_insert((index, poll));
        if known != poll {
            let wrong = format!(
                "makes one signal together with points[{first}], so both are read in one round: \
                 give them the same poll"
            );
            found.tell(format!("points[{index}].poll"), wrong);
        }
    }
}

/// What a point is read together with.
fn group(point: &Point, washes: bool, taken: bool) -> Option<String> {
    let group = match point {
        Point::Slot(slot) => return Some(format!("slot {}", slot.slot.trim())),
        Point::SlotCode(code) => return Some(format!("slot {}", code.slot.trim())),
        Point::WashRunning(_)
        | Point::WashResult(_)
        | Point::WashStencil(_)
        | Point::WashProgramme(_) => "wash",
        Point::Measured(_) if washes => "wash",
        Point::Measured(_) if !taken => return None,
        Point::Measured(_) | Point::MeasuredTaken(_) | Point::MeasuredStencil(_) => "measured",
        Point::StoreAsked(_)
        | Point::TakeAsked(_)
        | Point::AskedStencil(_)
        | Point::AskedSlot(_)
        | Point::AskedOrder(_) => "ask",
        Point::Order(_)
        | Point::OrderRunning(_)
        | Point::OrderProduct(_)
        | Point::OrderQuantity(_)
        | Point::OrderMade(_) => "order",
        _ => return None,
    };
    Some(group.to_owned())
}
