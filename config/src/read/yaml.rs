//! From YAML text to a tree of values, within bounds.
//!
//! Bounds: [`LONGEST_TEXT`] bytes of text, [`DEEPEST`] levels, keys of [`LONGEST_KEY`]
//! characters, and aliases that together repeat no more than [`MOST_REPEATED`]. Aliases share
//! what they repeat, so the tree is never larger than the text.

use std::borrow::Cow;
use std::collections::HashMap;
use std::sync::Arc;

use saphyr_parser::{Event, Marker, Parser, ScalarStyle, Tag};

use super::path;
use super::scalar::{refuse_tag, resolve};
use super::syntax;
use super::tree::{Entry, Mark, Node, Value};
use super::wording::quoted;
use crate::fault::Fault;

/// Longest text taken, in bytes.
const LONGEST_TEXT: usize = 4 << 20;
/// Levels of lists and maps within each other.
const DEEPEST: usize = 64;
/// Longest key, in characters.
const LONGEST_KEY: usize = 200;
/// What aliases may repeat in all: bytes of text, and sixteen for each value.
const MOST_REPEATED: usize = 1 << 20;

/// The tree of a text, with faults that do not keep the rest from being checked.
///
/// # Errors
/// One fault, after those found before it, when the text cannot be read to its end.
pub(crate) fn parse(file: &str, text: &str) -> Result<(Node, Vec<Fault>), Vec<Fault>> {
    if text.len() > LONGEST_TEXT {
        let fault = Fault::of_file(file, format!("the file has {} bytes", text.len()));
        return Err(vec![fault.allowing(format!("at most {LONGEST_TEXT} bytes (4 MiB)"))]);
    }
    let mut builder = Builder::new(file);
    let last = syntax::last_line(text);
    for event in Parser::new_from_str(text) {
        let taken = match event {
            Ok((event, span)) => builder.take(event, mark(&span.start, last)),
            Err(error) => Err(syntax::explain(file, text, &error)),
        };
        if let Err(fault) = taken {
            builder.faults.push(*fault);
            return Err(builder.faults);
        }
    }
    match builder.root {
        Some(root) => Ok((root, builder.faults)),
        None => Err(vec![Fault::of_file(file, "the file is empty")]),
    }
}

fn mark(marker: &Marker, last: usize) -> Mark {
    Mark { file: 0, line: marker.line().min(last), column: marker.col() + 1 }
}

/// Fatal: reading ends here.
type Taken = Result<(), Box<Fault>>;

struct Builder<'a> {
    file: &'a str,
    root: Option<Node>,
    open: Vec<Open>,
    anchors: HashMap<usize, Built>,
    repeated: usize,
    faults: Vec<Fault>,
}

/// A list or map whose end is not reached yet.
struct Open {
    mark: Mark,
    anchor: usize,
    holds: Holds,
    weight: usize,
    depth: usize,
}

enum Holds {
    List(Vec<Node>),
    Map { entries: Vec<Entry>, key: Option<(String, Mark)>, seen: HashMap<String, usize> },
}

/// A finished value, what repeating it costs, and the levels within it.
#[derive(Clone)]
struct Built {
    node: Node,
    weight: usize,
    depth: usize,
}

impl<'a> Builder<'a> {
    fn new(file: &'a str) -> Self {
        Self {
            file,
            root: None,
            open: Vec::new(),
            anchors: HashMap::new(),
            repeated: 0,
            faults: Vec::new(),
        }
    }

    fn take(&mut self, event: Event<'_>, mark: Mark) -> Taken {
        match event {
            Event::DocumentStart(_) if self.root.is_some() => {
                Err(self.fatal(mark, "a second document begins here; one is needed"))
            }
            Event::Scalar(text, style, anchor, tag) => {
                self.scalar(&text, style, anchor, tag.as_deref(), mark)
            }
            Event::Alias(anchor) => self.alias(anchor, mark),
            Event::SequenceStart(anchor, tag) => {
                self.tagged(refuse_tag(tag.as_deref(), "seq"), mark);
                self.begin(mark, anchor, Holds::List(Vec::new()))
            }
            Event::MappingStart(anchor, tag) => {
                self.tagged(refuse_tag(tag.as_deref(), "map"), mark);
                let holds = Holds::Map { entries: Vec::new(), key: None, seen: HashMap::new() };
                self.begin(mark, anchor, holds)
            }
            Event::SequenceEnd | Event::MappingEnd => {
                self.end();
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn begin(&mut self, mark: Mark, anchor: usize, holds: Holds) -> Taken {
        if self.awaits_key() {
            return Err(self.fatal(mark, "a key must be one word or text"));
        }
        if self.open.len() >= DEEPEST {
            return Err(Box::new(syntax::too_deep(self.file, mark, DEEPEST)));
        }
        self.open.push(Open { mark, anchor, holds, weight: 16, depth: 1 });
        Ok(())
    }

    fn end(&mut self) {
        let Some(open) = self.open.pop() else { return };
        let value = match open.holds {
            Holds::List(items) => Value::List(Arc::new(items)),
            Holds::Map { entries, .. } => Value::Map(Arc::new(entries)),
        };
        let node = Node { mark: open.mark, value };
        let built = Built { node, weight: open.weight, depth: open.depth };
        self.place(built, open.anchor);
    }

    fn scalar(
        &mut self,
        text: &str,
        style: ScalarStyle,
        anchor: usize,
        tag: Option<&Tag>,
        mark: Mark,
    ) -> Taken {
        if self.awaits_key() {
            if style == ScalarStyle::Plain && text == "<<" {
                let wrong = "merging with \"<<\" is not part of YAML 1.2; write the keys out";
                return Err(self.fatal(mark, wrong));
            }
            self.key(text, mark)?;
            if anchor != 0 {
                return Err(self.fatal(mark, "an anchor cannot stand before a key"));
            }
            return Ok(());
        }
        let value = resolve(text, style, tag).unwrap_or_else(|wrong| {
            self.tagged(Some(wrong), mark);
            Value::Text(text.into())
        });
        let built = Built { node: Node { mark, value }, weight: 16 + text.len(), depth: 0 };
        self.place(built, anchor);
        Ok(())
    }

    fn key(&mut self, text: &str, mark: Mark) -> Taken {
        if text.chars().nth(LONGEST_KEY).is_some() {
            let wrong = format!("the key {} is too long", quoted(text));
            let mut fault = self.fatal(mark, wrong);
            fault.allowed = Some(format!("at most {LONGEST_KEY} characters"));
            return Err(fault);
        }
        if let Some(Open { holds, weight, .. }) = self.open.last_mut()
            && let Holds::Map { key, .. } = holds
        {
            *weight += text.len();
            *key = Some((text.to_owned(), mark));
        }
        Ok(())
    }

    fn alias(&mut self, anchor: usize, mark: Mark) -> Taken {
        if self.awaits_key() {
            return Err(self.fatal(mark, "an alias cannot be a key"));
        }
        let Some(mut built) = self.anchors.get(&anchor).cloned() else {
            return Err(self.fatal(mark, "this alias stands within what it repeats"));
        };
        if self.open.len() + built.depth > DEEPEST {
            return Err(Box::new(syntax::too_deep(self.file, mark, DEEPEST)));
        }
        self.repeated += built.weight;
        if self.repeated > MOST_REPEATED {
            let wrong = "with this alias, more is repeated than a configuration can need";
            let mut fault = self.fatal(mark, wrong);
            fault.allowed = Some(format!("at most {MOST_REPEATED} bytes (1 MiB)"));
            return Err(fault);
        }
        built.node.mark = mark;
        self.place(built, 0);
        Ok(())
    }

    /// Puts a finished value where it belongs.
    fn place(&mut self, built: Built, anchor: usize) {
        if anchor != 0 {
            self.anchors.insert(anchor, built.clone());
        }
        let Some(open) = self.open.last_mut() else {
            self.root = Some(built.node);
            return;
        };
        open.weight += built.weight;
        open.depth = open.depth.max(built.depth + 1);
        let twice = match &mut open.holds {
            Holds::List(items) => {
                items.push(built.node);
                None
            }
            Holds::Map { entries, key, seen } => {
                let Some((key, mark)) = key.take() else {
                    return;
                };
                let first = *seen.entry(key.clone()).or_insert(mark.line);
                let entry = Entry { key, mark, node: built.node };
                // The first of two stays, so that its value is checked all the same.
                if entries.len() == seen.len() {
                    Some((entry.key, mark, first))
                } else {
                    entries.push(entry);
                    None
                }
            }
        };
        if let Some((key, mark, first)) = twice {
            let wrong = format!("this key is written twice, first on line {first}");
            let path = path::key(&self.here(), &key);
            self.faults.push(self.fault(mark, path, wrong));
        }
    }

    fn awaits_key(&self) -> bool {
        matches!(self.open.last(), Some(Open { holds: Holds::Map { key: None, .. }, .. }))
    }

    /// The path of the innermost list or map that is still open.
    fn here(&self) -> String {
        let outer = self.open.len().saturating_sub(1);
        self.open.iter().take(outer).fold(String::new(), child)
    }

    fn tagged(&mut self, wrong: Option<String>, mark: Mark) {
        if let Some(wrong) = wrong {
            let path = self.open.iter().fold(String::new(), child);
            self.faults.push(self.fault(mark, path, wrong));
        }
    }

    fn fault(&self, mark: Mark, path: String, wrong: String) -> Fault {
        Fault {
            line: Some(mark.line),
            column: Some(mark.column),
            path,
            ..Fault::of_file(self.file, wrong)
        }
    }

    fn fatal<'w>(&self, mark: Mark, wrong: impl Into<Cow<'w, str>>) -> Box<Fault> {
        let path = self.here();
        Box::new(self.fault(mark, path, wrong.into().into_owned()))
    }
}

/// The path of what comes next in an open list or map.
fn child(path: String, open: &Open) -> String {
    match &open.holds {
        Holds::List(items) => path::item(&path, items.len()),
        Holds::Map { key: Some(key), .. } => path::key(&path, &key.0),
        Holds::Map { key: None, .. } => path,
    }
}
