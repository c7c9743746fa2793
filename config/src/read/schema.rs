//! The JSON Schema of a settings type, and the questions the check asks it.
//!
//! A schema is looked at as *parts*: the object itself, what it refers to with `$ref`, and what
//! it joins with `allOf`. Choices (`oneOf`, `anyOf`) are left closed here; the check opens them
//! with the value in hand.

use std::cell::RefCell;
use std::collections::HashMap;

use regex::Regex;
use schemars::{JsonSchema, schema_for};
use serde_json::{Map, Value as Json};

use super::tree::Kind;

pub(crate) type Part = Map<String, Json>;

/// Most references and choices followed without reaching a value.
const FARTHEST: usize = 32;
pub(crate) const CHOICES: [&str; 2] = ["oneOf", "anyOf"];

pub(crate) struct Schema {
    root: Json,
    patterns: RefCell<HashMap<String, Option<Regex>>>,
}

impl Schema {
    pub(crate) fn of<T: JsonSchema>() -> Self {
        Self { root: schema_for!(T).to_value(), patterns: RefCell::default() }
    }

    pub(crate) fn root(&self) -> &Json {
        &self.root
    }

    /// The parts of a schema, the outermost first.
    pub(crate) fn parts<'s>(&'s self, schema: &'s Json) -> Vec<&'s Part> {
        let mut parts = Vec::new();
        self.collect(schema, &mut parts);
        parts
    }

    fn collect<'s>(&'s self, schema: &'s Json, parts: &mut Vec<&'s Part>) {
        let Json::Object(part) = schema else { return };
        if parts.len() >= FARTHEST {
            return;
        }
        parts.push(part);
        let target = part.get("$ref").and_then(Json::as_str);
        if let Some(target) = target
            .and_then(|target| target.strip_prefix('#'))
            .and_then(|pointer| self.root.pointer(pointer))
        {
            self.collect(target, parts);
        }
        for joined in part.get("allOf").and_then(Json::as_array).into_iter().flatten() {
            self.collect(joined, parts);
        }
    }

    /// True when a value of this kind can fit, as far as its kind can tell.
    pub(crate) fn fits(&self, schema: &Json, kind: Kind) -> bool {
        self.fits_within(schema, kind, FARTHEST)
    }

    fn fits_within(&self, schema: &Json, kind: Kind, farther: usize) -> bool {
        if farther == 0 || *schema == Json::Bool(false) {
            return false;
        }
        self.parts(schema).into_iter().all(|part| {
            part_fits(part, kind)
                && choices(part).all(|branches| {
                    let mut branches = branches.iter();
                    branches.any(|branch| self.fits_within(branch, kind, farther - 1))
                })
        })
    }

    /// The kinds that fit, without the null that only says "may be left out".
    pub(crate) fn kinds(&self, schema: &Json) -> Vec<Kind> {
        let all = [Kind::Bool, Kind::Whole, Kind::Fraction, Kind::Text, Kind::List, Kind::Map];
        let fits = |kind: &Kind| self.fits(schema, *kind);
        let mut kinds: Vec<Kind> = all.into_iter().filter(fits).collect();
        if kinds.contains(&Kind::Fraction) {
            kinds.retain(|kind| *kind != Kind::Whole);
        }
        if kinds.is_empty() {
            kinds.push(Kind::Null);
        }
        kinds
    }

    /// The values a schema lists one by one; none when it allows anything else but null.
    pub(crate) fn listed<'s>(&'s self, schema: &'s Json) -> Option<Vec<&'s Json>> {
        self.listed_within(schema, FARTHEST)
    }

    fn listed_within<'s>(&'s self, schema: &'s Json, farther: usize) -> Option<Vec<&'s Json>> {
        let mut all = None;
        for part in self.parts(schema) {
            let mut listed: Vec<&Json> = part.get("const").into_iter().collect();
            listed.extend(part.get("enum").and_then(Json::as_array).into_iter().flatten());
            for branches in choices(part).take(if farther == 0 { 0 } else { 2 }) {
                let mut of_branches = Vec::new();
                for branch in branches.iter().filter(|branch| !is_null(branch)) {
                    of_branches.extend(self.listed_within(branch, farther - 1)?);
                }
                listed.extend(of_branches);
            }
            if !listed.is_empty() {
                all.get_or_insert_with(Vec::new).extend(listed);
            }
        }
        all
    }

    /// The schema of a key, as the parts have it: more than one must be fulfilled.
    pub(crate) fn property<'s>(parts: &[&'s Part], key: &str) -> Vec<&'s Json> {
        let find = |part: &&'s Part| part.get("properties")?.get(key);
        parts.iter().filter_map(find).collect()
    }

    /// True when the text matches, or when the pattern is one this program cannot check.
    pub(crate) fn matches(&self, pattern: &str, text: &str) -> bool {
        let mut patterns = self.patterns.borrow_mut();
        let compiled =
            patterns.entry(pattern.to_owned()).or_insert_with(|| Regex::new(pattern).ok());
        compiled.as_ref().is_none_or(|regex| regex.is_match(text))
    }
}

/// The keys of a part.
pub(crate) fn properties(part: &Part) -> impl Iterator<Item = (&str, &Json)> {
    let properties = part.get("properties").and_then(Json::as_object);
    let all = properties.into_iter().flatten();
    all.map(|(key, schema)| (key.as_str(), schema))
}

/// The keys a part cannot do without.
pub(crate) fn required(part: &Part) -> impl Iterator<Item = &str> {
    let required = part.get("required").and_then(Json::as_array);
    required.into_iter().flatten().filter_map(Json::as_str)
}

/// The choices a part leaves open; of each, one branch must be fulfilled.
pub(crate) fn choices(part: &Part) -> impl Iterator<Item = &[Json]> {
    let find = |keyword| part.get(keyword).and_then(Json::as_array);
    CHOICES.into_iter().filter_map(find).map(Vec::as_slice)
}

/// True when the part takes no other keys than those it names.
pub(crate) fn closed(part: &Part) -> bool {
    let refuses = |keyword| part.get(keyword) == Some(&Json::Bool(false));
    refuses("additionalProperties") || refuses("unevaluatedProperties")
}

pub(crate) fn is_null(schema: &Json) -> bool {
    schema.get("type").and_then(Json::as_str) == Some("null")
}

/// True when the part itself does not rule out the kind.
pub(crate) fn part_fits(part: &Part, kind: Kind) -> bool {
    match part.get("type") {
        Some(Json::String(name)) => type_fits(name, kind),
        Some(Json::Array(names)) => {
            names.iter().filter_map(Json::as_str).any(|name| type_fits(name, kind))
        }
        _ => {
            let mut listed = part.get("enum").and_then(Json::as_array).into_iter();
            let one = part.get("const");
            one.is_none_or(|value| kind_of(value) == kind)
                && listed.all(|values| values.iter().any(|value| kind_of(value) == kind))
        }
    }
}

fn type_fits(name: &str, kind: Kind) -> bool {
    match name {
        "null" => kind == Kind::Null,
        "boolean" => kind == Kind::Bool,
        "integer" => kind == Kind::Whole,
        "number" => matches!(kind, Kind::Whole | Kind::Fraction),
        "string" => kind == Kind::Text,
        "array" => kind == Kind::List,
        "object" => kind == Kind::Map,
        _ => true,
    }
}

fn kind_of(value: &Json) -> Kind {
    match value {
        Json::Null => Kind::Null,
        Json::Bool(_) => Kind::Bool,
        Json::Number(number) if number.is_f64() => Kind::Fraction,
        Json::Number(_) => Kind::Whole,
        Json::String(_) => Kind::Text,
        Json::Array(_) => Kind::List,
        Json::Object(_) => Kind::Map,
    }
}
