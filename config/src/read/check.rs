//! Compares a tree with a schema and tells every fault, at the place where it is mended.
//!
//! Own code instead of a general validator, because people need to hear about the branch they
//! meant, not that none of five fitted. The tests compare it with a general validator.

use std::collections::HashSet;

use serde_json::Value as Json;

use super::choose::Picked;
use super::describe::{describe, describe_purpose, description, kinds, with_purpose, words};
use super::leaf;
use super::limits::Limits;
use super::mend::Mend;
use super::path::Path;
use super::schema::{Part, Schema, closed, part_fits, properties, required};
use super::tree::{Mark, Node, Value};
use super::wording::{did_you_mean, found, listed, near, quoted, written};
use crate::fault::Fault;
use crate::lines::Lines;

/// Most faults kept of one file.
const MOST_FAULTS: usize = 1000;

/// A value, its path, and the place that people are sent to: that of its key, if it has one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spot<'a> {
    pub(crate) node: &'a Node,
    pub(crate) path: &'a Path<'a>,
    pub(crate) mark: Mark,
}

/// Where faults go.
pub(crate) struct Findings<'a> {
    lines: &'a Lines,
    faults: Vec<Fault>,
    mends: Vec<(String, Mend)>,
    asked: Option<Asked<'a>>,
}

/// What a schema says of one place, for a fault that is not the schema's.
struct Asked<'a> {
    path: &'a str,
    answer: Option<String>,
}

impl<'a> Findings<'a> {
    pub(crate) fn new(lines: &'a Lines) -> Self {
        Self { lines, faults: Vec::new(), mends: Vec::new(), asked: None }
    }

    /// None yet, for the same file.
    pub(crate) fn fresh(&self) -> Self {
        Self::new(self.lines)
    }

    pub(crate) fn len(&self) -> usize {
        self.faults.len()
    }

    /// Notes what was most likely meant at a place.
    pub(crate) fn mend(&mut self, spot: Spot<'_>, mend: Mend) {
        self.mends.push((spot.path.to_string(), mend));
    }

    pub(crate) fn tell(&mut self, spot: Spot<'_>, wrong: String, allowed: Option<String>) {
        if self.faults.len() >= MOST_FAULTS {
            return;
        }
        let fault = self.lines.fault_at(spot.mark, spot.path.to_string(), wrong);
        self.faults.push(Fault { allowed, ..fault });
        if self.faults.len() == MOST_FAULTS {
            let wrong = format!("more than {MOST_FAULTS} faults; the rest is not told");
            self.faults.push(Fault::of_file(self.lines.file(), wrong));
        }
    }
}

/// Tells what is wrong with the whole tree.
pub(crate) fn check(schema: &Schema, lines: &Lines, root: &Node) -> Vec<Fault> {
    let mut findings = Findings::new(lines);
    let spot = Spot { node: root, path: &Path::Root, mark: root.mark };
    check_spot(schema, schema.root(), spot, &mut findings);
    findings.faults
}

/// What was most likely meant, at each path where the tree has a slip of the pen.
pub(crate) fn mends(schema: &Schema, lines: &Lines) -> Vec<(String, Mend)> {
    let root = lines.root();
    let mut findings = Findings::new(lines);
    let spot = Spot { node: root, path: &Path::Root, mark: root.mark };
    check_spot(schema, schema.root(), spot, &mut findings);
    findings.mends
}

/// What is allowed of a single value at a path, where its schema has words for it.
pub(crate) fn allowed_at(schema: &Schema, lines: &Lines, path: &str) -> Option<String> {
    let mut findings = Findings::new(lines);
    findings.asked = Some(Asked { path, answer: None });
    let root = lines.root();
    let spot = Spot { node: root, path: &Path::Root, mark: root.mark };
    check_spot(schema, schema.root(), spot, &mut findings);
    findings.asked?.answer
}

/// Tells what is wrong with one value and all below it.
pub(crate) fn check_spot(schema: &Schema, at: &Json, spot: Spot<'_>, findings: &mut Findings<'_>) {
    if !schema.fits(at, spot.node.kind()) {
        return wrong_kind(schema, at, spot, findings);
    }
    let mut picked = Picked::default();
    if !picked.gather(schema, at, spot, findings) {
        return;
    }
    if let Some(asked) = &mut findings.asked
        && asked.path == spot.path.to_string()
        && !matches!(spot.node.value, Value::List(_) | Value::Map(_))
        && description(&picked.parts).is_some()
    {
        asked.answer = Some(with_purpose(schema, at, &picked.parts));
    }
    for part in &picked.parts {
        if !part_fits(part, spot.node.kind()) {
            return wrong_kind(schema, at, spot, findings);
        }
    }
    for part in &picked.parts {
        if let Some(values) = own_list(part)
            && !is_listed(&values, spot.node)
        {
            return not_listed(&values, words(&values), spot, findings);
        }
    }
    match &spot.node.value {
        Value::Number(number, _) => leaf::number(&picked.parts, number, spot, findings),
        Value::Text(text) => leaf::text(schema, &picked.parts, text, spot, findings),
        Value::List(_) => list(schema, &picked.parts, spot, findings),
        Value::Map(_) => map(schema, &picked, spot, findings),
        Value::Null | Value::Bool(_) | Value::LeftOut => {}
    }
}

fn own_list(part: &Part) -> Option<Vec<&Json>> {
    if let Some(value) = part.get("const") {
        return Some(vec![value]);
    }
    let values = part.get("enum")?.as_array()?;
    Some(values.iter().collect())
}

pub(crate) fn is_listed(values: &[&Json], node: &Node) -> bool {
    let own = node.to_json();
    values.iter().any(|value| **value == own)
}

/// A value other than those that are listed.
pub(crate) fn not_listed(
    values: &[&Json],
    allowed: String,
    spot: Spot<'_>,
    findings: &mut Findings<'_>,
) {
    let meant = match &spot.node.value {
        Value::Text(text) => near(text, values.iter().filter_map(|value| value.as_str())),
        _ => None,
    };
    if let Some(word) = meant {
        findings.mend(spot, Mend::Word(word.to_owned()));
    }
    let meant = did_you_mean(meant);
    let wrong = format!("{} is not allowed here{meant}", written(spot.node));
    findings.tell(spot, wrong, Some(allowed));
}

/// A value of another kind than is needed.
pub(crate) fn wrong_kind(schema: &Schema, at: &Json, spot: Spot<'_>, findings: &mut Findings<'_>) {
    if let Some(wrong) = leaf::too_large(schema, at, spot.node) {
        return findings.tell(spot, wrong, Some(describe(schema, at)));
    }
    let needed = kinds(schema, at);
    let wrong = format!("{needed} is needed, {}", found(spot.node));
    let as_text = leaf::as_text(schema, at, spot, findings);
    let allowed = as_text.unwrap_or_else(|| describe(schema, at));
    findings.tell(spot, wrong, (allowed != needed).then_some(allowed));
}

fn list(schema: &Schema, parts: &[&Part], spot: Spot<'_>, findings: &mut Findings<'_>) {
    let limits = Limits::of(parts, "minItems", "maxItems");
    let count = spot.node.items().count();
    if !limits.allow_count(count) {
        let wrong = match count {
            0 => "this list is empty".to_owned(),
            _ => format!("this list has {}", counted(count, "item")),
        };
        findings.tell(spot, wrong, limits.words());
    }
    let unique = parts.iter().any(|part| part.get("uniqueItems") == Some(&Json::Bool(true)));
    let mut seen = HashSet::new();
    for (index, node) in spot.node.items() {
        let path = spot.path.item(index);
        let item = Spot { node, path: &path, mark: node.mark };
        if unique && !seen.insert(node.to_json().to_string()) {
            let wrong = "the same item stands in this list before".to_owned();
            findings.tell(item, wrong, Some("each item once".to_owned()));
        }
        for part in parts {
            if let Some(at) = item_schema(part, index) {
                check_spot(schema, at, item, findings);
            }
        }
    }
}

fn item_schema(part: &Part, index: usize) -> Option<&Json> {
    let first = part.get("prefixItems").and_then(Json::as_array);
    let own = first.and_then(|first| first.get(index));
    own.or_else(|| part.get("items"))
}

pub(crate) fn counted(count: usize, what: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {what}{plural}")
}

fn map(schema: &Schema, picked: &Picked<'_>, spot: Spot<'_>, findings: &mut Findings<'_>) {
    let limits = Limits::of(&picked.parts, "minProperties", "maxProperties");
    let count = spot.node.entries().len();
    if !limits.allow_count(count) {
        let wrong = format!("this group has {}", counted(count, "key"));
        findings.tell(spot, wrong, limits.words());
    }
    let mut meant = Vec::new();
    for entry in spot.node.entries() {
        if picked.settled == Some(entry.key.as_str()) {
            continue;
        }
        let path = spot.path.key(&entry.key);
        let below = Spot { node: &entry.node, path: &path, mark: entry.mark };
        let schemas = key_schemas(schema, &picked.parts, &entry.key);
        if schemas.is_empty() && is_closed(picked) && !picked.offered.contains(&entry.key.as_str())
        {
            meant.extend(unknown_key(picked, spot.node, below, &entry.key, findings));
        }
        for at in schemas {
            check_spot(schema, at, below, findings);
        }
    }
    missing(schema, picked, &meant, spot, findings);
}

/// Tells the keys that are missing, those aside that are there under a wrong name.
fn missing(
    schema: &Schema,
    picked: &Picked<'_>,
    meant: &[&str],
    spot: Spot<'_>,
    findings: &mut Findings<'_>,
) {
    let mut told = HashSet::new();
    for key in picked.parts.iter().flat_map(|part| required(part)) {
        let settled = picked.settled == Some(key) || meant.contains(&key);
        if settled || spot.node.entry(key).is_some() || !told.insert(key) {
            continue;
        }
        let path = spot.path.key(key);
        let absent = Spot { path: &path, ..spot };
        let schemas = Schema::property(&picked.parts, key);
        let allowed = schemas.first().map(|at| describe_purpose(schema, at));
        findings.tell(absent, "this key is missing".to_owned(), allowed);
    }
}

pub(crate) fn is_closed(picked: &Picked<'_>) -> bool {
    !picked.open && (picked.closed || picked.parts.iter().any(|part| closed(part)))
}

/// What a key's value must fulfil: as named, as matched, or else as any other key's.
fn key_schemas<'s>(schema: &Schema, parts: &[&'s Part], key: &str) -> Vec<&'s Json> {
    let mut schemas = Schema::property(parts, key);
    for part in parts {
        let patterns = part.get("patternProperties").and_then(Json::as_object);
        for (pattern, at) in patterns.into_iter().flatten() {
            if schema.matches(pattern, key) {
                schemas.push(at);
            }
        }
    }
    if schemas.is_empty() {
        let others = parts.iter().filter_map(|part| part.get("additionalProperties"));
        schemas.extend(others.filter(|other| other.is_object()));
    }
    schemas
}

/// Tells an unknown key; the key that was probably meant, where one is near.
fn unknown_key<'s>(
    picked: &Picked<'s>,
    group: &Node,
    spot: Spot<'_>,
    key: &str,
    findings: &mut Findings<'_>,
) -> Option<&'s str> {
    let named = picked.parts.iter().flat_map(|part| properties(part));
    let mut known: Vec<&str> = named.map(|(key, _)| key).collect();
    known.extend(&picked.offered);
    known.sort_unstable();
    let patterns = picked.parts.iter().filter_map(|part| part.get("patternProperties"));
    let patterns = patterns.filter_map(Json::as_object).flatten();
    let patterns: Vec<String> = patterns.map(|(pattern, _)| matching(pattern)).collect();
    let mut allowed = listed(known.iter().copied().chain(patterns.iter().map(String::as_str)));
    if allowed.is_empty() {
        "no keys".clone_into(&mut allowed);
    }
    let absent = |known: &&str| group.entry(known).is_none();
    let meant = near(key, known.into_iter().filter(absent));
    findings.mend(spot, meant.map_or(Mend::Drop, |meant| Mend::Rename(meant.to_owned())));
    let wrong = format!("unknown key{}", did_you_mean(meant));
    findings.tell(spot, wrong, Some(allowed));
    meant
}

/// Keys that match a pattern, in words where the pattern is that of a number type.
fn matching(pattern: &str) -> String {
    match pattern {
        r"^\d+$" => "whole numbers from 0".to_owned(),
        r"^-?\d+$" => "whole numbers".to_owned(),
        _ => format!("keys that match {}", quoted(pattern)),
    }
}
