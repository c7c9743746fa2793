//! Events and reasons as sentences: a key for each kind, its fields as the parts.

use std::time::Duration;

use fluent_bundle::FluentArgs;
use maud::{Markup, html};
use serde_json::{Map, Value};
use stencilward_domain::decision::{Cause, Decision};
use stencilward_domain::event::{Event, Recorded};
use stencilward_domain::place::Place;
use stencilward_domain::reason::Reason;
use stencilward_domain::signal::Said;
use stencilward_domain::time::Timestamp;

use super::layout::event_link;
use super::shapes::place_words;
use super::words::{Part, Words};

/// Fields that may be absent; a sentence has a dash there.
const OPTIONAL: [&str; 16] = [
    "by",
    "code",
    "decision",
    "machine",
    "made",
    "order",
    "outcome",
    "product",
    "programme",
    "revision",
    "side",
    "slot",
    "source",
    "stencil",
    "until",
    "valid-until",
];

/// Fields that hold an instant.
const INSTANTS: [&str; 5] = ["printed", "since", "told", "until", "valid_until"];

/// A reason in words, with what to do.
pub(crate) fn reason(words: &Words, reason: &Reason) -> String {
    let key = match reason {
        Reason::Unwashed { strokes: 0 } => "reason-unwashed-unsure".to_owned(),
        Reason::UnknownOrder { order: None } => "reason-unknown-order-none".to_owned(),
        reason => format!("reason-{}", reason.code()),
    };
    words.tell_all(&key, &parts(words, serde_json::to_value(reason)))
}

/// All reasons against something, each with the event that made it so.
pub(crate) fn reasons(words: &Words, causes: &[Cause]) -> Markup {
    html! {
        ul.reasons {
            @for cause in causes {
                li {
                    (reason(words, &cause.reason))
                    @if let Some(event) = cause.because { " " (event_link(event)) }
                }
            }
        }
    }
}

/// Whether something may be done, in a word and a shape, and why not.
pub(crate) fn decision(words: &Words, decision: &Decision) -> Markup {
    let key = format!("may-{}-{}", decision.rule.as_str(), decision.outcome());
    html! {
        div.decision.yes[decision.permitted()].no[!decision.permitted()] {
            h3 { (words.say(&key)) }
            @if !decision.permitted() { (reasons(words, &decision.reasons)) }
        }
    }
}

/// An event in words.
pub(crate) fn event(words: &Words, event: &Event) -> String {
    let value = serde_json::to_value(event);
    let outcome = match event {
        Event::Decided { decision, .. } => format!("-{}", decision.outcome()),
        Event::Alarm(_) => {
            format!("-{}", field(&value, "change").or(field(&value, "alarm")).unwrap_or_default())
        }
        _ => String::new(),
    };
    let kind = field(&value, "event").unwrap_or_default();
    let key = format!("event-{kind}{outcome}");
    words.tell_all(&key, &parts(words, value))
}

/// The events of a history, latest first.
pub(crate) fn history(words: &Words, events: &[Recorded]) -> Markup {
    html! {
        ol.history {
            @for recorded in events {
                li {
                    span.when { (words.when(recorded.fact.time())) }
                    span { (event(words, &recorded.fact.event)) }
                    (event_link(recorded.position))
                }
            }
        }
    }
}

fn field<'a>(value: &'a serde_json::Result<Value>, name: &str) -> Option<&'a str> {
    value.as_ref().ok()?.get(name)?.as_str()
}

fn parts(words: &Words, value: serde_json::Result<Value>) -> FluentArgs<'static> {
    let fields = match value {
        Ok(Value::Object(fields)) => fields,
        _ => Map::new(),
    };
    let mut parts: FluentArgs<'static> =
        OPTIONAL.into_iter().map(|name| (name, Part::from("–"))).collect();
    let said = fields.get("by").is_some_and(|by| !by.is_null());
    parts.set("said", if said { "yes" } else { "no" });
    let ends = fields.get("valid_until").is_some_and(|until| !until.is_null());
    parts.set("ends", if ends { "yes" } else { "no" });
    for (name, value) in fields {
        let part = part(words, &name, &value);
        parts.set(name.replace('_', "-"), part);
    }
    parts
}

/// What a signal carries, by the names that the API has for it.
pub(crate) fn carried(words: &Words, said: &Said) -> String {
    let Ok(Value::Object(fields)) = serde_json::to_value(said) else { return "–".to_owned() };
    let carried = fields.iter().filter(|(name, value)| *name != "signal" && !value.is_null());
    let carried = carried.map(|(name, value)| {
        let name = name.replace('_', " ");
        format!("{name}: {}", part(words, &name, value))
    });
    let carried: Vec<String> = carried.collect();
    if carried.is_empty() { "–".to_owned() } else { carried.join(", ") }
}

fn part(words: &Words, name: &str, value: &Value) -> String {
    match value {
        Value::Number(number) => numbered(words, name, number),
        Value::String(text) => word(words, name, text),
        Value::Bool(yes) => words.say(if *yes { "yes" } else { "no" }),
        Value::Array(all) => {
            let all: Vec<String> = all.iter().map(|one| listed(words, name, one)).collect();
            // Reasons are sentences, all else are names.
            let between = if all.iter().all(|one| one.ends_with('.')) { " " } else { ", " };
            if all.is_empty() { "–".to_owned() } else { all.join(between) }
        }
        Value::Object(_) => match serde_json::from_value::<Place>(value.clone()) {
            Ok(place) => place_words(words, &place),
            Err(_) => value.to_string(),
        },
        Value::Null => "–".to_owned(),
    }
}

fn numbered(words: &Words, name: &str, number: &serde_json::Number) -> String {
    if let Some(signed) = number.as_i64() {
        if INSTANTS.contains(&name) {
            return words.time(Timestamp(signed));
        }
        if name.ends_with("_centi") {
            return words.centi(signed);
        }
    }
    match number.as_u64() {
        Some(count) if name.ends_with("seconds") => words.span(Duration::from_secs(count)),
        Some(count) if matches!(name, "of" | "corrects" | "decision" | "late") => {
            format!("#{count}")
        }
        Some(count) => words.number(count),
        None => number.to_string(),
    }
}

/// A word of ours in the reader's language; a name or free text as it is.
fn word(words: &Words, name: &str, text: &str) -> String {
    let ours = text.len() < 24 && text.bytes().all(|b| b.is_ascii_lowercase() || b == b'-');
    let key = format!("word-{}-{text}", name.replace('_', "-"));
    let known = ours.then(|| words.if_known(&key, &FluentArgs::new())).flatten();
    known.unwrap_or_else(|| text.to_owned())
}

fn listed(words: &Words, name: &str, value: &Value) -> String {
    let field = |key: &str| value.get(key);
    if let Ok(cause) = serde_json::from_value::<Cause>(value.clone()) {
        return reason(words, &cause.reason);
    }
    match (field("quantity").and_then(Value::as_str), field("value"), field("unit")) {
        (Some(quantity), Some(number), Some(unit)) => {
            format!("{quantity} {number} {}", unit.as_str().unwrap_or_default())
        }
        _ => part(words, name, value),
    }
}

#[cfg(test)]
mod tests {
    use stencilward_domain::alarm::{AlarmKind, AlarmState};

    use super::super::words::Language;
    use super::*;

    #[test]
    fn every_reason_and_alarm_has_its_sentence() {
        let reasons = r#"[
            {"code":"unknown-stencil","stencil":"A"}, {"code":"nothing-seated"},
            {"code":"seat-unconfirmed","stencil":"A"}, {"code":"unwashed","strokes":0},
            {"code":"unwashed","strokes":5}, {"code":"cleanliness-unknown"}, {"code":"washing"},
            {"code":"wash-too-old","age_seconds":9,"allowed_seconds":8},
            {"code":"on-hold","why":"bent","by":"Ana"},
            {"code":"worn-out","strokes":9,"rated_strokes":9,"washes":1,"rated_washes":null},
            {"code":"concession-used-up","strokes":4}, {"code":"retired"},
            {"code":"tension-overdue","allowed_seconds":8},
            {"code":"tension-too-low","measured_centi":3,"lowest_centi":4},
            {"code":"wrong-product","asked":"A","stencil_for":"B"},
            {"code":"wrong-side","asked":"top","stencil_for":"bottom"},
            {"code":"wrong-revision","asked":"A","stencil_for":"B"},
            {"code":"not-for-order","order":"A"}, {"code":"unknown-order","order":"A"},
            {"code":"unknown-order","order":null}, {"code":"elsewhere","place":{"place":"in-hand"}},
            {"code":"slot-taken","slot":"A","holds":"B"}, {"code":"slot-promised","slot":"A","to":"B"},
            {"code":"not-taken"}, {"code":"too-many-strokes-since-wash","strokes":2,"allowed":1},
            {"code":"too-long-since-wash","seconds":2,"allowed_seconds":1},
            {"code":"not-a-rack","machine":"A"}, {"code":"on-trial","machine":"A"}]"#;
        let reasons: Vec<Reason> = serde_json::from_str(reasons).expect("reasons");
        for language in [Language::English, Language::German] {
            let words = Words::new(language, jiff::tz::TimeZone::UTC, String::new());
            let whole =
                |said: String| assert!(!said.contains('⟦') && !said.contains('{'), "{said}");
            reasons.iter().for_each(|one| whole(reason(&words, one)));
            for kind in AlarmKind::ALL {
                whole(words.say(&format!("alarm-kind-{}", kind.as_str())));
                whole(words.say(&format!("alarm-todo-{}", kind.as_str())));
            }
            AlarmState::ALL
                .iter()
                .for_each(|s| whole(words.say(&format!("word-to-{}", s.as_str()))));
        }
    }
}
