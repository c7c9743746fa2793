//! Slips of the pen, read as they were most likely meant.
//!
//! Only to look on for what else is wrong, so that nobody has to mend one mistake to be told of
//! the next. A mended tree is never used to run anything.

use std::sync::Arc;

use super::path::{Step, steps};
use super::tree::{Node, Value};
use crate::lines::Lines;

/// What was most likely meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Mend {
    /// The key has another name.
    Rename(String),
    /// The key belongs nowhere.
    Drop,
    /// The value is another word.
    Word(String),
}

pub(crate) fn mended(lines: &Lines, mends: Vec<(String, Mend)>) -> Lines {
    let mut root = lines.root().clone();
    // Backwards, since what is within a key is found after the key.
    for (path, mend) in mends.into_iter().rev() {
        let steps: Vec<Step<'_>> = steps(&path).collect();
        apply(&mut root, &steps, mend);
    }
    lines.with_root(root)
}

fn apply(node: &mut Node, steps: &[Step<'_>], mend: Mend) {
    match (steps, &mut node.value) {
        ([], value) => {
            if let Mend::Word(word) = mend {
                *value = Value::Text(word.into());
            }
        }
        ([Step::Key(name), deeper @ ..], Value::Map(entries)) => {
            let entries = Arc::make_mut(entries);
            let Some(index) = entries.iter().position(|entry| entry.key == **name) else {
                return;
            };
            match (deeper, mend) {
                ([], Mend::Drop) => {
                    entries.remove(index);
                }
                (_, mend) => {
                    let Some(entry) = entries.get_mut(index) else { return };
                    match (deeper, mend) {
                        ([], Mend::Rename(meant)) => entry.key = meant,
                        (deeper, mend) => apply(&mut entry.node, deeper, mend),
                    }
                }
            }
        }
        ([Step::Item(index), deeper @ ..], Value::List(items)) => {
            if let Some(item) = Arc::make_mut(items).get_mut(*index) {
                apply(item, deeper, mend);
            }
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::tree;

    #[test]
    fn what_was_meant_stands_where_the_slip_was() {
        let text = "policy: { waer: 1, wash: [a, b] }\nother: { x: 1, y: 2 }\n";
        let (root, _) = tree("plant.yaml", text).expect("it is YAML");
        let lines = Lines::new("plant.yaml", root);
        let mended = mended(
            &lines,
            vec![
                ("policy.waer".to_owned(), Mend::Rename("wear".to_owned())),
                ("policy.wash[1]".to_owned(), Mend::Word("c".to_owned())),
                ("other.x".to_owned(), Mend::Drop),
                ("nowhere[3].at".to_owned(), Mend::Drop),
            ],
        );
        let meant =
            serde_json::json!({ "policy": { "wear": 1, "wash": ["a", "c"] }, "other": { "y": 2 } });
        assert_eq!(mended.root().to_json(), meant);
        assert_eq!(mended.line("policy.wear"), Some(1));
    }
}
