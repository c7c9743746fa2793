//! A configuration as it is written: values, and where each of them stands.

use std::sync::Arc;

use serde_json::Number;

/// A place in a file; line and column count from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Mark {
    /// Which of the files that were read together: 0 for the first.
    pub(crate) file: usize,
    pub(crate) line: usize,
    pub(crate) column: usize,
}

/// A value in its place. Cheap to copy: repeated values share their content.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub(crate) mark: Mark,
    pub(crate) value: Value,
}

#[derive(Debug, Clone)]
pub(crate) enum Value {
    Null,
    Bool(bool),
    /// A finite number and the way it is written.
    Number(Number, Arc<str>),
    Text(Arc<str>),
    List(Arc<Vec<Node>>),
    Map(Arc<Vec<Entry>>),
    /// A list's item that is left out, so that the others keep their index.
    LeftOut,
}

/// A key and its value; `mark` is the key's place.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    pub(crate) key: String,
    pub(crate) mark: Mark,
    pub(crate) node: Node,
}

/// What sort of value stands somewhere or may stand there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Null,
    Bool,
    Whole,
    Fraction,
    Text,
    List,
    Map,
}

impl Value {
    pub(crate) fn list(items: impl IntoIterator<Item = Node>) -> Self {
        Self::List(Arc::new(items.into_iter().collect()))
    }

    pub(crate) fn map(entries: impl IntoIterator<Item = Entry>) -> Self {
        Self::Map(Arc::new(entries.into_iter().collect()))
    }
}

impl Node {
    pub(crate) fn kind(&self) -> Kind {
        match &self.value {
            Value::Null | Value::LeftOut => Kind::Null,
            Value::Bool(_) => Kind::Bool,
            Value::Number(number, _) if number.is_f64() => Kind::Fraction,
            Value::Number(..) => Kind::Whole,
            Value::Text(_) => Kind::Text,
            Value::List(_) => Kind::List,
            Value::Map(_) => Kind::Map,
        }
    }

    /// The same, written in another file.
    pub(crate) fn in_file(&self, file: usize) -> Self {
        let value = match &self.value {
            Value::List(items) => Value::list(items.iter().map(|item| item.in_file(file))),
            Value::Map(entries) => Value::map(entries.iter().map(|entry| Entry {
                key: entry.key.clone(),
                mark: Mark { file, ..entry.mark },
                node: entry.node.in_file(file),
            })),
            single => single.clone(),
        };
        Self { mark: Mark { file, ..self.mark }, value }
    }

    /// The keys, empty for what is no map.
    pub(crate) fn entries(&self) -> &[Entry] {
        match &self.value {
            Value::Map(entries) => entries,
            _ => &[],
        }
    }

    pub(crate) fn entry(&self, key: &str) -> Option<&Entry> {
        self.entries().iter().find(|entry| entry.key == key)
    }

    /// The items with their index in the file, none for what is no list.
    pub(crate) fn items(&self) -> impl Iterator<Item = (usize, &Node)> {
        let items: &[Node] = match &self.value {
            Value::List(items) => items,
            _ => &[],
        };
        let there = |(_, item): &(usize, &Node)| !matches!(item.value, Value::LeftOut);
        items.iter().enumerate().filter(there)
    }

    pub(crate) fn to_json(&self) -> serde_json::Value {
        match &self.value {
            Value::Null | Value::LeftOut => serde_json::Value::Null,
            Value::Bool(value) => (*value).into(),
            Value::Number(number, _) => number.clone().into(),
            Value::Text(text) => (**text).into(),
            Value::List(_) => self.items().map(|(_, item)| item.to_json()).collect(),
            Value::Map(entries) => {
                entries.iter().map(|entry| (entry.key.clone(), entry.node.to_json())).collect()
            }
        }
    }
}
