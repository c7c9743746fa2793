//! Lists of orders: what they may say, and every fault at once.

use proptest::prelude::*;
use stencilward_domain::names::{OrderName, ProductName, StencilCode};
use stencilward_domain::signal::{OrderSpec, Side};
use stencilward_exchange::{Form, orders};

fn told(form: Form, text: &str) -> Vec<String> {
    let faults = orders::read(form, text.as_bytes()).expect_err("there are faults");
    faults.iter().map(ToString::to_string).collect()
}

fn codes(codes: &[&str]) -> Vec<StencilCode> {
    codes.iter().map(|code| StencilCode::new(code).expect("a code")).collect()
}

fn whole() -> OrderSpec {
    OrderSpec {
        order: OrderName::new("WO-1").expect("a name"),
        product: ProductName::new("Controller").ok(),
        side: Some(Side::Bottom),
        revision: Some("C".to_owned()),
        quantity: Some(480),
        panels_per_stroke: Some(4),
        strokes_per_panel: Some(2),
        setup_strokes: Some(0),
        stencils: codes(&["ST-1", "ST-2"]),
    }
}

#[test]
fn a_row_says_all_of_an_order_or_its_name_alone() {
    let text = "order,product,side,revision,quantity,panels_per_stroke,strokes_per_panel,\
                setup_strokes,stencils\r\n\
                WO-1,Controller,bottom,C,480,4,2,0,ST-1 ST-2\r\nWO-2,,,,,,,,\r\n";
    let named = OrderSpec::named(OrderName::new("WO-2").expect("a name"));
    assert_eq!(orders::read(Form::Csv, text.as_bytes()), Ok(vec![whole(), named.clone()]));

    let text = r#"{"order":"WO-1","product":"Controller","side":"bottom","revision":"C",
        "quantity":480,"panels_per_stroke":4,"strokes_per_panel":2,"setup_strokes":0,
        "stencils":["ST-1","ST-2"]}"#;
    let text = format!("{}\n\n{{\"order\":\"WO-2\",\"side\":null}}\n", text.replace('\n', " "));
    assert_eq!(orders::read(Form::JsonLines, text.as_bytes()), Ok(vec![whole(), named]));
}

#[test]
fn codes_with_spaces_are_separated_by_semicolons() {
    for (cell, expected) in [
        ("ST-1 ST-2", codes(&["ST-1", "ST-2"])),
        ("ST-1; ST-2;", codes(&["ST-1", "ST-2"])),
        ("ST 1;ST 2", codes(&["ST 1", "ST 2"])),
        ("ST 1;", codes(&["ST 1"])),
        ("", Vec::new()),
    ] {
        let text = format!("order,stencils\nWO-1,{cell}\n");
        let read = orders::read(Form::Csv, text.as_bytes()).expect("no fault");
        assert_eq!(read[0].stencils, expected, "{cell:?}");
    }
}

#[test]
fn every_fault_of_every_row_is_told_with_its_line_and_what_to_do() {
    let text = "order,side,quantity,panels_per_stroke,setup_strokes,stencils\n\
                ,left,-5,0,1.5,\n\
                WO-1,TOP,,4294967296,,\n\
                WO-2,top,1e3,1,,\x07\n\
                WO-1,top,18446744073709551616,1,,\n";
    let digits = "write digits only, such as 50000";
    let range = "is out of range: write a number from 1 to 4294967295";
    let expected = [
        "line 2, order: missing: each row needs it".to_owned(),
        "line 2, side: \"left\" is no side of a board: write top or bottom".to_owned(),
        format!("line 2, quantity: \"-5\" is no whole number: {digits}"),
        format!("line 2, panels_per_stroke: 0 {range}"),
        format!("line 2, setup_strokes: \"1.5\" is no whole number: {digits}"),
        format!("line 3, panels_per_stroke: 4294967296 {range}"),
        format!("line 4, quantity: \"1e3\" is no whole number: {digits}"),
        "line 4, stencils: the name holds a control character: write it as it is read".to_owned(),
        "line 5, order: also in line 3: keep one of the two rows".to_owned(),
        format!("line 5, quantity: \"18446744073709551616\" is no whole number: {digits}"),
    ];
    assert_eq!(told(Form::Csv, text), expected);
}

#[test]
fn a_head_that_does_not_fit_names_what_would() {
    let columns = orders::COLUMNS.join(", ");
    let faults = told(Form::Csv, "order,pieces,order\nWO-1,1,2\n");
    let unknown = format!("line 1, pieces: no such column: there are {columns}");
    let twice = "line 1, order: named twice: keep one of the two columns";
    assert_eq!(faults, [unknown.as_str(), twice]);
    let faults = told(Form::Csv, "order;product\nWO-1;A\n");
    let commas =
        "line 1: the columns are not separated by commas: save the list as CSV with commas";
    assert_eq!(faults, [commas]);
    let faults = told(Form::Csv, "");
    assert_eq!(faults, ["line 1: the list is empty: its first line names the columns"]);
}

#[test]
fn json_that_does_not_fit_is_told_line_by_line() {
    let text = "{\"order\":\"WO-1\",\"order\":\"WO-2\"}\n\
                [1]\n\
                {\"order\":\"WO-3\",\"pieces\":1}\n\
                {\"order\":{}}\n\
                {\"order\":[\"WO-5\"]}\n\
                {\"order\":\"WO-6\",\"quantity\":NaN}\n\
                {\"order\":\"WO-7\",\"stencils\":[1]}\n\
                {\"order\":\"WO-8\",\"quantity\":-1}\n";
    let columns = orders::COLUMNS.join(", ");
    let expected = [
        "line 1, order: said twice: keep one of the two".to_owned(),
        "line 2: this is no JSON object: write one a line".to_owned(),
        format!("line 3, pieces: no such column: there are {columns}"),
        "line 4, order: an object: write one value".to_owned(),
        "line 5, order: a list: write one value".to_owned(),
        "line 6: this is no JSON object (character 28): write one a line".to_owned(),
        "line 7, stencils: the list holds something else than text: write texts in it".to_owned(),
        "line 8, quantity: \"-1\" is no whole number: write digits only, such as 50000".to_owned(),
    ];
    assert_eq!(told(Form::JsonLines, text), expected);
}

#[test]
fn bytes_that_are_no_utf_8_are_told_of() {
    let faults = orders::read(Form::Csv, b"order\nWO-1\nWO-\xff\n").expect_err("no UTF-8");
    assert_eq!(faults[0].to_string(), "line 3: this is no UTF-8: save the list as UTF-8");
}

proptest! {
    /// Whatever comes in, it is answered, and each fault lies within the list.
    #[test]
    fn no_bytes_stop_it(
        bytes in prop_oneof![
            proptest::collection::vec(any::<u8>(), 0..200),
            "(order,side|[{\"order\":,}\\[\\] \n\r;a1]){0,60}".prop_map(String::into_bytes),
        ],
    ) {
        let lines = 1 + bytes.iter().filter(|byte| **byte == b'\n').count() as u64;
        for form in [Form::Csv, Form::JsonLines] {
            for fault in orders::read(form, &bytes).err().unwrap_or_default() {
                prop_assert!((1..=lines).contains(&fault.line), "{fault}");
            }
        }
    }
}
