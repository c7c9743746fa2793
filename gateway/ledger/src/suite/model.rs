//! Random interleavings against a model small enough to be seen to be right.

use std::sync::Arc;

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use stencilward_domain::event::{Position, Stream};
use tokio::task::JoinSet;

use super::{Place, append, conflict, counts, machine, placed};
use crate::contract::{Append, Appended, Ledger};
use crate::error::Refused;
use crate::verify::{Verified, verify};

/// What may be done next.
#[derive(Debug, Clone)]
enum Step {
    /// Hand over these in one call.
    Call(Vec<Choice>),
    /// Hand over these in one call each, all at the same time.
    Together(Vec<Choice>),
    /// Close and open again.
    Reopen,
}

/// One append, relative to what was handed over before.
#[derive(Debug, Clone)]
enum Choice {
    /// At the version the stream will have.
    Fresh { stream: usize, facts: usize },
    /// At another version.
    Off { stream: usize, by: i8, facts: usize },
    /// One of those handed over before, kept or not.
    Repeat(prop::sample::Index),
}

fn choice() -> impl Strategy<Value = Choice> {
    let stream = 0..3_usize;
    prop_oneof![
        4 => (stream.clone(), 1..4_usize)
            .prop_map(|(stream, facts)| Choice::Fresh { stream, facts }),
        1 => (stream, -3..3_i8, 0..3_usize)
            .prop_map(|(stream, by, facts)| Choice::Off { stream, by, facts }),
        2 => any::<prop::sample::Index>().prop_map(Choice::Repeat),
    ]
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let choices = || prop::collection::vec(choice(), 0..6);
    let step = prop_oneof![
        6 => choices().prop_map(Step::Call),
        3 => choices().prop_map(Step::Together),
        1 => Just(Step::Reopen),
    ];
    prop::collection::vec(step, 0..12)
}

/// The ledger as lists in memory.
#[derive(Debug, Default)]
struct Model {
    /// What was kept, in order.
    kept: Vec<(Append, Appended)>,
    handed_over: Vec<Append>,
    numbers: u64,
}

impl Model {
    fn end(&self) -> u64 {
        self.kept.last().map_or(0, |(_, appended)| appended.last.0)
    }

    fn version(&self, stream: &Stream) -> u64 {
        let mut kept = self.kept.iter().rev();
        kept.find(|(append, _)| append.stream == *stream)
            .map_or(0, |(_, appended)| appended.version)
    }

    fn answer(&mut self, append: &Append) -> Result<Appended, Refused> {
        if append.facts.is_empty() {
            let stream = append.stream.clone();
            return Err(Refused::Empty { stream });
        }
        if let Some((_, appended)) = self.kept.iter().find(|(kept, _)| kept == append) {
            return Ok(*appended);
        }
        let actual = self.version(&append.stream);
        if actual != append.expected {
            return conflict(&append.stream, append.expected, actual);
        }
        let (end, facts) = (self.end(), append.facts.len() as u64);
        let answer = placed(end + 1, end + facts, actual + facts);
        if let Ok(appended) = answer {
            self.kept.push((append.clone(), appended));
        }
        answer
    }

    /// The append chosen, with the version its stream has by now as the model sees it.
    fn choose(&mut self, choice: &Choice, ahead: &[Append]) -> Option<Append> {
        let (stream, by, facts) = match choice {
            Choice::Fresh { stream, facts } => (stream, 0, *facts),
            Choice::Off { stream, by, facts } => (stream, *by, *facts),
            Choice::Repeat(_) if self.handed_over.is_empty() => return None,
            Choice::Repeat(index) => return Some(index.get(&self.handed_over).clone()),
        };
        let stream = machine(&format!("m{stream}"));
        let before = ahead.iter().filter(|append| append.stream == stream);
        let before: usize = before.map(|append| append.facts.len()).sum();
        let version = self.version(&stream) + before as u64;
        let first = self.numbers;
        self.numbers += facts as u64;
        let expected = version.saturating_add_signed(i64::from(by));
        Some(append(&stream, expected, first..self.numbers))
    }

    fn choose_all(&mut self, choices: &[Choice]) -> Vec<Append> {
        let mut chosen = Vec::new();
        for choice in choices {
            chosen.extend(self.choose(choice, &chosen));
        }
        self.handed_over.extend(chosen.iter().cloned());
        chosen
    }

    fn counts(&self) -> Vec<u64> {
        let facts = self.kept.iter().flat_map(|(append, _)| &append.facts);
        facts.map(super::count).collect()
    }
}

/// Fresh, stale and repeated appends, in calls, at the same time, across openings.
pub fn any_interleaving_does_what_the_model_does<P: Place>(place: impl Fn() -> P) {
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
    let config = Config { failure_persistence: None, ..Config::with_cases(48) };
    let result = TestRunner::new(config).run(&steps(), |steps| {
        runtime.block_on(run(&place(), &steps));
        Ok(())
    });
    assert!(result.is_ok(), "{}", result.unwrap_err());
}

async fn run(place: &impl Place, steps: &[Step]) {
    let mut model = Model::default();
    let mut ledger = place.open().await;
    for step in steps {
        match step {
            Step::Call(choices) => {
                let call = model.choose_all(choices);
                let expected: Vec<_> = call.iter().map(|append| model.answer(append)).collect();
                assert_eq!(ledger.append(call).await.unwrap(), expected);
            }
            Step::Together(choices) => {
                let appends = model.choose_all(choices);
                together(&ledger, &mut model, appends).await;
            }
            Step::Reopen => {
                ledger.close().await;
                drop(ledger);
                ledger = place.open().await;
            }
        }
        assert_eq!(ledger.head().borrow().0, model.end());
    }
    assert_eq!(counts(&*ledger).await, model.counts());
    let walked = verify(&*ledger, |_| {}).await.unwrap();
    let end = Position(model.end());
    assert!(matches!(walked, Verified::Whole { head, .. } if head == end));
}

/// Nobody knows the order of calls made at the same time; there must be one that explains the
/// answers. What was kept lies in the order of the positions, so the model follows that; a
/// refusal must then be one that the model gives at some moment.
async fn together(ledger: &Arc<dyn Ledger>, model: &mut Model, appends: Vec<Append>) {
    let mut calls = JoinSet::new();
    for append in appends {
        let ledger = Arc::clone(ledger);
        calls.spawn(async move {
            let answer = super::one(&*ledger, append.clone()).await;
            (append, answer)
        });
    }
    let (mut kept, mut refused) = (Vec::new(), Vec::new());
    for (append, answer) in calls.join_all().await {
        match answer {
            Ok(appended) => kept.push((appended, append)),
            Err(why) => refused.push((append, why)),
        }
    }
    kept.sort_by_key(|(appended, _)| appended.first);
    let explained = |model: &mut Model, refused: &mut Vec<(Append, Refused)>| {
        refused.retain(|(append, why)| would_refuse(model, append).as_ref() != Some(why));
    };
    explained(model, &mut refused);
    for (appended, append) in kept {
        assert_eq!(model.answer(&append), Ok(appended));
        explained(model, &mut refused);
    }
    assert_eq!(refused, [], "refusals that nothing explains");
}

/// The model's refusal of an append at this moment, which a refusal leaves as it is.
fn would_refuse(model: &mut Model, append: &Append) -> Option<Refused> {
    let before = model.kept.len();
    let answer = model.answer(append);
    model.kept.truncate(before);
    answer.err()
}
