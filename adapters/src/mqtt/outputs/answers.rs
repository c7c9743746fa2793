//! What machines answer to commands. Only the answer to an output's last command counts.

use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use stencilward_domain::names::MachineName;
use tokio::sync::Notify;

use crate::command::Verdict;
use crate::link::{Observer, Trouble};
use crate::mqtt::packets::Arrived;
use crate::mqtt::payload::{Garbled, Text, clipped, shortened};
use crate::mqtt::settings::{Answer, Settings};

/// An output: whose, and its name.
pub(super) type Whose = (MachineName, String);

/// The outputs that are answered, and the answers to their last commands.
#[derive(Debug, Default)]
pub(in crate::mqtt) struct Answers {
    outputs: HashMap<String, Vec<(Whose, Answer)>>,
    last: Mutex<HashMap<Whose, (u64, Option<Verdict>)>>,
    pub(super) changed: Notify,
}

impl Answers {
    pub(in crate::mqtt) fn new(machines: &[(MachineName, Settings)]) -> Self {
        let mut outputs: HashMap<String, Vec<(Whose, Answer)>> = HashMap::new();
        for (machine, settings) in machines {
            for output in &settings.outputs {
                if let Some(answer) = &output.answer {
                    let whose = (machine.clone(), output.name.clone());
                    let listening = outputs.entry(answer.topic.clone()).or_default();
                    listening.push((whose, answer.clone()));
                }
            }
        }
        Self { outputs, ..Self::default() }
    }

    pub(in crate::mqtt) fn topics(&self) -> impl Iterator<Item = &String> {
        self.outputs.keys()
    }

    /// The last command of this output has this number now; an answer to it may have come.
    pub(super) fn expect(&self, whose: &Whose, number: u64) {
        let mut last = self.lock();
        if last.get(whose).is_none_or(|(known, _)| *known != number) {
            last.insert(whose.clone(), (number, None));
        }
    }

    pub(super) fn to(&self, whose: &Whose) -> Option<Verdict> {
        self.lock().get(whose)?.1.clone()
    }

    /// The broker is lost: what was answered says nothing any more of what is.
    pub(in crate::mqtt) fn forget(&self) {
        for (_, verdict) in self.lock().values_mut() {
            *verdict = None;
        }
        self.changed.notify_one();
    }

    /// Takes in a message; false when nobody answers on its topic.
    pub(in crate::mqtt) fn hear(&self, arrived: &Arrived, observer: &dyn Observer) -> bool {
        let Some(outputs) = self.outputs.get(&arrived.topic) else {
            return false;
        };
        let mut text = Text::new(&arrived.payload);
        let correlation = arrived.correlation.as_deref();
        let (mut taken, mut wrong) = (false, None);
        for (whose, answer) in outputs {
            match self.take(whose, answer, &mut text, correlation) {
                Ok(()) => taken = true,
                Err(garbled) => wrong = wrong.or(Some((whose, garbled))),
            }
        }
        // What a broker stored says at each connection what it said before.
        if let Some(((machine, _), (kind, why))) = wrong.filter(|_| !taken && !arrived.stored) {
            observer.trouble(machine, kind, &format!("answer on {}: {why}", arrived.topic));
        }
        true
    }

    fn take(
        &self,
        whose: &Whose,
        answer: &Answer,
        text: &mut Text<'_>,
        correlation: Option<&[u8]>,
    ) -> Result<(), Garbled> {
        let number = number(answer, text, correlation)?;
        let mut last = self.lock();
        let Some((_, verdict)) = last.get_mut(whose).filter(|(known, _)| *known == number) else {
            let why = format!(
                "it is to a command of number {number}, which is not the last one of this output; \
                 it changes nothing"
            );
            return Err((Trouble::Stale, why));
        };
        let heard = read(answer, text)?;
        if *verdict != Some(Verdict::Done) {
            *verdict = Some(heard);
            self.changed.notify_one();
        }
        Ok(())
    }

    fn lock(&self) -> MutexGuard<'_, HashMap<Whose, (u64, Option<Verdict>)>> {
        self.last.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The number of the command that is answered, by everything in the answer that tells it.
fn number(
    answer: &Answer,
    text: &mut Text<'_>,
    correlation: Option<&[u8]>,
) -> Result<u64, Garbled> {
    let given = correlation.map(|data| {
        let number = std::str::from_utf8(data).ok().and_then(|text| text.parse::<u64>().ok());
        let why = "its correlation data are not those of a command: give back what came with it";
        number.ok_or_else(|| (Trouble::Unreadable, why.to_owned()))
    });
    let told = answer.number.as_deref().map(|pointer| text.number(Some(pointer)));
    match (told.transpose()?, given.transpose()?) {
        (Some(told), Some(given)) if told != given => Err((
            Trouble::Senseless,
            format!("it has the number {told}, and the correlation data of {given}"),
        )),
        (Some(number), _) | (None, Some(number)) => Ok(number),
        (None, None) => {
            let why = "it has no correlation data: let the machine give back what came with the \
                       command, or put a number into it and set answer.number";
            Err((Trouble::Missing, why.to_owned()))
        }
    }
}

fn read(answer: &Answer, text: &mut Text<'_>) -> Result<Verdict, Garbled> {
    let word = text.word(answer.value.as_deref())?;
    if answer.done.contains(&word) {
        return Ok(Verdict::Done);
    }
    if answer.refused.contains(&word) {
        let words = text.optional(answer.text.as_ref()).ok().flatten();
        return Ok(Verdict::Refused(words.map(|words| clipped(&words))));
    }
    let word = shortened(&word);
    Err((Trouble::Senseless, format!("neither done nor refused lists {word}")))
}
