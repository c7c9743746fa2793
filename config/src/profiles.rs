//! Profiles: descriptions of a kind of machine that plants fill in with their own addresses.
//!
//! A machine that names a profile is laid over it before anything is checked, so that all checks
//! see a whole machine; what comes from the profile keeps its place in the profile's file.

mod arguments;
mod fill;
mod shelf;
mod vector;

use std::collections::BTreeMap;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::fault::Fault;
use crate::lines::{self, Lines};
use crate::read::tree::{Entry, Mark, Node, Value};
use crate::read::wording::{did_you_mean, found, listed, near, quoted};
use arguments::arguments;

pub use shelf::Shelf;
pub use vector::{Step, Vector, Words, vectors};

/// A profile as its author writes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct ProfileSettings {
    /// What sort of machine it is for, in a sentence.
    pub about: String,
    /// What a machine that names it says with `with`.
    #[serde(default)]
    pub parameters: Vec<Parameter>,
    /// The machine, with `$(parameter)` where a value goes in.
    pub machine: serde_json::Map<String, serde_json::Value>,
    /// Its own tests: what the machine's memory holds, and the signals that follow.
    #[serde(default)]
    pub tests: Vec<Test>,
}

/// A value that a profile leaves open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Parameter {
    /// Its name: small letters, digits and hyphens.
    #[schemars(regex(pattern = r"^[a-z][a-z0-9-]*$"))]
    pub name: String,
    /// What sort of value it takes.
    #[serde(rename = "type")]
    pub kind: ParameterKind,
    /// What it means.
    pub about: String,
    /// Its value where the machine says none; without one the machine must.
    #[serde(default)]
    pub default: Option<serde_json::Value>,
    /// The only values it takes, where they are few.
    #[serde(default)]
    pub choices: Vec<serde_json::Value>,
}

/// What sort of value a parameter takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ParameterKind {
    /// Text, a span of time among it.
    Text,
    /// A whole number, which can be reckoned with.
    Number,
    /// True or false.
    Flag,
}

/// One test of a profile.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Test {
    /// What it shows.
    pub about: String,
    /// The parameters it is filled in with.
    #[serde(default)]
    pub with: serde_json::Map<String, serde_json::Value>,
    /// What the machine shows one round after the other.
    pub steps: Vec<Step>,
}

/// A configuration whose machines are whole.
pub(crate) struct Filled {
    pub(crate) root: Node,
    /// The files it was read from, as marks number them.
    pub(crate) files: Vec<String>,
    /// The texts of the plant's own profiles among them.
    pub(crate) own: Vec<String>,
    pub(crate) faults: Vec<Fault>,
}

/// A profile that was read.
struct Profile {
    settings: ProfileSettings,
    /// The machine, with its marks.
    machine: Node,
}

/// Fills in every machine that names a profile. One for which that fails is left out.
pub(crate) fn fill_in(file: &str, root: &Node, shelf: &Shelf) -> Filled {
    let mut work = Work {
        shelf,
        files: vec![file.to_owned()],
        own: BTreeMap::new(),
        known: BTreeMap::new(),
        faults: Vec::new(),
    };
    let root = work.root(root);
    let own = work.own.into_values().collect();
    Filled { root, files: work.files, own, faults: work.faults }
}

struct Work<'a> {
    shelf: &'a Shelf,
    files: Vec<String>,
    own: BTreeMap<String, String>,
    /// Profiles read, none for the faulty.
    known: BTreeMap<String, Option<Arc<Profile>>>,
    faults: Vec<Fault>,
}

impl Work<'_> {
    fn root(&mut self, root: &Node) -> Node {
        let entries = root.entries().iter().map(|entry| match &entry.node.value {
            Value::List(machines) if entry.key == "machines" => {
                let machines = machines.iter().zip(0..);
                let filled = machines.map(|(machine, index)| self.machine(machine, index));
                let value = Value::list(filled);
                Entry { node: Node { value, ..entry.node }, ..entry.clone() }
            }
            _ => entry.clone(),
        });
        match &root.value {
            Value::Map(_) => Node { value: Value::map(entries.collect::<Vec<_>>()), ..*root },
            _ => root.clone(),
        }
    }

    fn machine(&mut self, machine: &Node, index: usize) -> Node {
        let path = lines::item("machines", index);
        let Some(named) = machine.entry("profile") else {
            if let Some(with) = machine.entry("with") {
                let wrong = "this machine names no profile to fill in";
                self.fault(with.mark, lines::key(&path, "with"), wrong, "profile: NAME beside it");
            }
            return machine.clone();
        };
        let filled = self.profile(named, &path).and_then(|profile| {
            let with = machine.entry("with");
            let outcome = arguments(&profile.settings.parameters, with, named.mark)
                .and_then(|arguments| fill::fill(&profile.machine, &arguments));
            outcome.map_err(|wrongs| self.wrong(wrongs, &path)).ok()
        });
        match filled {
            Some(filled) => overlay(&filled, &without_profile(machine)),
            None => Node { value: Value::LeftOut, ..*machine },
        }
    }

    /// The profile that a machine names.
    fn profile(&mut self, named: &Entry, path: &str) -> Option<Arc<Profile>> {
        let path = lines::key(path, "profile");
        let Value::Text(name) = &named.node.value else {
            let wrong = format!("the name of a profile is needed, {}", found(&named.node));
            self.fault(named.mark, path, wrong, self.shelf.names().join(", "));
            return None;
        };
        if let Some(known) = self.known.get(&**name) {
            return known.clone();
        }
        let Some(text) = self.shelf.find(name) else {
            let names = self.shelf.names();
            let meant = did_you_mean(near(name, names.iter().map(String::as_str)));
            let wrong = format!("there is no profile {}{meant}", quoted(name));
            self.fault(named.mark, path, wrong, listed(names.iter().map(String::as_str)));
            return None;
        };
        let read = text.and_then(|text| {
            let number = self.files.len();
            let read = Profile::read(&text.file, &text.text)?.0.in_file(number);
            self.files.push(text.file.clone());
            if text.own {
                self.own.insert(text.file, text.text);
            }
            Ok(read)
        });
        let read = read.map_err(|faults| self.faults.extend(faults)).ok().map(Arc::new);
        self.known.insert(name.to_string(), read.clone());
        read
    }

    /// Takes in what is wrong with values of the machine or places of the profile.
    fn wrong(&mut self, wrongs: Vec<Wrong>, machine: &str) {
        for wrong in wrongs {
            let path = match wrong.at {
                At::Machine(key) => format!("{machine}.{key}"),
                At::Profile(path) => path,
            };
            self.fault(wrong.mark, path, wrong.wrong, wrong.allowed);
        }
    }

    fn fault(
        &mut self,
        mark: Mark,
        path: String,
        wrong: impl Into<String>,
        allowed: impl Into<String>,
    ) {
        let file = self.files.get(mark.file).cloned().unwrap_or_default();
        let fault = Fault::of_file(file, wrong).allowing(allowed);
        let (line, column) = (Some(mark.line), Some(mark.column));
        self.faults.push(Fault { line, column, path, ..fault });
    }
}

/// Something wrong with what a profile is filled in with, or with the profile.
struct Wrong {
    mark: Mark,
    at: At,
    wrong: String,
    allowed: String,
}

enum At {
    /// A key of the machine.
    Machine(String),
    /// A path in the profile.
    Profile(String),
}

impl Profile {
    fn read(file: &str, text: &str) -> Result<(Self, Lines), Vec<Fault>> {
        let (settings, lines) = crate::read::read::<ProfileSettings>(file, text)?;
        let machine = lines.root().entry("machine").map(|entry| entry.node.clone());
        // The schema asks for the key.
        let machine = machine.unwrap_or_else(|| lines.root().clone());
        Ok((Self { settings, machine }, lines))
    }

    fn in_file(self, file: usize) -> Self {
        Self { machine: self.machine.in_file(file), ..self }
    }
}

/// The schema of the configuration with machines that name a profile: of these only their name is
/// needed, and the rest is checked once it is filled in.
pub(crate) fn published(mut schema: serde_json::Value) -> serde_json::Value {
    let by_profile = serde_json::json!({
        "type": "object",
        "description": "A machine that is described by a profile. All other keys are those of a \
                        machine and are laid over the profile's; `key+` adds to a list.",
        "required": ["name", "profile"],
        "properties": {
            "name": { "type": "string" },
            "profile": { "type": "string", "description": "The profile's name." },
            "with": { "type": "object", "description": "Values for the profile's parameters." },
        },
    });
    if let Some(machines) = schema.pointer_mut("/properties/machines/items") {
        let whole = machines.take();
        *machines = serde_json::json!({
            "if": { "type": "object", "required": ["profile"] },
            "then": by_profile,
            "else": whole,
        });
    }
    schema
}

fn without_profile(machine: &Node) -> Node {
    let rest = |entry: &&Entry| entry.key != "profile" && entry.key != "with";
    let rest = machine.entries().iter().filter(rest).cloned();
    Node { value: Value::map(rest.collect::<Vec<_>>()), ..*machine }
}

/// One laid over the other: groups of keys join, `key+` adds to a list, all else replaces.
fn overlay(below: &Node, above: &Node) -> Node {
    if !matches!((&below.value, &above.value), (Value::Map(_), Value::Map(_))) {
        return above.clone();
    }
    let mut entries = below.entries().to_vec();
    for entry in above.entries() {
        let key = entry.key.strip_suffix('+').unwrap_or(&entry.key);
        let adds = key.len() < entry.key.len();
        match entries.iter_mut().find(|below| below.key == key) {
            Some(below) if adds => below.node = joined(&below.node, &entry.node),
            Some(below) => {
                let node = overlay(&below.node, &entry.node);
                *below = Entry { node, ..entry.clone() };
            }
            None => entries.push(Entry { key: key.to_owned(), ..entry.clone() }),
        }
    }
    Node { value: Value::map(entries), ..*above }
}

fn joined(below: &Node, above: &Node) -> Node {
    match (&below.value, &above.value) {
        (Value::List(below_items), Value::List(above_items)) => {
            let items = below_items.iter().chain(&**above_items).cloned();
            Node { value: Value::list(items.collect::<Vec<_>>()), ..*below }
        }
        _ => above.clone(),
    }
}
