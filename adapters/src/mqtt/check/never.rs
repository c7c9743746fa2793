//! Entries that can never have an effect, or have it twice.

use std::collections::BTreeSet;

use serde_json::Value;

use super::super::settings::{Message, Settings, Signal};
use super::super::topic::{filter, matches};
use super::Found;
use crate::settings::{NEVER_PASSED, WashWord};

pub(super) fn check(settings: &Settings, found: &mut Found) {
    for (index, message) in settings.messages.iter().enumerate() {
        let path = format!("messages[{index}]");
        check_when(message, &path, found);
        check_link(message, &path, found);
        let before = settings.messages.iter().take(index);
        if let Some(first) = before.into_iter().position(|other| same(other, message)) {
            let wrong = format!(
                "says the same as messages[{first}], and all entries of a topic are read, so it \
                 would be told twice; drop one, or give the two another when"
            );
            found.push((path.clone(), wrong));
        }
        check_echo(settings, message, &path, found);
    }
    check_washes(settings, found);
}

/// True when two entries make the same signal of the same messages.
fn same(one: &Message, other: &Message) -> bool {
    let plain =
        |message: &Message| Message { qos: 0, time: None, identity: None, ..message.clone() };
    plain(one) == plain(other)
}

/// Conditions that exclude each other: a value that is fixed, and another one within it.
fn check_when(message: &Message, path: &str, found: &mut Found) {
    for (outer, fixed) in &message.when {
        let within = |pointer: &str| {
            let rest = pointer.strip_prefix(outer.as_str())?;
            rest.starts_with('/').then(|| fixed.pointer(rest).cloned().unwrap_or(Value::Null))
        };
        for (inner, wanted) in &message.when {
            if within(inner).is_some_and(|value| value != *wanted) {
                let wrong = format!(
                    "can never hold: {inner} lies within {outer}, which is to be {fixed}; drop one \
                     of the two"
                );
                found.push((format!("{path}.when"), wrong));
            }
        }
    }
}

fn check_link(message: &Message, path: &str, found: &mut Found) {
    let up: BTreeSet<&String> = message.up.iter().collect();
    for word in message.lost.iter().filter(|word| up.contains(word)) {
        let wrong =
            format!("{word:?} is listed under up too, which is looked at first; keep it in one");
        found.push((format!("{path}.lost"), wrong));
    }
}

/// What the gateway publishes is not what a machine says.
fn check_echo(settings: &Settings, message: &Message, path: &str, found: &mut Found) {
    let outputs = settings.outputs.iter();
    let taken_in = filter(&message.topic);
    if let Some(index) = outputs.into_iter().position(|out| matches(&taken_in, &out.topic)) {
        let wrong = format!(
            "takes in what outputs[{index}] publishes, so the gateway would hear itself; write a \
             narrower topic, or publish on another"
        );
        found.push((format!("{path}.topic"), wrong));
    }
}

/// A washer none of whose words means that a wash passed.
fn check_washes(settings: &Settings, found: &mut Found) {
    let mut washes =
        settings.messages.iter().enumerate().filter(|(_, message)| {
            message.signal == Signal::WashEnded && !message.outcomes.is_empty()
        });
    let Some((first, message)) = washes.next() else { return };
    let passes =
        |message: &Message| message.outcomes.values().any(|word| *word == WashWord::Passed);
    if !passes(message) && !washes.any(|(_, message)| passes(message)) {
        found.push((format!("messages[{first}].outcomes"), NEVER_PASSED.to_owned()));
    }
}

#[cfg(test)]
mod tests;
