//! Finds the key or value that a type refused, where its error does not say which.
//!
//! A type reads keys and values one after the other and stops at the first it refuses. So what
//! is spoilt on purpose changes the error if it is read before the culprit or is the culprit,
//! and changes nothing if it would be read later: of all that change the error, the culprit is
//! the one that is read last. Which of two is read first shows when both are spoilt, because
//! errors tell the ways of spoiling apart. A last proof: without the culprit the error is gone.
//! Where spoiling finds nothing, the deepest key without which the error is gone is the culprit.

use serde::de::DeserializeOwned;
use serde_json::Value as Json;

use super::path::Step;

/// Most keys and values that are tried; with more, the place stays as vague as the error.
const MOST_TRIED: usize = 600;
/// Appended to a key to spoil it; hardly changes its place among sorted keys.
const SPOILT: char = '\u{1}';

type Steps = Vec<Step<'static>>;

/// A key or value that may be the culprit.
#[derive(Debug, Clone)]
struct Suspect {
    steps: Steps,
    what: What,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Key,
    Value,
}

/// The steps to what was refused, at or below `around`.
pub(crate) fn culprit<T: DeserializeOwned>(json: &mut Json, around: Steps) -> Steps {
    let Some(error) = refusal::<T>(json) else {
        return around;
    };
    let mut near = around.clone();
    narrow::<T>(json, &mut near, &error);
    let mut suspects = Vec::new();
    if let Some(start) = find(json, &near) {
        collect(start, &near, &mut suspects);
    }
    if suspects.len() > MOST_TRIED {
        return around;
    }
    let without = |steps: &Steps| {
        let mut without = json.clone();
        remove(&mut without, steps);
        refusal::<T>(&without).unwrap_or_default()
    };
    let last = last_read::<T>(json, &suspects, &error).filter(|steps| without(steps) != error);
    let found = last.or_else(|| {
        let keys = suspects.iter().filter(|suspect| suspect.what == What::Key);
        let needless = keys.map(|suspect| &suspect.steps).filter(|steps| {
            let without = without(steps);
            without != error && !without.starts_with("missing field")
        });
        deepest(needless.cloned().collect())
    });
    let below = found.into_iter().flatten().skip(around.len());
    around.iter().cloned().chain(below).collect()
}

/// Leaves out the lists and items beside `near` that have no part in the error, so that trying
/// is quick however large the file is.
fn narrow<T: DeserializeOwned>(json: &mut Json, near: &mut Steps, error: &str) {
    for depth in 0..near.len() {
        let (outer, inner) = near.split_at_mut(depth);
        let (Some(at), Some(step)) = (find(json, outer), inner.first_mut()) else {
            return;
        };
        match (at, &step) {
            (Json::Array(items), Step::Item(index)) => {
                let only = Json::Array(items.get(*index).cloned().into_iter().collect());
                if swap_if_same::<T>(json, outer, only, error) {
                    *step = Step::Item(0);
                }
            }
            (Json::Object(entries), Step::Key(own)) => {
                let lists = entries.iter().filter(|(key, value)| {
                    *key != own && value.as_array().is_some_and(|items| !items.is_empty())
                });
                let lists: Vec<String> = lists.map(|(key, _)| key.clone()).collect();
                for key in lists {
                    let beside = child(outer, Step::Key(key.into()));
                    swap_if_same::<T>(json, &beside, Json::Array(Vec::new()), error);
                }
            }
            _ => {}
        }
    }
}

/// Puts another value at `steps`, and takes it away again if that changes the error.
fn swap_if_same<T: DeserializeOwned>(
    json: &mut Json,
    steps: &[Step<'static>],
    other: Json,
    error: &str,
) -> bool {
    let Some(before) = swap(json, steps, other) else {
        return false;
    };
    let same = refusal::<T>(json).as_deref() == Some(error);
    if !same {
        swap(json, steps, before);
    }
    same
}

/// Of the suspects that change the error when spoilt, the one that is read last.
fn last_read<T: DeserializeOwned>(json: &Json, suspects: &[Suspect], error: &str) -> Option<Steps> {
    let spoilt = |spoils: &[(&Suspect, Json)]| {
        let mut json = json.clone();
        for (suspect, other) in spoils {
            spoil(&mut json, suspect, other);
        }
        refusal::<T>(&json)
    };
    let changes = |suspect: &Suspect, other| spoilt(&[(suspect, other)]).as_deref() != Some(error);
    let mut last: Option<&Suspect> = None;
    for suspect in suspects {
        if !changes(suspect, map()) || !changes(suspect, list()) {
            continue;
        }
        let later = last.as_ref().is_none_or(|last| {
            let mut both = [(*last, map()), (suspect, list())];
            // The deeper first, and values before their keys: a spoilt key hides what is below.
            both.sort_by_key(|(suspect, _)| {
                let own = usize::from(suspect.what == What::Value);
                std::cmp::Reverse(suspect.steps.len() * 2 + own)
            });
            spoilt(&both) == spoilt(&[(last, map())])
        });
        if later {
            last = Some(suspect);
        }
    }
    last.map(|suspect| suspect.steps.clone())
}

/// The longest of several paths that lie on each other's way; none when they part.
fn deepest(mut all: Vec<Steps>) -> Option<Steps> {
    all.sort_by_key(Vec::len);
    let deepest = all.pop()?;
    all.iter().all(|steps| deepest.starts_with(steps)).then_some(deepest)
}

fn spoil(json: &mut Json, suspect: &Suspect, other: &Json) {
    match (suspect.what, suspect.steps.split_last()) {
        (What::Key, Some((Step::Key(key), outer))) => {
            if let Some(Json::Object(entries)) = find_mut(json, outer)
                && let Some(value) = entries.remove(&**key)
            {
                entries.insert(format!("{key}{SPOILT}"), value);
            }
        }
        _ => {
            swap(json, &suspect.steps, other.clone());
        }
    }
}

fn remove(json: &mut Json, steps: &[Step<'_>]) {
    let Some((last, outer)) = steps.split_last() else {
        return;
    };
    match (find_mut(json, outer), last) {
        (Some(Json::Object(entries)), Step::Key(key)) => {
            entries.remove(&**key);
        }
        (Some(Json::Array(items)), Step::Item(index)) if *index < items.len() => {
            items.remove(*index);
        }
        _ => {}
    }
}

fn map() -> Json {
    Json::Object(serde_json::Map::new())
}

fn list() -> Json {
    Json::Array(Vec::new())
}

fn refusal<T: DeserializeOwned>(json: &Json) -> Option<String> {
    T::deserialize(json).err().map(|error| error.to_string())
}

fn child(outer: &[Step<'static>], step: Step<'static>) -> Steps {
    outer.iter().cloned().chain([step]).collect()
}

fn swap(json: &mut Json, steps: &[Step<'_>], other: Json) -> Option<Json> {
    find_mut(json, steps).map(|at| std::mem::replace(at, other))
}

fn find<'j>(json: &'j Json, steps: &[Step<'_>]) -> Option<&'j Json> {
    steps.iter().try_fold(json, |at, step| match step {
        Step::Key(name) => at.get(&**name),
        Step::Item(index) => at.get(*index),
    })
}

fn find_mut<'j>(json: &'j mut Json, steps: &[Step<'_>]) -> Option<&'j mut Json> {
    steps.iter().try_fold(json, |at, step| match step {
        Step::Key(name) => at.get_mut(&**name),
        Step::Item(index) => at.get_mut(*index),
    })
}

/// All keys and single values, in the order they are kept.
fn collect(json: &Json, at: &[Step<'static>], suspects: &mut Vec<Suspect>) {
    let suspect = |steps, what| Suspect { steps, what };
    match json {
        _ if suspects.len() > MOST_TRIED => {}
        Json::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                collect(item, &child(at, Step::Item(index)), suspects);
            }
        }
        Json::Object(entries) => {
            for (key, value) in entries {
                let steps = child(at, Step::Key(key.clone().into()));
                suspects.push(suspect(steps.clone(), What::Key));
                collect(value, &steps, suspects);
            }
        }
        _ => suspects.push(suspect(at.to_vec(), What::Value)),
    }
}
