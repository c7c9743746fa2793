//! What a profile is filled in with: the machine's values, and defaults for the rest.

use std::collections::BTreeMap;

use super::{At, Parameter, ParameterKind, Wrong};
use crate::read::tree::{Entry, Kind, Mark, Node, Value};
use crate::read::wording::{did_you_mean, found, listed, near};

/// A value that goes into a profile.
#[derive(Clone)]
pub(super) struct Argument {
    pub(super) node: Node,
    /// True when the machine says it; else it is the profile's default.
    pub(super) said: bool,
}

pub(super) type Arguments = BTreeMap<String, Argument>;

/// The value of each parameter. `named` is where the machine names the profile.
pub(super) fn arguments(
    parameters: &[Parameter],
    with: Option<&Entry>,
    named: Mark,
) -> Result<Arguments, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let mut all = Arguments::new();
    if let Some(with) = with.filter(|with| !matches!(with.node.value, Value::Map(_) | Value::Null))
    {
        wrongs.push(wrong(
            with.mark,
            "with",
            format!("a group of keys is needed, {}", found(&with.node)),
            names(parameters),
        ));
    }
    let said = with.map(|with| with.node.entries()).unwrap_or_default();
    for entry in said {
        if !parameters.iter().any(|parameter| parameter.name == entry.key) {
            let meant = did_you_mean(near(&entry.key, parameters.iter().map(|p| p.name.as_str())));
            let key = format!("with.{}", entry.key);
            wrongs.push(wrong(
                entry.mark,
                &key,
                format!("unknown parameter{meant}"),
                names(parameters),
            ));
        }
    }
    for parameter in parameters {
        let key = format!("with.{}", parameter.name);
        let entry = said.iter().find(|entry| entry.key == parameter.name);
        let (node, said) = match (entry, &parameter.default) {
            (Some(entry), _) => (Node { mark: entry.mark, ..entry.node.clone() }, true),
            (None, Some(default)) => (node_of(default, named), false),
            (None, None) => {
                let mark = with.map_or(named, |with| with.mark);
                wrongs.push(wrong(
                    mark,
                    &key,
                    "this parameter is missing".to_owned(),
                    parameter.allowed(),
                ));
                continue;
            }
        };
        if parameter.takes(&node) {
            all.insert(parameter.name.clone(), Argument { node, said });
        } else {
            let found = found(&node);
            let wrong = wrong(
                node.mark,
                &key,
                format!("the profile cannot take this: {found}"),
                parameter.allowed(),
            );
            wrongs.push(wrong);
        }
    }
    if wrongs.is_empty() { Ok(all) } else { Err(wrongs) }
}

fn wrong(mark: Mark, key: &str, wrong: String, allowed: String) -> Wrong {
    Wrong { mark, at: At::Machine(key.to_owned()), wrong, allowed }
}

fn names(parameters: &[Parameter]) -> String {
    let names = listed(parameters.iter().map(|parameter| parameter.name.as_str()));
    if names.is_empty() { "no parameters".to_owned() } else { names }
}

impl Parameter {
    fn takes(&self, node: &Node) -> bool {
        let fits = match self.kind {
            ParameterKind::Text => matches!(node.kind(), Kind::Text | Kind::Whole),
            ParameterKind::Number => node.kind() == Kind::Whole,
            ParameterKind::Flag => node.kind() == Kind::Bool,
        };
        fits && (self.choices.is_empty() || self.choices.contains(&node.to_json()))
    }

    fn allowed(&self) -> String {
        let kind = match self.kind {
            ParameterKind::Text => "text",
            ParameterKind::Number => "a whole number",
            ParameterKind::Flag => "true or false",
        };
        let choices: Vec<String> = self.choices.iter().map(plain).collect();
        let what = if choices.is_empty() { kind.to_owned() } else { choices.join(", ") };
        format!("{what}: {}", self.about.trim_end_matches('.'))
    }
}

fn plain(value: &serde_json::Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

/// A single value of JSON as if it were written there. What is no single value is no parameter's.
fn node_of(value: &serde_json::Value, mark: Mark) -> Node {
    let value = match value {
        serde_json::Value::Bool(flag) => Value::Bool(*flag),
        serde_json::Value::Number(number) => {
            Value::Number(number.clone(), number.to_string().into())
        }
        serde_json::Value::String(text) => Value::Text(text.as_str().into()),
        _ => Value::Null,
    };
    Node { mark, value }
}
