//! From a checked tree to the typed settings, and what only the types can find wrong.
//!
//! Types with a reading of their own refuse values that their schema cannot rule out. They stop
//! at the first one and, within tagged or flattened types, do not say where it is. So the value
//! is found by trying (see [`culprit`]), left out, and the rest is read again.

use serde::de::DeserializeOwned;
use serde_json::Value as Json;
use serde_path_to_error::{Path as SerdePath, Segment};

use super::check::{allowed_at, check};
use super::culprit::culprit;
use super::path::{Step, item, key, steps};
use super::schema::Schema;
use super::tree::{Node, Value};
use crate::fault::Fault;
use crate::lines::Lines;

/// Most faults of this sort that are found at once.
const MOST_FAULTS: usize = 10;

/// The typed settings.
///
/// # Errors
/// Every fault that could be found by leaving out what is wrong and reading on.
pub(crate) fn typed<T: DeserializeOwned>(schema: &Schema, lines: &Lines) -> Result<T, Vec<Fault>> {
    let mut root = lines.root().clone();
    let mut faults = Vec::new();
    loop {
        let (path, wrong) = match read::<T>(&root) {
            Ok(settings) if faults.is_empty() => return Ok(settings),
            Ok(_) => return Err(faults),
            Err(refusal) => refusal,
        };
        let fault = lines.fault(path.clone(), wrong);
        let allowed = allowed_at(schema, lines, &path);
        faults.push(Fault { allowed, ..fault });
        if faults.len() == MOST_FAULTS {
            return Err(faults);
        }
        match without(schema, lines, &root, &path) {
            Some(rest) => root = rest,
            None => return Err(faults),
        }
    }
}

/// The settings, or the path of what is wrong and why.
fn read<T: DeserializeOwned>(root: &Node) -> Result<T, (String, String)> {
    let mut json = root.to_json();
    let error = match serde_path_to_error::deserialize(&json) {
        Ok(settings) => return Ok(settings),
        Err(error) => error,
    };
    let wrong = error.inner().to_string();
    let pointer = json_steps(error.path(), &json);
    let pointer = culprit::<T>(&mut json, pointer);
    Err((written(root, &pointer), wrong))
}

/// The steps that lead somewhere; names of variants that are no keys do not.
fn json_steps(path: &SerdePath, json: &Json) -> Vec<Step<'static>> {
    let mut steps = Vec::new();
    let mut at = json;
    for segment in path {
        let (below, step) = match segment {
            Segment::Seq { index } => (at.get(*index), Step::Item(*index)),
            Segment::Map { key: name } | Segment::Enum { variant: name } => {
                (at.get(name), Step::Key(name.clone().into()))
            }
            Segment::Unknown => (None, Step::Item(0)),
        };
        match (below, segment) {
            (Some(below), _) => {
                at = below;
                steps.push(step);
            }
            (None, Segment::Enum { .. }) => {}
            (None, _) => break,
        }
    }
    steps
}

/// The path in the file: items that were left out count again.
fn written(root: &Node, steps: &[Step<'_>]) -> String {
    let (mut path, mut node) = (String::new(), root);
    for step in steps {
        let below = match step {
            Step::Key(name) => {
                path = key(&path, name);
                node.entry(name).map(|entry| &entry.node)
            }
            Step::Item(index) => {
                let found = node.items().nth(*index);
                path = item(&path, found.map_or(*index, |(index, _)| index));
                found.map(|(_, node)| node)
            }
        };
        match below {
            Some(below) => node = below,
            None => break,
        }
    }
    path
}

/// The tree without the smallest part around `path` that it can do without.
fn without(schema: &Schema, lines: &Lines, root: &Node, path: &str) -> Option<Node> {
    let steps: Vec<Step<'_>> = steps(path).collect();
    (1..=steps.len()).rev().find_map(|length| {
        let mut rest = root.clone();
        remove(&mut rest, steps.get(..length)?)?;
        check(schema, lines, &rest).is_empty().then_some(rest)
    })
}

fn remove(node: &mut Node, steps: &[Step<'_>]) -> Option<()> {
    let (step, deeper) = steps.split_first()?;
    match (&mut node.value, step) {
        (Value::Map(entries), Step::Key(name)) => {
            let entries = std::sync::Arc::make_mut(entries);
            let index = entries.iter().position(|entry| entry.key == **name)?;
            if deeper.is_empty() {
                entries.remove(index);
                return Some(());
            }
            remove(&mut entries.get_mut(index)?.node, deeper)
        }
        (Value::List(items), Step::Item(index)) => {
            let item = std::sync::Arc::make_mut(items).get_mut(*index)?;
            if deeper.is_empty() {
                item.value = Value::LeftOut;
                return Some(());
            }
            remove(item, deeper)
        }
        _ => None,
    }
}
