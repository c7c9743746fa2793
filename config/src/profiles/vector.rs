//! A profile's own tests: what a machine's memory holds, and the signals that follow from it.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};
use stencilward_adapters::modbus::{BitTable, Image, RegisterTable};
use stencilward_domain::signal::Said;

use super::arguments::arguments;
use super::{At, Profile, Shelf, Test, Wrong, fill};
use crate::configuration::MachineSettings;
use crate::fault::Fault;
use crate::lines::Lines;
use crate::read::tree::{Entry, Node, Value};

/// What the machine shows in one round, and what it says by that. Addresses are those of the
/// protocol, from 0; what is not given is 0 or off.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Step {
    /// Coils.
    pub coil: BTreeMap<u16, bool>,
    /// Discrete inputs.
    pub discrete: BTreeMap<u16, bool>,
    /// Input registers, from this address on.
    pub input: BTreeMap<u16, Words>,
    /// Holding registers, from this address on.
    pub holding: BTreeMap<u16, Words>,
    /// The signals that follow in this round, in their order, each with the fields that matter.
    /// That the link is up is left out.
    pub gives: Vec<Map<String, Json>>,
}

/// The content of registers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Words {
    /// One register.
    One(u16),
    /// One after the other.
    Several(Vec<u16>),
    /// Text, two characters a register, the first in the high byte, up to a NUL.
    Text(String),
}

impl Words {
    /// The registers' content.
    #[must_use]
    pub fn registers(&self) -> Vec<u16> {
        match self {
            Self::One(word) => vec![*word],
            Self::Several(words) => words.clone(),
            Self::Text(text) => {
                let bytes: Vec<u8> = text.bytes().chain([0]).collect();
                let pair = |pair: &[u8]| {
                    let byte = |at: usize| pair.get(at).copied().unwrap_or(0);
                    u16::from_be_bytes([byte(0), byte(1)])
                };
                bytes.chunks(2).map(pair).collect()
            }
        }
    }
}

/// A test that can be run.
#[derive(Debug, Clone, PartialEq)]
pub struct Vector {
    /// The profile's file.
    pub file: String,
    /// The line of the test.
    pub line: usize,
    /// What it shows.
    pub about: String,
    /// The machine, filled in.
    pub machine: MachineSettings,
    /// What it shows one round after the other.
    pub steps: Vec<Step>,
}

impl Step {
    fn image(&self) -> Image {
        let mut image = Image::default();
        for (table, bits) in [(BitTable::Coil, &self.coil), (BitTable::Discrete, &self.discrete)] {
            bits.iter().for_each(|(at, on)| image.set_bit(table, *at, *on));
        }
        let registers =
            [(RegisterTable::Input, &self.input), (RegisterTable::Holding, &self.holding)];
        for (table, words) in registers {
            words.iter().for_each(|(at, words)| {
                image.set_registers(table, *at, &words.registers());
            });
        }
        image
    }

    /// What is wrong with the signals that followed, if they are not those that are expected.
    fn differs(&self, said: &[Said]) -> Option<String> {
        let told = said.iter().filter(|said| !matches!(said, Said::LinkUp { .. }));
        let told: Vec<Json> = told.filter_map(|said| serde_json::to_value(said).ok()).collect();
        let same = |(expected, told): (&Map<String, Json>, &Json)| {
            expected.iter().all(|(key, value)| told.get(key) == Some(value))
        };
        let expected = &self.gives;
        let all = told.len() == expected.len() && expected.iter().zip(&told).all(same);
        let shown = |signals: Vec<Json>| Json::from(signals).to_string();
        (!all).then(|| {
            let expected = expected.iter().cloned().map(Json::Object);
            format!("expected {}, got {}", shown(expected.collect()), shown(told))
        })
    }
}

impl Vector {
    /// Runs it through the decoder that reads real machines. Gives the first step that gives
    /// other signals than are expected, or that cannot be understood.
    #[must_use]
    pub fn run(&self) -> Option<Fault> {
        let fault = |wrong: String| Fault {
            line: Some(self.line),
            ..Fault::of_file(&self.file, format!("{}: {wrong}", self.about))
        };
        let Some(settings) = &self.machine.modbus else {
            return Some(fault("only machines that speak Modbus can be tested".to_owned()));
        };
        let images: Vec<Image> = self.steps.iter().map(Step::image).collect();
        let rounds = settings.says(&images);
        let mut steps = (1..).zip(self.steps.iter().zip(&rounds));
        steps.find_map(|(number, (step, (said, troubles)))| {
            let wrong = troubles.first().cloned().or_else(|| step.differs(said))?;
            Some(fault(format!("step {number}: {wrong}")))
        })
    }
}

/// The tests of the plant's own profiles, or of those shipped where the plant has no folder.
///
/// # Errors
/// Every fault of the profiles, and of the machines their tests make.
pub fn vectors(shelf: &Shelf) -> Result<Vec<Vector>, Vec<Fault>> {
    let (mut vectors, mut faults) = (Vec::new(), Vec::new());
    for (_, text) in shelf.each() {
        match text.and_then(|text| of_profile(&text.file, &text.text)) {
            Ok(of_profile) => vectors.extend(of_profile),
            Err(of_profile) => faults.extend(of_profile),
        }
    }
    if faults.is_empty() { Ok(vectors) } else { Err(faults) }
}

fn of_profile(file: &str, text: &str) -> Result<Vec<Vector>, Vec<Fault>> {
    let (profile, lines) = Profile::read(file, text)?;
    let (mut vectors, mut faults) = (Vec::new(), Vec::new());
    for (index, test) in profile.settings.tests.iter().enumerate() {
        match vector(&profile, test, &lines, index) {
            Ok(vector) => vectors.push(vector),
            Err(of_test) => faults.extend(of_test),
        }
    }
    if faults.is_empty() { Ok(vectors) } else { Err(faults) }
}

fn vector(
    profile: &Profile,
    test: &Test,
    lines: &Lines,
    index: usize,
) -> Result<Vector, Vec<Fault>> {
    let path = format!("tests[{index}]");
    let entry = |path: &str, node: Node| Entry { key: path.to_owned(), mark: node.mark, node };
    let mark = lines.root().mark;
    let with = lines
        .root()
        .entry("tests")
        .and_then(|tests| tests.node.items().nth(index))
        .and_then(|(_, test)| test.entry("with"));
    let filled = arguments(&profile.settings.parameters, with, mark)
        .and_then(|arguments| fill::fill(&profile.machine, &arguments));
    let filled = filled.map_err(|wrongs| told(lines, &path, wrongs))?;
    let name = Node { mark: filled.mark, value: Value::Text("tested".into()) };
    let named = filled.entries().iter().cloned().chain([entry("name", name)]);
    let root = Node { value: Value::map(named.collect::<Vec<_>>()), ..filled };
    let whole = Lines::new(lines.file(), root);
    let machine: MachineSettings = crate::read::of_tree(&whole, Vec::new())?;
    let line = lines.line(&path).unwrap_or(1);
    let (about, steps) = (test.about.clone(), test.steps.clone());
    Ok(Vector { file: lines.file().to_owned(), line, about, machine, steps })
}

fn told(lines: &Lines, test: &str, wrongs: Vec<Wrong>) -> Vec<Fault> {
    let told = wrongs.into_iter().map(|wrong| {
        let path = match wrong.at {
            At::Machine(key) => format!("{test}.{key}"),
            At::Profile(path) => path,
        };
        lines.fault_at(wrong.mark, path, wrong.wrong).allowing(wrong.allowed)
    });
    told.collect()
}
