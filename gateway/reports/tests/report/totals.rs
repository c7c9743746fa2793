//! What the tables add up to is what the domain's own state says, for any history.

use std::collections::BTreeMap;

use proptest::prelude::*;
use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::names::MachineName;
use stencilward_domain::state::State;
use stencilward_reports::report::{Figure, Period, Table, TableName, Value};

use super::acts::{acts, after};
use super::plant::{Floor, review};

/// The figure of a row in the column of that name.
pub(crate) fn cell<'a>(table: &Table, row: &'a [Figure], column: &str) -> &'a Figure {
    let at = table.columns.iter().position(|(name, _)| *name == column);
    &row[at.unwrap_or_else(|| panic!("{} has no column {column}", table.name))]
}

pub(crate) fn number(figure: &Figure) -> i128 {
    match figure.value {
        Value::Count(number) | Value::Centi(number) => number,
        Value::Nothing => 0,
        ref other => panic!("{other:?} is no number"),
    }
}

/// The sum of a column.
pub(crate) fn sum(table: &Table, column: &str) -> i128 {
    table.rows.iter().map(|row| number(cell(table, row, column))).sum()
}

fn check_stencils(wear: &Table, state: &State) {
    assert_eq!(wear.rows.len(), state.stencils.len());
    for (row, stencil) in wear.rows.iter().zip(state.stencils.values()) {
        let number = |column| number(cell(wear, row, column));
        assert_eq!(number("strokes"), i128::from(stencil.strokes), "{:?}", stencil.spec.stencil);
        assert_eq!(number("since-wash"), i128::from(stencil.strokes_since_wash));
        assert_eq!(number("wipes"), i128::from(stencil.wipes));
        assert_eq!(number("washes"), i128::from(stencil.washes));
    }
}

fn check_machines(lines: &Table, state: &State) {
    for row in &lines.rows {
        let Value::Text(name) = &cell(lines, row, "machine").value else { unreachable!() };
        let known = state.machines.iter().find(|(known, _)| known.as_str() == name);
        let Some((_, machine)) = known else { continue };
        let number = |column| number(cell(lines, row, column));
        assert_eq!(number("strokes"), i128::from(machine.booked), "{name}");
        assert_eq!(number("written-off"), i128::from(machine.written_off), "{name}");
        assert_eq!(number("still-open"), i128::from(machine.unattributed), "{name}");
        assert_eq!(number("wipes"), i128::from(machine.wipes), "{name}");
    }
}

fn check_concessions(table: &Table, state: &State) {
    for stencil in state.stencils.values() {
        let Some(granted) = &stencil.concession else { continue };
        let row = table
            .rows
            .iter()
            .find(|row| cell(table, row, "concession").value == Value::Event(granted.because));
        let row = row.expect("a granted concession has a row");
        assert_eq!(number(cell(table, row, "used")), i128::from(granted.value.used));
        assert_eq!(number(cell(table, row, "allowed")), i128::from(granted.value.strokes));
    }
}

/// Strokes by order, printer and stencil, from what each printer was at by the state.
fn by_order(ledger: &[Recorded]) -> BTreeMap<[String; 3], i128> {
    let (mut state, mut orders, mut sums) = (State::default(), Vec::new(), BTreeMap::new());
    for recorded in ledger {
        let at = |position: &Position| {
            let at: &Option<[String; 2]> = &orders[usize::try_from(position.0 - 1).unwrap()];
            at.clone()
        };
        let now = |machine: &MachineName| {
            let order = state.machines.get(machine)?.order.as_ref()?;
            Some([order.order.to_string(), machine.to_string()])
        };
        let (order, stencil, count) = match &recorded.fact.event {
            Event::StrokesBooked { stencil, machine, count, .. } => {
                (now(machine), Some(stencil), i128::from(*count))
            }
            Event::StrokesUnattributed { machine, .. } => (now(machine), None, 0),
            Event::StrokesAssigned { stencil, of, count, .. } => {
                (at(of), Some(stencil), i128::from(*count))
            }
            Event::StrokesCorrected { stencil, corrects, was, is, .. } => {
                (at(corrects), Some(stencil), i128::from(*is) - i128::from(*was))
            }
            _ => (None, None, 0),
        };
        if let (Some([order, printer]), Some(stencil)) = (&order, stencil) {
            let key = [order.clone(), printer.clone(), stencil.to_string()];
            *sums.entry(key).or_insert(0) += count;
        }
        orders.push(order);
        state.apply(recorded);
    }
    sums
}

fn check_orders(table: &Table, ledger: &[Recorded]) {
    let mut sums = BTreeMap::new();
    for row in &table.rows {
        let word = |column| match &cell(table, row, column).value {
            Value::Text(word) => Some(word.clone()),
            _ => None,
        };
        let key = ["order", "printer", "stencil"].map(word);
        if let [Some(order), Some(printer), Some(stencil)] = key {
            *sums.entry([order, printer, stencil]).or_insert(0) +=
                number(cell(table, row, "strokes"));
        }
    }
    assert_eq!(sums, by_order(ledger));
}

fn check(floor: &Floor) {
    let review = review(&floor.ledger, Period::default(), false);
    let (state, asked) = (floor.site.state(), floor.asked());
    let table = |name| review.table(name, &asked);
    assert_eq!(review.state(), state);
    check_stencils(&table(TableName::Wear), state);
    check_machines(&table(TableName::Lines), state);
    check_concessions(&table(TableName::Concessions), state);
    let strokes: i128 = state.stencils.values().map(|stencil| i128::from(stencil.strokes)).sum();
    let bases = table(TableName::Bases);
    assert_eq!(sum(&bases, "strokes"), strokes);
    let before = Value::Text("before the gateway".to_owned());
    assert!(bases.rows.iter().all(|row| {
        (cell(&bases, row, "printer").value == Value::Nothing)
            == (cell(&bases, row, "basis").value == before)
    }));
    let cost = table(TableName::Cost);
    assert_eq!(sum(&cost, "before") + sum(&cost, "counted"), strokes);
    assert_eq!(sum(&table(TableName::Products), "strokes"), sum(&cost, "counted"));
    let told = table(TableName::Unattributed);
    assert_eq!(told.rows.len(), state.unattributed.len());
    let open: i128 = state.unattributed.values().map(|open| i128::from(open.left)).sum();
    assert_eq!(sum(&told, "open"), open);
    let refusals = floor.ledger.iter().map(|recorded| match &recorded.fact.event {
        Event::Decided { decision, .. } => decision.reasons.len(),
        _ => 0,
    });
    let refusals = i128::try_from(refusals.sum::<usize>()).unwrap();
    assert_eq!(sum(&table(TableName::Refusals), "refusals"), refusals);
    let washes = table(TableName::Washes);
    let passed: i128 = state.stencils.values().map(|stencil| i128::from(stencil.washes)).sum();
    assert_eq!(sum(&washes, "passed") - sum(&washes, "annulled"), passed);
    let by_hand =
        washes.rows.iter().filter(|row| cell(&washes, row, "washer").value == Value::Nothing);
    let by_hand: i128 = by_hand
        .map(|row| number(cell(&washes, row, "passed")) - number(cell(&washes, row, "annulled")))
        .sum();
    assert_eq!(sum(&table(TableName::Lines), "washes") + by_hand, passed);
    check_orders(&table(TableName::Orders), &floor.ledger);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn totals_are_those_of_the_state(acts in acts()) {
        check(&after(&acts));
    }
}
