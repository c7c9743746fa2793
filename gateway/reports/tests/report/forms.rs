//! The forms hold whatever people and machines write.

use proptest::prelude::*;
use stencilward_domain::event::StencilSpec;
use stencilward_domain::plant::Listed;
use stencilward_domain::site::Request;
use stencilward_reports::report::form::{Form, FormError, Report};
use stencilward_reports::report::{Asked, Filter, Period, Review, TableName, Value};

use super::plant::{Floor, code, product, review};
use super::story;
use super::totals::cell;

/// What spreadsheets, terminals, JSON and CSV readers might trip over.
const HOSTILE: [&str; 8] = [
    "a, b; c",
    "she said \"no\"",
    "one\r\ntwo\nthree",
    "=1+1",
    "@SUM(A1)\t-2",
    "\u{1b}[31mred\u{7}",
    "µΩ 漢字 \u{202e}reversed",
    "' OR 1=1; --",
];

fn written(review: &Review, asked: &Asked, name: TableName, form: Form) -> String {
    let report = Report::of(review, asked, "Invented Works", vec![review.table(name, asked)]);
    let mut text = Vec::new();
    report.write(form, &mut text).unwrap();
    String::from_utf8(text).unwrap()
}

fn held(floor: &mut Floor, why: &str) {
    let (stencil, by, why) = (code("ST-1"), why.to_owned(), why.to_owned());
    floor.ask(&Request::Grant { stencil, strokes: 5, until: None, by, why });
}

#[test]
fn hostile_words_come_back_as_they_were() {
    let mut floor = Floor::new();
    HOSTILE.iter().for_each(|words| held(&mut floor, words));
    let (review, asked) = (review(&floor.ledger, Period::default(), false), floor.asked());
    let csv = written(&review, &asked, TableName::Concessions, Form::Csv);
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let column = reader.headers().unwrap().iter().position(|name| name == "why").unwrap();
    let whys: Vec<String> =
        reader.records().map(|record| record.unwrap()[column].to_owned()).collect();
    assert_eq!(whys, HOSTILE);

    let json = written(&review, &asked, TableName::Concessions, Form::Json);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let rows = json["tables"][0]["rows"].as_array().unwrap();
    assert_eq!(rows.iter().map(|row| row["why"].as_str().unwrap()).collect::<Vec<_>>(), HOSTILE);

    let text = written(&review, &asked, TableName::Concessions, Form::Text);
    assert!(!text.chars().any(|c| c.is_control() && c != '\n'), "{text:?}");
    assert_eq!(text.lines().filter(|line| line.contains("#")).count(), HOSTILE.len() + 1);
}

/// Every cell of every table, read back by another reader of CSV.
#[test]
fn csv_reads_back() {
    let floor = story::told();
    let (review, asked) = (review(&floor.ledger, Period::default(), true), floor.asked());
    for name in TableName::ALL {
        let csv = written(&review, &asked, name, Form::Csv);
        let table = review.table(name, &asked);
        let mut reader = csv::ReaderBuilder::new().flexible(false).from_reader(csv.as_bytes());
        assert_eq!(reader.headers().unwrap().len(), table.columns.len() * 2);
        let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(records.len(), table.rows.len());
        for (record, row) in records.iter().zip(&table.rows) {
            for (at, figure) in row.iter().enumerate() {
                match &figure.value {
                    Value::Text(text) => assert_eq!(&record[at * 2], text),
                    Value::Count(count) => assert_eq!(record[at * 2].parse(), Ok(*count)),
                    _ => {}
                }
                assert_eq!(record[at * 2 + 1], figure.events.to_string());
            }
        }
        assert!(csv.replace("\r\n", "").find('\r').is_none());
    }
}

#[test]
fn csv_holds_one_table() {
    let floor = Floor::new();
    let (review, asked) = (review(&floor.ledger, Period::default(), false), floor.asked());
    let report = Report::of(&review, &asked, "Invented Works", review.summary(&asked));
    let refused = report.write(Form::Csv, &mut Vec::new());
    assert!(matches!(refused, Err(FormError::OneTable)));
}

#[test]
fn rows_are_picked_by_stencil_product_and_line() {
    let floor = story::told();
    let review = review(&floor.ledger, Period::default(), false);
    let words = |name, column, filter: Filter| -> Vec<Value> {
        filter.check(name).unwrap();
        filter.check_names(review.state(), review.setup()).unwrap();
        let table = review.table(name, &Asked { filter, now: floor.now });
        table.rows.iter().map(|row| cell(&table, row, column).value.clone()).collect()
    };
    let text = |words: &[&str]| -> Vec<Value> {
        words.iter().map(|word| Value::Text((*word).to_owned())).collect()
    };
    let stencil = Filter { stencil: Some(code("ST-2")), ..Filter::default() };
    assert_eq!(words(TableName::Wear, "stencil", stencil.clone()), text(&["ST-2"]));
    assert_eq!(words(TableName::Orders, "order", stencil), text(&["WO-2"]));
    let of = Filter { product: Some(product("Heron controller")), ..Filter::default() };
    assert_eq!(words(TableName::Wear, "stencil", of.clone()), text(&["ST-1", "ST-2"]));
    assert_eq!(words(TableName::Concessions, "stencil", of), text(&[]));
    let line = Filter { line: Some("line-2".to_owned()), ..Filter::default() };
    assert_eq!(words(TableName::Lines, "machine", line.clone()), text(&["printer-2"]));
    assert_eq!(words(TableName::Unattributed, "printer", line), text(&["printer-2"]));
    let nowhere = Filter { stencil: Some(code("ST-9")), ..Filter::default() };
    let told = nowhere.check_names(review.state(), review.setup()).unwrap_err().to_string();
    assert_eq!(told, "no stencil ST-9 was there by then: check the name, or the time");
}

proptest! {
    /// Numbers of any size become JSON numbers and CSV cells that say the same.
    #[test]
    fn numbers_of_any_size(strokes in prop_oneof![any::<u64>(), Just(u64::MAX)]) {
        let mut floor = Floor::new();
        let spec = StencilSpec::rated(code("ST-9"), 1_000);
        let source = "the old card file".to_owned();
        let entries = vec![Listed { spec, starting_strokes: strokes, clean: true, source }];
        floor.ask(&Request::TakeIn { entries });
        let (review, asked) = (review(&floor.ledger, Period::default(), false), floor.asked());
        let csv = written(&review, &asked, TableName::Wear, Form::Csv);
        let line = csv.lines().find(|line| line.starts_with("ST-9")).unwrap();
        prop_assert!(line.contains(&format!(",{strokes},1000,")), "{}", line);
        let json = written(&review, &asked, TableName::Wear, Form::Json);
        let json: serde_json::Value = serde_json::from_str(&json).unwrap();
        prop_assert_eq!(json["tables"][0]["rows"][3]["strokes"].as_u64(), Some(strokes));
    }
}
