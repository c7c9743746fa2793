//! Every table of the story in every form, as it was checked by eye.
//!
//! STENCILWARD_WRITE=1 writes the fixtures anew: read what changed before you keep it.

use std::fs;
use std::path::Path;

use stencilward_domain::time::Timestamp;
use stencilward_reports::report::form::{Form, Report};
use stencilward_reports::report::{Asked, Period, TableName};

use super::plant::{Floor, START, review};
use super::story;

fn written(
    floor: &Floor,
    period: Period,
    tables: &[TableName],
    form: Form,
    traced: bool,
) -> String {
    let review = review(&floor.ledger, period, traced);
    let asked = Asked { now: period.at.unwrap_or(floor.now), ..floor.asked() };
    let tables = if tables.is_empty() {
        review.summary(&asked)
    } else {
        tables.iter().map(|name| review.table(*name, &asked)).collect()
    };
    let mut text = Vec::new();
    let report = Report::of(&review, &asked, "Invented Works", tables);
    report.write(form, &mut text).unwrap();
    String::from_utf8(text).unwrap()
}

fn same(name: &str, text: &str) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/report/fixtures").join(name);
    if std::env::var_os("STENCILWARD_WRITE").is_some() {
        fs::write(&file, text).unwrap();
    }
    let kept = fs::read_to_string(&file).unwrap_or_default();
    assert!(kept == text, "{name} differs; it is now:\n{text}");
}

#[test]
fn every_table_as_text() {
    let floor = story::told();
    same("summary.txt", &written(&floor, Period::default(), &[], Form::Text, false));
    same("all.txt", &written(&floor, Period::default(), &TableName::ALL, Form::Text, false));
    let traced = [TableName::Wear, TableName::Corrections];
    same("events.txt", &written(&floor, Period::default(), &traced, Form::Text, true));
}

#[test]
fn every_table_as_csv() {
    let floor = story::told();
    let mut all = String::new();
    for name in TableName::ALL {
        all += &written(&floor, Period::default(), &[name], Form::Csv, false);
    }
    same("all.csv", &all);
    let lines = [TableName::Lines];
    same("events.csv", &written(&floor, Period::default(), &lines, Form::Csv, true));
}

#[test]
fn every_table_as_json() {
    let floor = story::told();
    same("all.json", &written(&floor, Period::default(), &TableName::ALL, Form::Json, false));
    let lines = [TableName::Lines];
    same("events.json", &written(&floor, Period::default(), &lines, Form::Json, true));
}

/// Two days in, flows of the second day; and before anything happened.
#[test]
fn the_past_as_text() {
    let floor = story::told();
    let after = |hours: i64| Some(Timestamp(START.0 + hours * 3_600_000));
    let period = Period { from: after(18), to: None, at: after(48) };
    let tables = [TableName::Wear, TableName::Lines, TableName::Washes, TableName::Corrections];
    same("past.txt", &written(&floor, period, &tables, Form::Text, false));
    let period = Period { at: after(-1), ..Period::default() };
    same("before.txt", &written(&floor, period, &[], Form::Text, false));
}
