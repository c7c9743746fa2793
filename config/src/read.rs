//! Reads a configuration file into its type, or tells everything that is wrong with it.
//!
//! The text becomes a tree that knows its lines (`yaml`); the tree is compared with the JSON
//! Schema of the type (`check`), which finds all faults at once; only then the type itself is
//! read (`typed`). So the schema that is published is the schema that is enforced, and a type
//! says what it allows by its schema: `deny_unknown_fields`, ranges, lengths, patterns with a
//! description. Keys have one spelling: `serde(alias)` is not part of a schema.

mod check;
mod choose;
mod culprit;
mod describe;
mod leaf;
mod limits;
mod mend;
pub(crate) mod path;
mod scalar;
mod schema;
mod syntax;
pub(crate) mod tree;
mod typed;
mod unchecked;
pub(crate) mod wording;
mod yaml;

use schemars::{JsonSchema, schema_for};
use serde::de::DeserializeOwned;
use serde_json::Value as Json;

use crate::fault::{Fault, settled};
use crate::lines::Lines;
use schema::Schema;

/// Reads a configuration; `file` is the name that faults show.
///
/// # Errors
/// All faults, in the order of the file: of the text if it is no YAML or out of bounds, else of
/// every key and value.
pub fn read<T: DeserializeOwned + JsonSchema>(
    file: &str,
    text: &str,
) -> Result<(T, Lines), Vec<Fault>> {
    let (root, faults) = yaml::parse(file, text).map_err(settled)?;
    let lines = Lines::new(file, root);
    let settings = of_tree(&lines, faults)?;
    Ok((settings, lines))
}

/// The tree of a text, and what is wrong with it already.
///
/// # Errors
/// What keeps the text from being read to its end.
pub(crate) fn tree(file: &str, text: &str) -> Result<(tree::Node, Vec<Fault>), Vec<Fault>> {
    yaml::parse(file, text).map_err(settled)
}

/// Reads a configuration from its tree, of which these faults are known already.
///
/// # Errors
/// As for [`read`].
pub(crate) fn of_tree<T: DeserializeOwned + JsonSchema>(
    lines: &Lines,
    mut faults: Vec<Fault>,
) -> Result<T, Vec<Fault>> {
    let schema = Schema::of::<T>();
    faults.extend(check::check(&schema, lines, lines.root()));
    if !faults.is_empty() {
        return Err(settled(faults));
    }
    typed::typed(&schema, lines).map_err(settled)
}

/// The same tree with slips of the pen read as they were meant, for a look at what else is wrong.
pub(crate) fn mended<T: JsonSchema>(lines: &Lines) -> Lines {
    mend::mended(lines, check::mends(&Schema::of::<T>(), lines))
}

/// The JSON Schema (draft 2020-12) of a configuration, for publishing: always the same text for
/// the same type.
#[must_use]
pub fn schema<T: JsonSchema>() -> String {
    printed(schema_of::<T>())
}

pub(crate) fn schema_of<T: JsonSchema>() -> Json {
    schema_for!(T).to_value()
}

/// A schema as it is published.
pub(crate) fn printed(schema: Json) -> String {
    let printed = schemars::Schema::try_from(sorted(schema))
        .and_then(|schema| serde_json::to_string_pretty(&schema));
    // A schema is always an object with text for keys.
    printed.unwrap_or_default()
}

/// What the schema of a type demands that [`read`] does not check, by its place in the schema.
/// A test keeps this empty.
#[must_use]
pub fn unchecked<T: JsonSchema>() -> Vec<String> {
    unchecked::unchecked(&Schema::of::<T>())
}

/// With keys in alphabetical order, whatever order the map type of this build keeps.
fn sorted(json: Json) -> Json {
    match json {
        Json::Object(entries) => {
            let sorted: std::collections::BTreeMap<String, Json> =
                entries.into_iter().map(|(key, value)| (key, sorted(value))).collect();
            sorted.into_iter().collect()
        }
        Json::Array(items) => items.into_iter().map(sorted).collect(),
        other => other,
    }
}
