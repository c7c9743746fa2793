//! What keeps a text from being YAML, said in plain words.

use saphyr_parser::ScanError;

use super::tree::Mark;
use crate::fault::Fault;

/// A part of the parser's message, what it means, and how to mend it.
const KNOWN: &[(&str, &str, &str)] = &[
    (
        "mapping values are not allowed",
        "a second \": \" in one value, or a line indented further than its neighbours",
        "text that holds \": \" in quotes; keys of one group exactly below each other; a blank after \
         the \":\" of each key",
    ),
    ("simple key expect", "a key without its \":\"", "\"key: value\""),
    (
        "did not find expected key",
        "this line does not line up with the keys above it",
        "keys of one group exactly below each other",
    ),
    (
        "did not find expected '-'",
        "this line does not line up with the list above it",
        "\"- \" of one list, and the keys of one item, exactly below each other",
    ),
    (
        "block sequence entries are not allowed",
        "a list cannot begin on the line of its key",
        "each \"- \" on a line of its own, below the key",
    ),
    (
        "unknown anchor",
        "an alias (\"*\") of what is not marked with \"&\" before",
        "an anchor \"&name\" above the alias; text that begins with \"*\" in quotes",
    ),
    ("unexpected character", "text cannot begin with this character", "the text in quotes"),
    (
        "plain scalar cannot start",
        "text cannot begin with \"-\" and a bracket or comma",
        "the text in quotes",
    ),
    (
        "trailing content after double-quoted",
        "more text after the closing quote",
        "a quote within '…' written twice, within \"…\" as \\\"",
    ),
    (
        "unknown escape character",
        "\"\\\" followed by a character that has no meaning after it",
        "text that holds \"\\\" in single quotes",
    ),
    ("scanning a quoted scalar", "a quote is opened and not closed", "a closing quote"),
    (
        "indentation in quoted scalar",
        "a quote is opened and not closed before the next key",
        "a closing quote",
    ),
    (
        "flow construct",
        "a bracket is opened and not closed before the next key",
        "a closing bracket",
    ),
    (
        "flow mapping, did not find",
        "a \"{\" is not closed, or a comma is missing within it",
        "{key: value, key: value}",
    ),
    (
        "flow sequence, expected",
        "a \"[\" is not closed, or a comma is missing within it",
        "[value, value]",
    ),
    ("expected node content", "a value is missing here", "a value, or no comma"),
    (
        "misplaced bracket",
        "a closing bracket that was never opened",
        "text that holds brackets in quotes",
    ),
    ("unprintable character", "a control character", "printable characters"),
];

/// What a parser's error means.
pub(crate) fn explain(file: &str, text: &str, error: &ScanError) -> Box<Fault> {
    let line = error.marker().line().min(last_line(text));
    let mark = Mark { file: 0, line, column: error.marker().col() + 1 };
    if error.info().contains("recursion limit") {
        return Box::new(too_deep(file, mark, 64));
    }
    let fault = |line, wrong: &str| Fault {
        line: Some(line),
        column: Some(mark.column),
        ..Fault::of_file(file, wrong)
    };
    if error.info().contains("tab")
        && let Some(line) = tab_near(text, line)
    {
        let wrong = "a tab at the beginning of the line";
        return Box::new(fault(line, wrong).allowing("spaces"));
    }
    let bare = error.info().contains("simple key expect");
    let bare = bare.then(|| bare_word_before(text, error.marker().line()));
    let line = bare.flatten().unwrap_or(line);
    let known = KNOWN.iter().find(|(part, ..)| error.info().contains(part));
    Box::new(match known {
        Some((_, wrong, remedy)) => fault(line, wrong).allowing(*remedy),
        None => fault(line, &format!("this is not YAML: {}", error.info())),
    })
}

/// More levels than are taken.
pub(crate) fn too_deep(file: &str, mark: Mark, deepest: usize) -> Fault {
    let fault = Fault {
        line: Some(mark.line),
        column: Some(mark.column),
        ..Fault::of_file(file, "lists and keys are nested too deeply here")
    };
    fault.allowing(format!("{deepest} levels"))
}

/// The last line before `end` that holds anything, if it holds no key.
fn bare_word_before(text: &str, end: usize) -> Option<usize> {
    let mut before: Vec<&str> = text.lines().take(end.saturating_sub(1)).collect();
    while let Some(line) = before.pop() {
        let line = line.trim_start();
        if !line.is_empty() && !line.starts_with('#') {
            return (!line.contains(':')).then_some(before.len() + 1);
        }
    }
    None
}

/// The last line that holds anything: where a parser says "end", people look there.
pub(crate) fn last_line(text: &str) -> usize {
    let text = text.trim_end();
    let breaks = text.bytes().filter(|byte| *byte == b'\n').count();
    let alone = text.bytes().filter(|byte| *byte == b'\r').count() - text.matches("\r\n").count();
    breaks + alone + 1
}

/// The line that begins with a tab, this one or the next.
fn tab_near(text: &str, line: usize) -> Option<usize> {
    let near = text.lines().enumerate().skip(line.saturating_sub(1));
    let mut near = near.take(2);
    near.find(|(_, line)| line.trim_start_matches(' ').starts_with('\t'))
        .map(|(index, _)| index + 1)
}
