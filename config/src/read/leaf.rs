//! Checks of single values: numbers and text.

use std::sync::Arc;

use serde_json::{Number, Value as Json};

use super::check::{Findings, Spot, check_spot, counted};
use super::describe;
use super::limits::Limits;
use super::schema::{Part, Schema};
use super::tree::{Kind, Node, Value};
use super::wording::{quoted, written};

pub(crate) fn number(
    parts: &[&Part],
    number: &Number,
    spot: Spot<'_>,
    findings: &mut Findings<'_>,
) {
    let limits = Limits::of_number(parts);
    if !limits.allow(number) {
        let wrong = format!("{} is out of range", written(spot.node));
        findings.tell(spot, wrong, limits.words());
    }
}

pub(crate) fn text(
    schema: &Schema,
    parts: &[&Part],
    text: &str,
    spot: Spot<'_>,
    findings: &mut Findings<'_>,
) {
    let length = text.chars().count();
    let limits = Limits::of(parts, "minLength", "maxLength");
    if !limits.allow_count(length) {
        let wrong = if text.is_empty() {
            "this text is empty".to_owned()
        } else {
            format!("this text has {}", counted(length, "character"))
        };
        let allowed = limits.words().map(|words| format!("{words} characters"));
        return findings.tell(spot, wrong, allowed);
    }
    let pattern = |part: &&&Part| {
        let pattern = part.get("pattern").and_then(Json::as_str);
        pattern.is_some_and(|pattern| !schema.matches(pattern, text))
    };
    let format = |part: &&&Part| {
        let format = describe::text_format(part);
        format.is_some_and(|format| !format.allows(text))
    };
    let unfit = parts.iter().find(|part| pattern(part) || format(part));
    if unfit.is_some() {
        let wrong = format!("{} cannot be used here", quoted(text));
        findings.tell(spot, wrong, Some(describe::text(parts)));
    }
}

/// Where text is needed and a bare number or word stands that would do in quotes.
pub(crate) fn as_text(
    schema: &Schema,
    at: &Json,
    spot: Spot<'_>,
    findings: &Findings<'_>,
) -> Option<String> {
    let raw = match &spot.node.value {
        Value::Number(_, raw) => Arc::clone(raw),
        Value::Bool(value) => value.to_string().into(),
        _ => return None,
    };
    let quoted = quoted(&raw);
    let text = Node { mark: spot.mark, value: Value::Text(raw) };
    let mut trial = findings.fresh();
    check_spot(schema, at, Spot { node: &text, ..spot }, &mut trial);
    (trial.len() == 0).then(|| format!("{quoted}, in quotes"))
}

/// Where a whole number is needed and one stands that no program can hold.
pub(crate) fn too_large(schema: &Schema, at: &Json, node: &Node) -> Option<String> {
    let Value::Number(number, raw) = &node.value else {
        return None;
    };
    let digits = raw.trim_start_matches(['+', '-']);
    let whole = number.is_f64() && digits.bytes().all(|byte| byte.is_ascii_digit());
    let needed = whole && schema.fits(at, Kind::Whole);
    needed.then(|| format!("{} is out of range", written(node)))
}
