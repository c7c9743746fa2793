//! Puts values into a profile.
//!
//! `$(name)` stands for a parameter's value. It may be reckoned with: `$(base + 2 * n)`, with
//! `+`, `-` and `*` between blanks, `*` first, whole numbers only. Alone in a value it keeps its
//! sort, within text it becomes text. A list's item `repeat: COUNT` with `item:` stands for so many
//! items, in which `n` counts from 0.

use super::arguments::{Argument, Arguments};
use super::{At, Wrong};
use crate::lines;
use crate::read::tree::{Entry, Mark, Node, Value};
use crate::read::wording::quoted;

/// Most items that one machine's repetitions may make.
const MOST_ITEMS: usize = 10_000;

/// The profile's machine with these values.
pub(super) fn fill(machine: &Node, arguments: &Arguments) -> Result<Node, Vec<Wrong>> {
    let mut filler = Filler { wrongs: Vec::new(), made: 0 };
    let (filled, _) = filler.node(machine, arguments, "machine");
    if filler.wrongs.is_empty() { Ok(filled) } else { Err(filler.wrongs) }
}

struct Filler {
    wrongs: Vec<Wrong>,
    /// Items made by repetition so far.
    made: usize,
}

impl Filler {
    /// The value, and where it was said if the machine said it.
    fn node(&mut self, node: &Node, arguments: &Arguments, path: &str) -> (Node, Option<Mark>) {
        let value = match &node.value {
            Value::Text(text) if text.contains("$(") => {
                return match filled_text(text, arguments) {
                    Ok((value, said)) => (Node { mark: said.unwrap_or(node.mark), value }, said),
                    Err(why) => {
                        self.tell(node.mark, path, why);
                        (node.clone(), None)
                    }
                };
            }
            Value::List(items) => {
                let mut filled = Vec::with_capacity(items.len());
                for (item, index) in items.iter().zip(0..) {
                    self.item(item, arguments, &lines::item(path, index), &mut filled);
                }
                Value::list(filled)
            }
            Value::Map(entries) => {
                let filled = entries.iter().map(|entry| self.entry(entry, arguments, path));
                Value::map(filled.collect::<Vec<_>>())
            }
            single => single.clone(),
        };
        (Node { value, ..*node }, None)
    }

    fn entry(&mut self, entry: &Entry, arguments: &Arguments, path: &str) -> Entry {
        let path = lines::key(path, &entry.key);
        let (node, said) = self.node(&entry.node, arguments, &path);
        let key = match filled_text(&entry.key, arguments) {
            Ok((key, _)) => shown(&key),
            Err(why) => {
                self.tell(entry.mark, &path, why);
                entry.key.clone()
            }
        };
        Entry { key, mark: said.unwrap_or(entry.mark), node }
    }

    fn item(&mut self, item: &Node, arguments: &Arguments, path: &str, filled: &mut Vec<Node>) {
        let Some(repeat) = item.entry("repeat") else {
            return filled.push(self.node(item, arguments, path).0);
        };
        let (count, _) = self.node(&repeat.node, arguments, &lines::key(path, "repeat"));
        let count = count.to_json().as_u64().and_then(|count| usize::try_from(count).ok());
        let (Some(count), Some(repeated), 2) = (count, item.entry("item"), item.entries().len())
        else {
            let wrong = "a repetition is written `repeat: COUNT` and `item: ...`, and nothing else";
            return self.tell(repeat.mark, path, wrong.to_owned());
        };
        self.made = self.made.saturating_add(count);
        if self.made > MOST_ITEMS {
            let wrong = format!("more than {MOST_ITEMS} items would be made");
            return self.tell(repeat.mark, path, wrong);
        }
        let path = lines::key(path, "item");
        for n in 0..count {
            let mut arguments = arguments.clone();
            let value = Value::Number(n.into(), n.to_string().into());
            let node = Node { mark: repeated.mark, value };
            arguments.insert("n".to_owned(), Argument { node, said: false });
            filled.push(self.node(&repeated.node, &arguments, &path).0);
        }
    }

    fn tell(&mut self, mark: Mark, path: &str, wrong: String) {
        let allowed = "$(parameter), or a sum such as $(base + 2 * n)".to_owned();
        self.wrongs.push(Wrong { mark, at: At::Profile(path.to_owned()), wrong, allowed });
    }
}

/// A text with its values, and where one of them was said.
fn filled_text(text: &str, arguments: &Arguments) -> Result<(Value, Option<Mark>), String> {
    let alone = text.strip_prefix("$(").and_then(|rest| rest.strip_suffix(')'));
    if let Some(alone) = alone.filter(|inside| !inside.contains(')')) {
        return reckon(alone, arguments);
    }
    let (mut filled, mut rest, mut said) = (String::new(), text, None);
    while let Some((before, after)) = rest.split_once("$(") {
        let (inside, after) =
            after.split_once(')').ok_or("a \"$(\" without its \")\"".to_owned())?;
        let (value, mark) = reckon(inside, arguments)?;
        said = said.or(mark);
        filled.push_str(before);
        filled.push_str(&shown(&value));
        rest = after;
    }
    filled.push_str(rest);
    Ok((Value::Text(filled.into()), said))
}

/// A single value within text.
fn shown(value: &Value) -> String {
    match value {
        Value::Text(text) => text.to_string(),
        Value::Number(_, written) => written.to_string(),
        Value::Bool(flag) => flag.to_string(),
        _ => String::new(),
    }
}

/// The value between `$(` and `)`.
fn reckon(inside: &str, arguments: &Arguments) -> Result<(Value, Option<Mark>), String> {
    let words: Vec<&str> = inside.split_whitespace().collect();
    if let [name] = words[..]
        && let Some(argument) = arguments.get(name)
    {
        return Ok((argument.node.value.clone(), argument.mark()));
    }
    let mut said = None;
    let (mut sum, mut product, mut sign) = (0_i64, 1_i64, 1_i64);
    for (index, word) in words.iter().enumerate() {
        match (index % 2, *word) {
            (0, operand) => {
                let (number, mark) = number(operand, arguments)?;
                said = said.or(mark);
                product = product.checked_mul(number).ok_or_else(|| too_large(inside))?;
            }
            (_, "*") => {}
            (_, operator @ ("+" | "-")) => {
                sum = added(sum, sign, product).ok_or_else(|| too_large(inside))?;
                (product, sign) = (1, if operator == "-" { -1 } else { 1 });
            }
            (_, other) => return Err(format!("{} is neither +, - nor *", quoted(other))),
        }
    }
    if words.len().is_multiple_of(2) {
        return Err(format!("{} is no value", quoted(inside)));
    }
    let sum = added(sum, sign, product).ok_or_else(|| too_large(inside))?;
    Ok((Value::Number(sum.into(), sum.to_string().into()), said))
}

fn added(sum: i64, sign: i64, product: i64) -> Option<i64> {
    sum.checked_add(sign.checked_mul(product)?)
}

fn too_large(inside: &str) -> String {
    format!("{} is too large", quoted(inside))
}

fn number(word: &str, arguments: &Arguments) -> Result<(i64, Option<Mark>), String> {
    if let Ok(number) = word.parse() {
        return Ok((number, None));
    }
    let argument =
        arguments.get(word).ok_or_else(|| format!("there is no parameter {}", quoted(word)))?;
    let number = argument.node.to_json().as_i64();
    let number = number.ok_or_else(|| format!("{} is no whole number", quoted(word)))?;
    Ok((number, argument.mark()))
}

impl Argument {
    fn mark(&self) -> Option<Mark> {
        self.said.then_some(self.node.mark)
    }
}
