//! The path of a key: grown while descending, written for people, read back.

use std::borrow::Cow;
use std::fmt;

/// A path that borrows its way up, so that descending costs nothing until a fault is told.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Path<'a> {
    Root,
    Key(&'a Path<'a>, &'a str),
    Item(&'a Path<'a>, usize),
}

impl<'a> Path<'a> {
    pub(crate) fn key(&'a self, key: &'a str) -> Self {
        Self::Key(self, key)
    }

    pub(crate) fn item(&'a self, index: usize) -> Self {
        Self::Item(self, index)
    }
}

impl fmt::Display for Path<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Root => Ok(()),
            Self::Item(parent, index) => write!(f, "{parent}[{index}]"),
            Self::Key(parent, key) if !plain(key) => {
                write!(f, "{parent}[{}]", serde_json::Value::from(*key))
            }
            Self::Key(Self::Root, key) => f.write_str(key),
            Self::Key(parent, key) => write!(f, "{parent}.{key}"),
        }
    }
}

/// The path of a key below `parent`, quoted where it must be; an empty parent is the file.
#[must_use]
pub fn key(parent: &str, key: &str) -> String {
    match (parent.is_empty(), plain(key)) {
        (true, true) => key.to_owned(),
        (false, true) => format!("{parent}.{key}"),
        (_, false) => format!("{parent}[{}]", serde_json::Value::from(key)),
    }
}

/// The path of a list's item, counted from 0.
#[must_use]
pub fn item(parent: &str, index: usize) -> String {
    format!("{parent}[{index}]")
}

fn plain(key: &str) -> bool {
    let odd = |c: char| matches!(c, '.' | '[' | ']' | '"') || c.is_whitespace() || c.is_control();
    !key.is_empty() && !key.contains(odd)
}

/// One step of a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Step<'a> {
    Key(Cow<'a, str>),
    Item(usize),
}

/// The steps of a written path, up to the first that cannot be read.
pub(crate) fn steps(path: &str) -> impl Iterator<Item = Step<'_>> {
    let mut rest = path;
    std::iter::from_fn(move || {
        let (step, after) = step(rest)?;
        rest = after;
        Some(step)
    })
}

fn step(rest: &str) -> Option<(Step<'_>, &str)> {
    if let Some(bracketed) = rest.strip_prefix('[') {
        if bracketed.starts_with('"') {
            let mut texts = serde_json::Deserializer::from_str(bracketed).into_iter::<String>();
            let text = texts.next()?.ok()?;
            let after = bracketed.get(texts.byte_offset()..)?.strip_prefix(']')?;
            return Some((Step::Key(text.into()), after));
        }
        let (index, after) = bracketed.split_once(']')?;
        return Some((Step::Item(index.parse().ok()?), after));
    }
    let rest = rest.strip_prefix('.').unwrap_or(rest);
    let end = rest.find(['.', '[']).unwrap_or(rest.len());
    let (name, after) = rest.split_at(end);
    (!name.is_empty()).then(|| (Step::Key(name.into()), after))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        for name in ["words", "a.b", "", "say \"x\"", "line 1/washed", "tab\t", "é"] {
            let machines = Path::Root.key("machines");
            let (machine, item_below) = (machines.item(2), 7);
            let named = machine.key(name);
            let last = named.item(item_below);
            let expected = [
                Step::Key("machines".into()),
                Step::Item(2),
                Step::Key(name.into()),
                Step::Item(7),
            ];
            let written = last.to_string();
            assert_eq!(steps(&written).collect::<Vec<_>>(), expected, "{written}");
            let joined = item(&key("machines[2]", name), 7);
            assert_eq!(joined, written);
        }
        assert_eq!(key("", "plant"), "plant");
        assert_eq!(key("", "a b"), Path::Root.key("a b").to_string());
    }

    #[test]
    fn a_broken_path_ends_early() {
        assert_eq!(steps("a[x].b").count(), 1);
        assert_eq!(steps("a[\"x].b").count(), 1);
        assert_eq!(steps("..").count(), 0);
    }
}
