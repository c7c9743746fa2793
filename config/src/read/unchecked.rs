//! What a schema demands that the check does not look at, so that nobody relies on it.

use serde_json::Value as Json;

use super::describe::TextFormat;
use super::limits::type_limits;
use super::schema::Schema;

/// Keywords that are checked, or that only describe.
const KNOWN: [&str; 36] = [
    "$comment",
    "$defs",
    "$id",
    "$ref",
    "$schema",
    "additionalProperties",
    "allOf",
    "anyOf",
    "const",
    "default",
    "deprecated",
    "description",
    "enum",
    "examples",
    "format",
    "items",
    "maxItems",
    "maxLength",
    "maxProperties",
    "maximum",
    "minItems",
    "minLength",
    "minProperties",
    "minimum",
    "oneOf",
    "pattern",
    "patternProperties",
    "prefixItems",
    "properties",
    "readOnly",
    "required",
    "title",
    "type",
    "unevaluatedProperties",
    "uniqueItems",
    "writeOnly",
];

/// Each demand that is not checked, with the place in the schema it stands at.
pub(crate) fn unchecked(schema: &Schema) -> Vec<String> {
    let mut all = Vec::new();
    collect(schema.root(), "#", &mut all);
    all
}

fn collect(schema: &Json, at: &str, all: &mut Vec<String>) {
    let Json::Object(schema) = schema else { return };
    for (keyword, value) in schema {
        let here = format!("{at}/{keyword}");
        match keyword.as_str() {
            "properties" | "patternProperties" | "$defs" => {
                for (name, below) in value.as_object().into_iter().flatten() {
                    if keyword == "patternProperties" {
                        pattern(name, &here, all);
                    }
                    collect(below, &format!("{here}/{name}"), all);
                }
            }
            "allOf" | "anyOf" | "oneOf" | "prefixItems" => {
                for (index, below) in value.as_array().into_iter().flatten().enumerate() {
                    collect(below, &format!("{here}/{index}"), all);
                }
            }
            "items" | "additionalProperties" => collect(value, &here, all),
            "unevaluatedProperties" if !value.is_boolean() => all.push(here),
            "pattern" => pattern(value.as_str().unwrap_or_default(), &here, all),
            "format" if !format_is_known(value) => all.push(format!("{here}: {value}")),
            known if KNOWN.contains(&known) => {}
            _ => all.push(here),
        }
    }
}

fn pattern(pattern: &str, here: &str, all: &mut Vec<String>) {
    if regex::Regex::new(pattern).is_err() {
        all.push(format!("{here}: {pattern}"));
    }
}

fn format_is_known(value: &Json) -> bool {
    let name = value.as_str().unwrap_or_default();
    let of_numbers = matches!(name, "float" | "double") || type_limits(name).is_some();
    of_numbers || TextFormat::named(name).is_some()
}
