//! What a schema allows, in words for the person who writes the file.

use serde_json::Value as Json;

use super::choose::tagged;
use super::limits::Limits;
use super::schema::{Part, Schema, choices, is_null, properties};
use super::tree::Kind;
use super::wording::{first_words, kind, listed};

/// Most levels of choices that are put into words.
const FARTHEST: usize = 4;

/// What is allowed, such as `high-first, low-first` or `a whole number, 1 to 247`.
pub(crate) fn describe(schema: &Schema, at: &Json) -> String {
    describe_within(schema, at, FARTHEST)
}

/// What is allowed, and what it is for: for a key that is missing.
pub(crate) fn describe_purpose(schema: &Schema, at: &Json) -> String {
    with_purpose(schema, at, &schema.parts(at))
}

/// What is allowed, and what it is for as these parts have it.
pub(crate) fn with_purpose(schema: &Schema, at: &Json, parts: &[&Part]) -> String {
    let allowed = describe(schema, at);
    match description(parts) {
        Some(purpose) if purpose != allowed => format!("{allowed} ({purpose})"),
        _ => allowed,
    }
}

/// Kinds, one or the other, such as `text or a list`.
pub(crate) fn kinds(schema: &Schema, at: &Json) -> String {
    let kinds: Vec<&str> = schema.kinds(at).into_iter().map(kind).collect();
    kinds.join(" or ")
}

/// A listed value as a person writes it.
pub(crate) fn word(value: &Json) -> String {
    match value {
        Json::String(text) => text.clone(),
        _ => value.to_string(),
    }
}

pub(crate) fn words(values: &[&Json]) -> String {
    let words: Vec<String> = values.iter().map(|value| word(value)).collect();
    listed(words.iter().map(String::as_str))
}

fn describe_within(schema: &Schema, at: &Json, farther: usize) -> String {
    if let Some(values) = schema.listed(at) {
        return words(&values);
    }
    let parts = schema.parts(at);
    let branches = parts.iter().flat_map(|part| choices(part)).flatten();
    let branches: Vec<&Json> = branches.filter(|branch| !is_null(branch)).collect();
    let keyed = parts.iter().any(|part| part.contains_key("properties"));
    if branches.is_empty() || keyed || farther == 0 {
        return plain(schema, at, &parts);
    }
    let groups: Vec<&Json> =
        branches.iter().copied().filter(|branch| schema.fits(branch, Kind::Map)).collect();
    if groups.len() == branches.len()
        && let Some((tag, worded)) = tagged(schema, &groups)
    {
        let words = listed(worded.iter().map(|(word, _)| *word));
        return format!("a group of keys with {tag}: {words}");
    }
    let mut described: Vec<String> = Vec::new();
    for branch in branches {
        let branch = describe_within(schema, branch, farther - 1);
        if !described.contains(&branch) {
            described.push(branch);
        }
    }
    described.join(", or ")
}

fn plain(schema: &Schema, at: &Json, parts: &[&Part]) -> String {
    let allowed = schema.kinds(at);
    match allowed.as_slice() {
        [number @ (Kind::Whole | Kind::Fraction)] => {
            with(kind(*number), Limits::of_number(parts).words(), "")
        }
        [Kind::Text] => text(parts),
        [Kind::List] => {
            with(kind(Kind::List), Limits::of(parts, "minItems", "maxItems").words(), " items")
        }
        [Kind::Map] => group(parts),
        _ => kinds(schema, at),
    }
}

/// How a text is to be written.
pub(crate) fn text(parts: &[&Part]) -> String {
    if let Some(part) = parts.iter().find(|part| part.contains_key("pattern")) {
        let own = description(std::slice::from_ref(part)).or_else(|| description(parts));
        let pattern = part.get("pattern").and_then(Json::as_str);
        return own.unwrap_or_else(|| format!("text that matches {}", pattern.unwrap_or_default()));
    }
    if let Some(format) = parts.iter().find_map(|part| text_format(part)) {
        return format.words().to_owned();
    }
    let limits = Limits::of(parts, "minLength", "maxLength");
    with(kind(Kind::Text), limits.words(), " characters")
}

fn with(what: &str, limits: Option<String>, unit: &str) -> String {
    match limits {
        Some(limits) => format!("{what}, {limits}{unit}"),
        None => what.to_owned(),
    }
}

fn group(parts: &[&Part]) -> String {
    let keys = listed(parts.iter().flat_map(|part| properties(part)).map(|(key, _)| key));
    let several = if keys.contains(", ") { "s" } else { "" };
    if keys.is_empty() { kind(Kind::Map).to_owned() } else { format!("the key{several} {keys}") }
}

/// The first words of the outermost description.
pub(crate) fn description(parts: &[&Part]) -> Option<String> {
    let find = |part: &&Part| part.get("description")?.as_str().map(first_words);
    parts.iter().find_map(find)
}

/// Formats of text that are checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum TextFormat {
    Ip,
    Ipv4,
    Ipv6,
}

impl TextFormat {
    pub(crate) fn named(name: &str) -> Option<Self> {
        match name {
            "ip" => Some(Self::Ip),
            "ipv4" => Some(Self::Ipv4),
            "ipv6" => Some(Self::Ipv6),
            _ => None,
        }
    }

    pub(crate) fn allows(self, text: &str) -> bool {
        match self {
            Self::Ip => text.parse::<std::net::IpAddr>().is_ok(),
            Self::Ipv4 => text.parse::<std::net::Ipv4Addr>().is_ok(),
            Self::Ipv6 => text.parse::<std::net::Ipv6Addr>().is_ok(),
        }
    }

    fn words(self) -> &'static str {
        match self {
            Self::Ip => "an IP address such as 192.0.2.10 or 2001:db8::10",
            Self::Ipv4 => "an IPv4 address such as 192.0.2.10",
            Self::Ipv6 => "an IPv6 address such as 2001:db8::10",
        }
    }
}

/// The format a part demands of a text, if it is one that is checked.
pub(crate) fn text_format(part: &Part) -> Option<TextFormat> {
    TextFormat::named(part.get("format")?.as_str()?)
}
