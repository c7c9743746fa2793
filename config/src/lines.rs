//! From the path of a key to its line in the file.

use crate::fault::Fault;
use crate::read::path::{Step, steps};
use crate::read::tree::{Mark, Node, Value};

pub use crate::read::path::{item, key};

/// Where everything in a configuration file is written.
///
/// A path is written as in `machines[2].modbus.points[0].words`; a key that holds a dot, a
/// bracket, a quote or a blank is written as in `topics["line 1/washed"]`. [`key`] and [`item`]
/// make such paths.
#[derive(Debug, Clone)]
pub struct Lines {
    /// The file and those it takes parts from, as marks number them.
    files: Vec<String>,
    root: Node,
}

impl Lines {
    pub(crate) fn new(file: &str, root: Node) -> Self {
        Self::of_files(vec![file.to_owned()], root)
    }

    /// Another tree of the same files.
    pub(crate) fn with_root(&self, root: Node) -> Self {
        Self { files: self.files.clone(), root }
    }

    /// What was read from several files.
    pub(crate) fn of_files(files: Vec<String>, root: Node) -> Self {
        Self { files, root }
    }

    /// The file's name as it is shown to people.
    #[must_use]
    pub fn file(&self) -> &str {
        self.name(0)
    }

    fn name(&self, file: usize) -> &str {
        self.files.get(file).map_or("", String::as_str)
    }

    /// The line, from 1, of the key or list item; none when the file has no such path.
    #[must_use]
    pub fn line(&self, path: &str) -> Option<usize> {
        let (mark, whole) = self.nearest(path);
        whole.then_some(mark.line)
    }

    /// A fault at this path, with the line of the nearest part of the path that exists.
    pub fn fault(&self, path: impl Into<String>, wrong: impl Into<String>) -> Fault {
        let path = path.into();
        let (mark, _) = self.nearest(&path);
        let wrong = self.with_lines(mark.file, &path, &wrong.into());
        self.fault_at(mark, path, wrong)
    }

    /// The same words, with its line behind each list item or key that they name by its path:
    /// from the root, or from where this fault is.
    fn with_lines(&self, file: usize, path: &str, wrong: &str) -> String {
        let mut told = String::with_capacity(wrong.len());
        let mut rest = wrong;
        while let Some((word, after)) = named_path(&mut told, rest) {
            told.push_str(word);
            rest = after;
            let Some(mark) = self.mark_from(path, word) else { continue };
            let line = mark.line;
            if mark.file == file {
                told.push_str(&format!(" (line {line})"));
            } else {
                told.push_str(&format!(" ({}:{line})", self.name(mark.file)));
            }
        }
        told + rest
    }

    /// The place of a path that is written from the root, or from somewhere along `path`.
    fn mark_from(&self, path: &str, written: &str) -> Option<Mark> {
        let ends = path.char_indices().rev().filter(|(_, c)| matches!(c, '.' | '['));
        let above = ends.filter_map(|(end, _)| path.get(..end));
        let within = above.map(|above| format!("{above}.{written}"));
        within.chain([written.to_owned()]).find_map(|path| {
            let (mark, whole) = self.nearest(&path);
            whole.then_some(mark)
        })
    }

    /// Faults at these paths, settled: what a later check returns as `(path, wrong)`.
    pub fn faults<P, W>(&self, found: impl IntoIterator<Item = (P, W)>) -> Vec<Fault>
    where
        P: Into<String>,
        W: Into<String>,
    {
        let found = found.into_iter();
        crate::fault::settled(found.map(|(path, wrong)| self.fault(path, wrong)).collect())
    }

    pub(crate) fn fault_at(&self, mark: Mark, path: String, wrong: String) -> Fault {
        Fault {
            line: Some(mark.line),
            column: Some(mark.column),
            path,
            ..Fault::of_file(self.name(mark.file), wrong)
        }
    }

    pub(crate) fn root(&self) -> &Node {
        &self.root
    }

    /// The mark of the longest part of the path that exists, and whether that is all of it.
    fn nearest(&self, path: &str) -> (Mark, bool) {
        let (mut node, mut mark) = (&self.root, self.root.mark);
        for step in steps(path) {
            let next = match (&node.value, &step) {
                (Value::Map(entries), Step::Key(key)) => entries
                    .iter()
                    .find(|entry| entry.key == **key)
                    .map(|entry| (&entry.node, entry.mark)),
                (Value::List(items), Step::Item(index)) => {
                    items.get(*index).map(|item| (item, item.mark))
                }
                _ => None,
            };
            match next {
                Some(found) => (node, mark) = found,
                None => return (mark, false),
            }
        }
        (mark, true)
    }
}

/// The next path of a list's item in some words, such as `points[2].at`, and what comes after it;
/// what is before it goes to `told`.
fn named_path<'w>(told: &mut String, words: &'w str) -> Option<(&'w str, &'w str)> {
    let in_path = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '.' | '[' | ']');
    let mut start = 0;
    for word in words.split_inclusive(|c: char| !in_path(c)) {
        let path = word.trim_end_matches(|c: char| !in_path(c)).trim_end_matches('.');
        let (list, item) = path.split_once('[').unwrap_or_default();
        let is_item = item.split(']').next().is_some_and(|index| index.parse::<usize>().is_ok());
        if is_item && list.starts_with(|c: char| c.is_ascii_lowercase()) {
            told.push_str(words.get(..start)?);
            let end = start + path.len();
            return Some((path, words.get(end..)?));
        }
        start += word.len();
    }
    None
}
