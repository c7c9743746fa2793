//! Words that all faults share.

use super::tree::{Kind, Node, Value};

/// Longest piece of the file's own text that a fault repeats, in characters.
const LONGEST_QUOTE: usize = 60;
/// Most names a fault lists.
const MOST_LISTED: usize = 60;

/// A text of the file in quotes, cut when it is long, safe to print.
pub(crate) fn quoted(text: &str) -> String {
    let mut shown: String = text.chars().take(LONGEST_QUOTE).collect();
    if shown.len() < text.len() {
        shown.push('…');
    }
    serde_json::Value::from(shown).to_string()
}

/// What stands somewhere, as part of "this is …".
pub(crate) fn found(node: &Node) -> String {
    match &node.value {
        Value::Null | Value::LeftOut => "nothing is written here".to_owned(),
        Value::Bool(value) => format!("this is {value}"),
        Value::Number(_, raw) => format!("this is the number {}", cut(raw)),
        Value::Text(text) => format!("this is the text {}", quoted(text)),
        Value::List(_) => "this is a list".to_owned(),
        Value::Map(_) => "this is a group of keys".to_owned(),
    }
}

/// A single value as it is written.
pub(crate) fn written(node: &Node) -> String {
    match &node.value {
        Value::Number(_, raw) => cut(raw),
        Value::Text(text) => quoted(text),
        _ => node.to_json().to_string(),
    }
}

fn cut(raw: &str) -> String {
    raw.chars().take(LONGEST_QUOTE).collect()
}

/// What is needed, by kind.
pub(crate) fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Null => "nothing",
        Kind::Bool => "true or false",
        Kind::Whole => "a whole number",
        Kind::Fraction => "a number",
        Kind::Text => "text",
        Kind::List => "a list",
        Kind::Map => "a group of keys",
    }
}

/// Names one after the other, each once.
pub(crate) fn listed<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    let mut once: Vec<&str> = Vec::new();
    for name in names {
        if !once.contains(&name) {
            once.push(name);
        }
    }
    let more = once.len().saturating_sub(MOST_LISTED);
    once.truncate(MOST_LISTED);
    let shown = once.join(", ");
    if more == 0 { shown } else { format!("{shown} and {more} more") }
}

/// The one of the words that was probably meant.
pub(crate) fn near<'a>(word: &str, words: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let plain = |text: &str| text.to_lowercase().replace(['_', ' '], "-");
    let word = plain(word);
    let length = word.chars().count();
    if !(2..=LONGEST_QUOTE).contains(&length) {
        return None;
    }
    let distance = |other: &str| strsim::damerau_levenshtein(&word, &plain(other));
    words
        .into_iter()
        .map(|other| (distance(other), other))
        .filter(|(distance, _)| *distance <= (length / 3).max(1))
        .min()
        .map(|(_, other)| other)
}

/// `, did you mean "…"?` where something near was found.
pub(crate) fn did_you_mean(near: Option<&str>) -> String {
    near.map(|word| format!(", did you mean {}?", quoted(word))).unwrap_or_default()
}

/// The first paragraph of a description, without its full stop.
pub(crate) fn first_words(description: &str) -> String {
    let first = description.split("\n\n").next().unwrap_or_default();
    let line = first.split_whitespace().collect::<Vec<_>>().join(" ");
    line.trim_end_matches('.').replace('`', "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_misses_are_found_and_far_ones_not() {
        let words = ["high-first", "low-first", "host", "port"];
        for (word, expected) in [
            ("hosst", Some("host")),
            ("HighFirst", Some("high-first")),
            ("high_first", Some("high-first")),
            ("prot", Some("port")),
            ("baud", None),
            ("x", None),
            ("", None),
        ] {
            assert_eq!(near(word, words), expected, "{word}");
        }
    }

    #[test]
    fn long_and_odd_text_is_cut_and_escaped() {
        assert_eq!(quoted("a\nb\u{1b}"), "\"a\\nb\\u001b\"");
        assert_eq!(quoted(&"é".repeat(100)).chars().count(), 63);
    }

    #[test]
    fn a_description_gives_its_first_paragraph() {
        assert_eq!(first_words("Where `x` is,\nas text.\n\nMore."), "Where x is, as text");
    }
}
