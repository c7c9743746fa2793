//! A command, and what is to be done about it: told again while nobody answers, told anew when
//! something else is wanted. Pure: time comes in as a value.

use std::time::Duration;

use tokio::time::Instant;

/// A machine that shows another state than it was told has this long to follow.
pub(crate) const FOLLOWING: Duration = Duration::from_secs(2);

/// Longest wait between two repeats, unless the machine has longer for its answer.
const LONGEST: Duration = Duration::from_secs(15);

/// What a machine says became of a command.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Verdict {
    Done,
    /// In its own words, where it has some.
    Refused(Option<String>),
}

/// What is wrong with a command that was told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Failing {
    /// Nobody answered in time.
    Unanswered(u64),
    Refused(Option<String>),
    /// The machine said it is done, and shows something else.
    NotShown,
}

/// What is to be told now.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Turn {
    /// The command of this number.
    pub(crate) tell: Option<u64>,
    pub(crate) failing: Option<Failing>,
}

/// An output that commands, and its last command.
#[derive(Debug)]
pub(crate) struct Command {
    within: Duration,
    last: Option<Told>,
}

#[derive(Debug)]
struct Told {
    number: u64,
    permits: bool,
    /// What the machine was known to do before.
    before: Option<bool>,
    answer: Answer,
    /// When an answer is overdue, or a refused command is told anew.
    due: Instant,
    /// How long the next answer is waited for.
    wait: Duration,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Answer {
    Missing,
    /// There was one; a connection that is gone since has made it doubtful.
    Doubtful,
    Done(Instant),
    Refused,
}

impl Command {
    pub(crate) fn new(within: Duration) -> Self {
        Self { within, last: None }
    }

    /// What the machine is known to do.
    pub(crate) fn known(&self) -> Option<bool> {
        let told = self.last.as_ref()?;
        match told.answer {
            Answer::Done(_) => Some(told.permits),
            Answer::Refused => told.before,
            Answer::Missing | Answer::Doubtful => None,
        }
    }

    /// A connection is gone: what the machine does is not known, and the command is told again.
    pub(crate) fn doubt(&mut self) {
        if let Some(told) = &mut self.last {
            (told.answer, told.before) = (Answer::Doubtful, None);
        }
    }

    /// When something may be to be done although nothing happens.
    pub(crate) fn due(&self) -> Option<Instant> {
        let told = self.last.as_ref()?;
        match told.answer {
            Answer::Missing | Answer::Refused => Some(told.due),
            Answer::Doubtful | Answer::Done(_) => None,
        }
    }

    /// Looks at what is wanted, at what the machine answered to the last command, and at what it
    /// shows where it shows something. `fresh` makes a number that no command had before.
    pub(crate) fn turn(
        &mut self,
        wanted: bool,
        verdict: Option<&Verdict>,
        shown: Option<Option<bool>>,
        fresh: impl FnOnce() -> u64,
        now: Instant,
    ) -> Turn {
        let failing = self.hear(verdict, now);
        let known = self.known();
        let Some(told) = self.last.as_mut().filter(|told| told.permits == wanted) else {
            return Turn {
                tell: Some(self.tell(fresh(), wanted, known, self.within, now)),
                failing,
            };
        };
        let late = now >= told.due;
        match told.answer {
            Answer::Doubtful => {
                (told.answer, told.wait) = (Answer::Missing, self.within);
                told.due = now + told.wait;
                Turn { tell: Some(told.number), failing }
            }
            Answer::Missing if late => {
                told.wait = longer(told.wait, self.within);
                told.due = now + told.wait;
                let failing = Some(Failing::Unanswered(told.number));
                Turn { tell: Some(told.number), failing }
            }
            Answer::Refused if late => {
                let wait = longer(told.wait, self.within);
                Turn { tell: Some(self.tell(fresh(), wanted, known, wait, now)), failing }
            }
            Answer::Done(since)
                if shown.is_some_and(|shown| shown != Some(wanted))
                    && now.duration_since(since) >= FOLLOWING =>
            {
                let tell = Some(self.tell(fresh(), wanted, None, self.within, now));
                Turn { tell, failing: Some(Failing::NotShown) }
            }
            _ => Turn { tell: None, failing },
        }
    }

    fn tell(
        &mut self,
        number: u64,
        permits: bool,
        before: Option<bool>,
        wait: Duration,
        now: Instant,
    ) -> u64 {
        let (answer, due) = (Answer::Missing, now + wait);
        self.last = Some(Told { number, permits, before, answer, due, wait });
        number
    }

    /// Done stays done: a refusal of what a machine has done already is of the repeat. An answer
    /// that was forgotten is doubtful.
    fn hear(&mut self, verdict: Option<&Verdict>, now: Instant) -> Option<Failing> {
        let told = self.last.as_mut()?;
        match (verdict, told.answer) {
            (None, Answer::Done(_) | Answer::Refused) => self.doubt(),
            (None, _) | (Some(_), Answer::Done(_)) => {}
            (Some(Verdict::Refused(_)), Answer::Refused) => {}
            (Some(Verdict::Done), _) => told.answer = Answer::Done(now),
            (Some(Verdict::Refused(words)), _) => {
                (told.answer, told.due) = (Answer::Refused, now + told.wait);
                return Some(Failing::Refused(words.clone()));
            }
        }
        None
    }
}

fn longer(wait: Duration, within: Duration) -> Duration {
    (wait * 2).min(LONGEST.max(within))
}

#[cfg(test)]
mod tests;
