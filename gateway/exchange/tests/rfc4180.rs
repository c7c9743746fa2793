//! RFC 4180, section 2: the examples of its rules 1 to 7, under columns of ours.

use stencilward_exchange::{Form, stencils};

const HEAD: &str = "stencil,product,revision\r\n";

type Cells = [String; 3];

fn read(text: &str) -> Result<Vec<(u64, Cells)>, Vec<String>> {
    let cells = |(line, entry): (u64, stencils::Entry)| {
        let product = entry.product.map(|product| product.to_string()).unwrap_or_default();
        (line, [entry.stencil.to_string(), product, entry.revision.unwrap_or_default()])
    };
    let list = stencils::read(Form::Csv, text.as_bytes());
    if list.faults.is_empty() {
        return Ok(list.entries.into_iter().map(cells).collect());
    }
    Err(list.faults.iter().map(ToString::to_string).collect())
}

fn rows(rows: &[(u64, [&str; 3])]) -> Result<Vec<(u64, Cells)>, Vec<String>> {
    Ok(rows.iter().map(|(line, cells)| (*line, cells.map(str::to_owned))).collect())
}

#[test]
fn rules_1_and_2_each_record_on_a_line_the_last_break_may_lack() {
    let expected = rows(&[(2, ["aaa", "bbb", "ccc"]), (3, ["zzz", "yyy", "xxx"])]);
    assert_eq!(read(&format!("{HEAD}aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n")), expected);
    assert_eq!(read(&format!("{HEAD}aaa,bbb,ccc\r\nzzz,yyy,xxx")), expected);
    assert_eq!(read(&format!("{HEAD}aaa,bbb,ccc\nzzz,yyy,xxx\n")), expected, "as Unix writes it");
    assert_eq!(read(&format!("\u{feff}{HEAD}aaa,bbb,ccc\r\nzzz,yyy,xxx")), expected, "a BOM");
}

#[test]
fn rule_3_the_head_names_the_columns_in_any_order() {
    let mixed = "revision,stencil,product\r\nccc,aaa,bbb\r\n";
    assert_eq!(read(mixed), rows(&[(2, ["aaa", "bbb", "ccc"])]));
}

#[test]
fn rule_4_each_line_has_the_same_number_of_fields() {
    let told = read(&format!("{HEAD}aaa,bbb\r\nzzz,yyy,xxx,\r\n")).expect_err("both are faulty");
    let remedy = "quote cells that hold a comma";
    let expected = [
        format!("line 2: 2 cells under 3 columns: {remedy}"),
        format!("line 3: 4 cells under 3 columns: {remedy}"),
    ];
    assert_eq!(told, expected);
}

#[test]
fn rule_5_fields_may_be_quoted_or_not() {
    let text = format!("{HEAD}\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx");
    assert_eq!(read(&text), rows(&[(2, ["aaa", "bbb", "ccc"]), (3, ["zzz", "yyy", "xxx"])]));
    let told = read(&format!("{HEAD}aaa,b\"bb,ccc\r\n")).expect_err("a quote out of place");
    assert!(told[0].starts_with("line 2: a quote inside a cell that is not quoted"), "{told:?}");
    let told = read(&format!("{HEAD}aaa,\"b\"bb,ccc\r\n")).expect_err("text after the quote");
    assert!(told[0].starts_with("line 2: text follows the closing quote"), "{told:?}");
}

/// The break is read as part of the cell, which no name of ours may hold.
#[test]
fn rule_6_quoted_fields_may_hold_line_breaks_and_commas() {
    let text = format!("{HEAD}\"aaa\",\"bbb\",\"c\r\ncc\"\r\nzzz,yyy,\"x\ry\"");
    let told = read(&text).expect_err("a break in a revision");
    let fault = "it holds a control character or a line break: take it out";
    let expected = [format!("line 2, revision: {fault}"), format!("line 4, revision: {fault}")];
    assert_eq!(told, expected);
    let text = format!("{HEAD}\"a,aa\",bbb,ccc");
    assert_eq!(read(&text), rows(&[(2, ["a,aa", "bbb", "ccc"])]));
}

#[test]
fn rule_7_a_quote_in_a_quoted_field_is_written_twice() {
    let text = format!("{HEAD}\"aaa\",\"b\"\"bb\",\"ccc\"");
    assert_eq!(read(&text), rows(&[(2, ["aaa", "b\"bb", "ccc"])]));
}

#[test]
fn a_quote_that_is_never_closed_does_not_swallow_the_list() {
    let text = format!("{HEAD}aaa,bbb,ccc\r\n\"zzz,yyy,xxx\r\nqqq,rrr,sss\r\n");
    assert_eq!(
        read(&text),
        Err(vec!["line 3: the quote of a cell is never closed: close it".into()])
    );
}

#[test]
fn blank_lines_say_nothing_and_do_not_shift_the_count_of_lines() {
    let text = format!("{HEAD}aaa,bbb,ccc\r\n\r\n\n,,\r\nzzz,yyy,xxx\r\n\r\n");
    assert_eq!(read(&text), rows(&[(2, ["aaa", "bbb", "ccc"]), (6, ["zzz", "yyy", "xxx"])]));
}
