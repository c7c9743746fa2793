//! Whether a history of one stencil is linearizable (Herlihy and Wing 1990): is there an order of
//! all that was done, in which nothing comes before what had ended when it began, that explains
//! every answer?
//!
//! Walks along begins and ends, and keeps every state that the stencil may be in with what has
//! taken effect by then ("just-in-time linearization", Lowe 2017). Both from memory.

use std::collections::{BTreeSet, HashSet};
use std::time::Duration;

use crate::model::{Act, Answer, Stencil};

/// One thing done to one stencil.
#[derive(Debug, Clone)]
pub(crate) struct Done {
    pub(crate) stencil: u64,
    pub(crate) by: u64,
    pub(crate) act: Act,
    pub(crate) answer: Answer,
    /// When it was sent.
    pub(crate) begun: Duration,
    /// When its answer had come; none when it may take effect at any time since.
    pub(crate) ended: Option<Duration>,
    /// The event by which it was done, where the answer has it.
    pub(crate) event: Option<u64>,
}

/// A state that may be, and which of what is under way has taken effect in it.
type Perhaps = (Stencil, BTreeSet<usize>);

/// # Errors
/// The answer that no order explains, and what was possible before it.
pub(crate) fn linearizable(begin: Stencil, history: &[Done]) -> Result<(), String> {
    // At one instant begins come before ends: then the two overlapped.
    let mut steps: Vec<(Duration, bool, usize)> = Vec::new();
    for (at, done) in history.iter().enumerate() {
        steps.push((done.begun, false, at));
        steps.extend(done.ended.map(|ended| (ended, true, at)));
    }
    steps.sort_unstable();
    let mut under_way = BTreeSet::new();
    let mut perhaps = HashSet::from([(begin, BTreeSet::new())]);
    for (_, ends, at) in steps {
        if !ends {
            under_way.insert(at);
            continue;
        }
        let before = perhaps.clone();
        perhaps = with(at, perhaps, &under_way, history);
        under_way.remove(&at);
        if perhaps.is_empty() {
            let so_far: Vec<&Done> = under_way.iter().map(|at| &history[*at]).collect();
            return Err(format!(
                "no order explains {:?}; under way was {so_far:?}; it may have been {before:?}",
                history[at]
            ));
        }
    }
    Ok(())
}

/// Every state in which `end` has taken effect, after whatever else that is under way.
fn with(
    end: usize,
    perhaps: HashSet<Perhaps>,
    under_way: &BTreeSet<usize>,
    history: &[Done],
) -> HashSet<Perhaps> {
    let mut open: Vec<Perhaps> = perhaps.into_iter().collect();
    let mut seen: HashSet<Perhaps> = open.iter().cloned().collect();
    let mut with = HashSet::new();
    while let Some((stencil, effective)) = open.pop() {
        if effective.contains(&end) {
            let rest = effective.into_iter().filter(|at| *at != end).collect();
            with.insert((stencil, rest));
            continue;
        }
        for next in under_way.difference(&effective) {
            let done = &history[*next];
            if let Some(after) = stencil.after(done.by, done.act, &done.answer) {
                let mut effective = effective.clone();
                effective.insert(*next);
                let new = (after, effective);
                if seen.insert(new.clone()) {
                    open.push(new);
                }
            }
        }
    }
    with
}

mod tests {
    use super::*;
    use crate::model::Place;

    fn done(by: u64, act: Act, answer: Answer, begun: u64, ended: u64) -> Done {
        let (begun, ended) = (Duration::from_millis(begun), Some(Duration::from_millis(ended)));
        Done { stencil: 0, by, act, answer, begun, ended, event: None }
    }

    fn no(reason: &str) -> Answer {
        Answer::No([reason.to_owned()].into())
    }

    fn is_good(history: &[Done]) -> bool {
        linearizable(Stencil::at(Place::Hand), history).is_ok()
    }

    #[test]
    fn what_overlapped_may_have_been_in_either_order() {
        for (first, second) in [(Answer::Yes, no("promised")), (no("promised"), Answer::Yes)] {
            assert!(is_good(&[
                done(1, Act::Take, first, 0, 10),
                done(2, Act::Take, second, 5, 15),
            ]));
        }
    }

    #[test]
    fn two_permissions_for_one_stencil_are_found() {
        for second in [5, 20] {
            assert!(!is_good(&[
                done(1, Act::Take, Answer::Yes, 0, 10),
                done(2, Act::Take, Answer::Yes, second, second + 10),
            ]));
        }
    }

    #[test]
    fn an_answer_from_before_is_found() {
        let stale =
            [done(1, Act::Hold, Answer::Yes, 0, 10), done(2, Act::Take, Answer::Yes, 11, 20)];
        assert!(!is_good(&stale));
        let overlapping =
            [done(1, Act::Hold, Answer::Yes, 0, 12), done(2, Act::Take, Answer::Yes, 11, 20)];
        assert!(is_good(&overlapping));
    }

    #[test]
    fn a_lost_update_is_found() {
        let seen = |strokes| match Stencil::at(Place::Hand).after(
            0,
            Act::Strokes(strokes),
            &Answer::Yes,
        ) {
            Some(after) => Answer::Seen(after.seen()),
            None => panic!("strokes are always taken"),
        };
        let history = |strokes| {
            [
                done(1, Act::Strokes(5), Answer::Yes, 0, 10),
                done(2, Act::Strokes(7), Answer::Yes, 2, 9),
                done(3, Act::Look, seen(strokes), 20, 21),
            ]
        };
        assert!(is_good(&history(12)));
        assert!(!is_good(&history(5)) && !is_good(&history(7)) && !is_good(&history(13)));
    }

    #[test]
    fn what_nobody_answered_may_take_effect_later_or_never() {
        let mut pending = done(1, Act::TakenOut(3), Answer::Nothing, 0, 0);
        pending.ended = None;
        let begin = Stencil::at(Place::Slot(3));
        let there = Answer::Seen(begin.seen());
        let gone = Answer::Seen(Stencil::at(Place::Hand).seen());
        let look = |answer: &Answer, at| done(2, Act::Look, answer.clone(), at, at + 1);
        let good = [pending.clone(), look(&there, 5), look(&gone, 10)];
        assert!(linearizable(begin.clone(), &good).is_ok());
        let back = [pending, look(&gone, 5), look(&there, 10)];
        assert!(linearizable(begin, &back).is_err());
    }
}
