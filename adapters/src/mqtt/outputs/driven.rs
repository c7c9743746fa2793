//! One output, and what was last done about it.

use std::time::Duration;

use bytes::Bytes;
use stencilward_domain::names::{MachineName, OutputName};
use tokio::time::Instant;

use super::Heard;
use super::answers::Whose;
use crate::command::{Command, FOLLOWING, Failing};
use crate::link::{Trouble, now};
use crate::mqtt::encode;
use crate::mqtt::packets::{Post, Reply};
use crate::mqtt::settings::Output;

/// One output and what was last done about it.
pub(super) struct Driven {
    pub(super) machine: MachineName,
    pub(super) name: OutputName,
    output: Output,
    way: Way,
}

/// How it is driven.
enum Way {
    /// By telling the state that is wanted.
    State { told: Option<bool>, since: Instant },
    /// By a command that is answered.
    Command(Command),
}

impl Driven {
    pub(super) fn new(machine: &MachineName, name: OutputName, output: &Output) -> Self {
        let way = match &output.answer {
            None => Way::State { told: None, since: Instant::now() },
            Some(answer) => Way::Command(Command::new(answer.within.0)),
        };
        Self { machine: machine.clone(), name, output: output.clone(), way }
    }

    /// What it was told has to be told again.
    pub(super) fn forget(&mut self) {
        match &mut self.way {
            Way::State { told, .. } => *told = None,
            Way::Command(command) => command.doubt(),
        }
    }

    /// When to look again although nothing happens, if before the usual time.
    pub(super) fn due(&self) -> Option<Instant> {
        match &self.way {
            Way::State { .. } => None,
            Way::Command(command) => command.due(),
        }
    }

    /// What the machine shows, or is known to do; none while that is not known.
    pub(super) fn shown(&self, heard: &Heard) -> Option<bool> {
        if self.output.read_back.is_some() {
            return heard.read_backs.shown(&self.output);
        }
        match &self.way {
            Way::State { .. } => None,
            Way::Command(command) => heard.answers.to(&self.whose()).and(command.known()),
        }
    }

    /// What is to be published now, and what is wrong. `number` is that of the last command.
    pub(super) fn turn(
        &mut self,
        permits: bool,
        heard: &Heard,
        number: &mut u64,
    ) -> (Option<Post>, Option<Failing>) {
        let whose = self.whose();
        let read_back =
            self.output.read_back.as_ref().map(|_| heard.read_backs.shown(&self.output));
        match &mut self.way {
            Way::State { told, since } => {
                let fresh = *told != Some(permits);
                let disobeyed = !fresh
                    && read_back.is_some_and(|shown| shown != Some(permits))
                    && since.elapsed() >= FOLLOWING;
                if !fresh && !disobeyed {
                    return (None, None);
                }
                (*told, *since) = (Some(permits), Instant::now());
                let post = state(&self.output, permits);
                (Some(post), disobeyed.then_some(Failing::NotShown))
            }
            Way::Command(command) => {
                let verdict = heard.answers.to(&whose);
                let fresh = || {
                    *number = above(*number);
                    *number
                };
                let turn =
                    command.turn(permits, verdict.as_ref(), read_back, fresh, Instant::now());
                let post = turn.tell.map(|number| {
                    heard.answers.expect(&whose, number);
                    commanded(&self.output, permits, number)
                });
                (post, turn.failing)
            }
        }
    }

    /// What is wrong, and what to check.
    pub(super) fn in_words(&self, permits: bool, failing: &Failing) -> (Trouble, String) {
        let topic = &self.output.topic;
        let told = format!("{topic} was told to {}", if permits { "permit" } else { "refuse" });
        let answer = self.output.answer.as_ref();
        match failing {
            Failing::NotShown => {
                (Trouble::Disobeyed, format!("{told} and does not show it; published again"))
            }
            Failing::Refused(words) => {
                let words = words.as_deref().map(|words| format!(" ({words})")).unwrap_or_default();
                let why = "see what hinders it there; it is told anew";
                (Trouble::Disobeyed, format!("{told} and the machine refuses{words}: {why}"))
            }
            Failing::Unanswered(number) => {
                let answer_on = answer.map_or("", |answer| answer.topic.as_str());
                let within = answer.map_or(Duration::ZERO, |answer| answer.within.0);
                let why = format!(
                    "{told} and nothing on {answer_on} said within {} that it is done: see that \
                     the machine is on, that it hears the one topic and may write the other, and \
                     that it gives the number {number} back; published again",
                    humantime::format_duration(within)
                );
                (Trouble::TimedOut, why)
            }
        }
    }

    fn whose(&self) -> Whose {
        (self.machine.clone(), self.output.name.clone())
    }
}

/// A number that no command of this gateway had before, nor of one that ran before it: the time,
/// in milliseconds since 1970. A JSON number of 64 bits holds it exactly (RFC 8259, 6).
fn above(last: u64) -> u64 {
    u64::try_from(now().0).unwrap_or(0).max(last + 1)
}

fn state(output: &Output, permits: bool) -> Post {
    let payload = output.word(permits).as_bytes().to_vec();
    Post { topic: output.topic.clone(), payload, retain: output.retained(), reply: None }
}

/// A command that comes later than its answer is waited for is not carried out any more, where
/// the broker knows how to withhold it.
fn commanded(output: &Output, permits: bool, number: u64) -> Post {
    let reply = output.answer.as_ref().map(|answer| Reply {
        topic: Some(answer.topic.clone()),
        correlation: Bytes::from(number.to_string()),
        expiry: Some(seconds(answer.within.0)),
    });
    let payload = encode::command(output, permits, number);
    Post { topic: output.topic.clone(), payload, retain: output.retained(), reply }
}

/// Whole seconds, and no fewer than the span.
fn seconds(span: Duration) -> u32 {
    let more = u64::from(span.subsec_nanos() > 0);
    u32::try_from(span.as_secs() + more).unwrap_or(u32::MAX)
}
