//! Every number traces to events: counted again from those alone, it is the same.

use std::collections::BTreeSet;

use proptest::prelude::*;
use stencilward_domain::event::Recorded;
use stencilward_reports::report::{Figure, Period, Table, TableName, Value};

use super::acts::{acts, after};
use super::plant::{Floor, event, review};
use super::recount::Cited;
use super::story;

/// Counts each figure of a table again. Gives the columns that were.
fn count_again(table: &Table, ledger: &[Recorded]) -> BTreeSet<&'static str> {
    let mut counted = BTreeSet::new();
    for row in &table.rows {
        let names = table.columns.iter().map(|(name, _)| *name);
        let words = names.clone().zip(row.iter().map(|figure| &figure.value)).collect();
        let mut cited = Cited { events: Vec::new(), row: words };
        for (name, figure) in names.zip(row) {
            cited.events = figure.events.iter().filter_map(|p| event(ledger, p.0)).collect();
            if figure.value == Value::Nothing && !matches!(name, "cost" | "cost-if-used-up") {
                continue;
            }
            match cited.again(table.name, name) {
                Some(again) => {
                    assert_eq!(figure.value, again, "{} {name} {:?}", table.name, figure.events);
                    counted.insert(name);
                }
                None => assert!(is_word(figure), "nobody counts {} {name} again", table.name),
            }
        }
    }
    counted
}

fn is_word(figure: &Figure) -> bool {
    matches!(figure.value, Value::Text(_) | Value::Names(_))
}

fn tables(floor: &Floor, period: Period) -> Vec<Table> {
    let review = review(&floor.ledger, period, true);
    let names = TableName::ALL.into_iter().filter(|name| *name != TableName::Forecast);
    names.map(|name| review.table(name, &floor.asked())).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn every_number_is_that_of_its_events(acts in acts()) {
        let floor = after(&acts);
        for table in tables(&floor, Period::default()) {
            count_again(&table, &floor.ledger);
        }
        let from = Some(floor.ledger[floor.ledger.len() / 2].fact.at);
        for table in tables(&floor, Period { from, ..Period::default() }) {
            count_again(&table, &floor.ledger);
        }
    }
}

/// The story has a number in every column that may hold one.
#[test]
fn no_kind_of_number_goes_unchecked() {
    let floor = story::told();
    for table in tables(&floor, Period::default()) {
        let counted = count_again(&table, &floor.ledger);
        for (name, _) in table.columns {
            let at = table.columns.iter().position(|(other, _)| other == name).unwrap();
            let word =
                table.rows.iter().all(|row| is_word(&row[at]) || row[at].value == Value::Nothing);
            assert!(word || counted.contains(name), "{} {name}", table.name);
            let told = table.rows.iter().any(|row| row[at].value != Value::Nothing);
            assert!(told, "the story says nothing for {} {name}", table.name);
        }
    }
}

/// Without tracing no position is kept; the numbers are the same.
#[test]
fn figures_that_are_not_traced_are_the_same() {
    let floor = story::told();
    let (traced, bare) = (
        review(&floor.ledger, Period::default(), true),
        review(&floor.ledger, Period::default(), false),
    );
    let values = |table: &Table| -> Vec<Vec<Value>> {
        let row = |row: &Vec<Figure>| row.iter().map(|figure| figure.value.clone()).collect();
        table.rows.iter().map(row).collect()
    };
    for name in TableName::ALL {
        let asked = floor.asked();
        let (traced, bare) = (traced.table(name, &asked), bare.table(name, &asked));
        assert_eq!(values(&traced), values(&bare), "{}", traced.name);
    }
}
