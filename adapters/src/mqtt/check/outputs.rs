//! What a schema cannot see in outputs, and what those of one broker do to each other.

use std::time::Duration;

use serde_json::Value;
use stencilward_domain::names::OutputName;

use super::Found;
use crate::mqtt::settings::{Answer, Output, Settings, Version};
use crate::mqtt::topic::name_fault;
use crate::settings::Drive;

/// How long a machine may be given for an answer.
const WITHIN: (Duration, Duration) = (Duration::from_millis(100), Duration::from_secs(60));

impl Output {
    pub(super) fn check(&self, path: &str, found: &mut Found) {
        let mut fault = |key: &str, wrong: String| found.push((format!("{path}.{key}"), wrong));
        if let Err(error) = OutputName::new(&self.name) {
            fault("name", error.to_string());
        }
        if let Some(wrong) = name_fault(&self.topic) {
            fault("topic", wrong.to_owned());
        }
        if let Some(wrong) = self.read_back.as_deref().and_then(name_fault) {
            fault("read-back", wrong.to_owned());
        }
        if self.drive == Drive::Heartbeat {
            for key in self.given_of_states() {
                fault(key, "does not belong to a heartbeat, which publishes a number".to_owned());
            }
            return;
        }
        let words = [("permit", &self.permit), ("refuse", &self.refuse)];
        for (key, _) in words.into_iter().filter(|(_, word)| word.is_none()) {
            fault(key, "missing: the payload to publish, such as open or shut".to_owned());
        }
        if self.permit.is_some() && self.permit == self.refuse {
            fault("refuse", "is the same as permit: the machine could not tell".to_owned());
        }
        for (key, _) in [("value", self.value.is_some()), ("shows", self.shows.is_some())]
            .into_iter()
            .filter(|(_, given)| *given && self.read_back.is_none())
        {
            fault(key, "belongs to read-back, which is not set".to_owned());
        }
        if self.shows.as_ref().is_some_and(|shows| shows.permit == shows.refuse) {
            fault("shows", "has one word for both: nobody could tell".to_owned());
        }
        self.check_number(&mut fault);
        match &self.answer {
            Some(answer) => self.check_answer(answer, &mut fault),
            None if self.number.is_some() => {
                fault("number", "belongs to answer, which is not set".to_owned());
            }
            None => {}
        }
    }

    /// Keys that a heartbeat does not have, of those that are given.
    fn given_of_states(&self) -> impl Iterator<Item = &'static str> {
        let given = [
            ("permit", self.permit.is_some()),
            ("refuse", self.refuse.is_some()),
            ("read-back", self.read_back.is_some()),
            ("value", self.value.is_some()),
            ("shows", self.shows.is_some()),
            ("number", self.number.is_some()),
            ("answer", self.answer.is_some()),
        ];
        given.into_iter().filter_map(|(key, given)| given.then_some(key))
    }

    fn check_number(&self, fault: &mut impl FnMut(&str, String)) {
        let Some(pointer) = &self.number else { return };
        if !pointer.starts_with('/') {
            fault("number", no_pointer(pointer));
        }
        let words = [("permit", &self.permit), ("refuse", &self.refuse)];
        for (key, word) in words.into_iter().filter_map(|(key, word)| Some((key, word.as_ref()?))) {
            if !matches!(serde_json::from_str(word), Ok(Value::Object(_))) {
                let wrong = "is no JSON object, so the number has no place in it; write such as \
                             '{\"door\": \"open\"}', or drop number";
                fault(key, wrong.to_owned());
            }
        }
    }

    fn check_answer(&self, answer: &Answer, fault: &mut impl FnMut(&str, String)) {
        let mut fault = |key: &str, wrong: &str| fault(&format!("answer.{key}"), wrong.to_owned());
        if let Some(wrong) = name_fault(&answer.topic) {
            fault("topic", wrong);
        } else if answer.topic == self.topic {
            fault(
                "topic",
                "is the topic of the command itself, so the gateway would hear itself; let the \
                 machine answer on another",
            );
        }
        let pointers =
            [("number", &answer.number), ("value", &answer.value), ("text", &answer.text)];
        for (key, pointer) in pointers.into_iter().filter_map(|(key, p)| Some((key, p.as_ref()?))) {
            if !pointer.is_empty() && !pointer.starts_with('/') {
                fault(key, &no_pointer(pointer));
            }
        }
        if answer.number.is_some() && answer.value.is_none() {
            fault(
                "value",
                "missing: with the number in it the whole payload is no word; point to the word",
            );
        }
        if answer.number.is_some() && self.number.is_none() {
            fault(
                "number",
                "is never told to the machine; set the output's own number, the place in the \
                 command where it stands",
            );
        }
        if answer.done.is_empty() {
            fault("done", "is empty, so that no command could ever be done; list a word for it");
        }
        if let Some(word) = answer.refused.iter().find(|word| answer.done.contains(word)) {
            let wrong = format!("{word:?} is listed under done, too; keep it in one");
            fault("refused", &wrong);
        }
        if answer.within.0 < WITHIN.0 || answer.within.0 > WITHIN.1 {
            fault(
                "within",
                "lies between 100ms and 1min: in less no machine answers over a broker, and for \
                 longer nobody would know that it does not obey",
            );
        }
        if self.retain == Some(true) {
            fault(
                "retain",
                "belongs to outputs without an answer: a machine that starts again would carry \
                 out a retained command again; drop it",
            );
        }
    }
}

fn no_pointer(pointer: &str) -> String {
    format!("{pointer:?} is no pointer; it begins with / and points into the payload, such as /no")
}

/// An output, where it stands.
struct Placed<'a> {
    path: String,
    output: &'a Output,
}

/// Commands of a broker's machines that nobody could tell apart, or that cannot be answered. Each
/// machine comes with its place in the configuration.
#[must_use]
pub fn commanded_alike(
    version: Version,
    machines: &[(String, &Settings)],
) -> Vec<(String, String)> {
    let placed = machines.iter().flat_map(|(place, settings)| {
        let outputs = settings.outputs.iter().enumerate();
        outputs.map(move |(at, output)| Placed { path: format!("{place}.outputs[{at}]"), output })
    });
    let outputs: Vec<Placed<'_>> = placed.collect();
    let mut found = Found::new();
    for (at, Placed { path, output }) in outputs.iter().enumerate() {
        for earlier in outputs.iter().take(at) {
            if same_command(output, earlier.output) {
                found.push((
                    format!("{path}.topic"),
                    format!(
                        "is told the same as {}: a machine could not tell which of the two is \
                         meant; write another topic or other payloads",
                        earlier.path
                    ),
                ));
            }
        }
        let Some(answer) = &output.answer else { continue };
        if version == Version::Three && answer.number.is_none() {
            found.push((
                format!("{path}.answer.number"),
                "missing: MQTT 3.1.1 carries nothing else by which an old answer is known; set it \
                 and the output's own number, or the broker's version to \"5.0\""
                    .to_owned(),
            ));
        }
        let hears = |other: &&Placed<'_>| other.path != *path && other.output.topic == answer.topic;
        if let Some(other) = outputs.iter().find(hears) {
            found.push((
                format!("{path}.answer.topic"),
                format!(
                    "is where {} is published, so the gateway would hear itself; let the machine \
                     answer on another",
                    other.path
                ),
            ));
        }
    }
    found
}

/// True when one of the two is a command, and a payload of the one means something to the other.
fn same_command(one: &Output, other: &Output) -> bool {
    let words = |output: &Output| {
        [true, false].map(|permits| (output.number.clone(), output.word(permits).to_owned()))
    };
    (one.answer.is_some() || other.answer.is_some())
        && one.topic == other.topic
        && words(one).iter().any(|word| words(other).contains(word))
}
