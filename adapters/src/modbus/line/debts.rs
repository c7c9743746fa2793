//! Answers that a unit still owes, where an answer bears nothing that ties it to its question.
//!
//! A unit answers in the order in which it was asked. So after a time-out it is first asked
//! something whose answer is of another length: once that has come, no older one will.

use std::collections::HashMap;
use std::time::{Duration, Instant};

use tokio_modbus::Request;

use crate::modbus::rtu::Question;

/// An answer that is this late, counted in time-outs, is not expected any more.
const FORGOTTEN_AFTER: u32 = 3;
/// Nor is it expected sooner than after this time.
const REMEMBERED: Duration = Duration::from_secs(2);

/// The questions of each unit that have no answer yet.
#[derive(Debug, Default)]
pub(super) struct Debts(HashMap<u8, Vec<Debt>>);

#[derive(Debug)]
struct Debt {
    question: Question,
    forgotten: Instant,
}

/// How to ask.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Way {
    Ask,
    /// This first: its answer cannot be mistaken.
    First(Request<'static>),
    /// Not before this moment.
    Wait(Instant),
}

impl Debts {
    pub(super) fn asked(
        &mut self,
        unit: u8,
        request: &Request<'static>,
        limit: Duration,
        now: Instant,
    ) {
        let Some(question) = Question::new(unit, request) else { return };
        let forgotten = now + limit.saturating_mul(FORGOTTEN_AFTER).max(REMEMBERED);
        self.0.entry(unit).or_default().push(Debt { question, forgotten });
    }

    pub(super) fn answered(&mut self, unit: u8) {
        self.0.remove(&unit);
    }

    pub(super) fn way(&mut self, unit: u8, request: &Request<'static>, now: Instant) -> Way {
        let Some(owed) = self.0.get_mut(&unit) else { return Way::Ask };
        owed.retain(|debt| debt.forgotten > now);
        let mistakable = |request: &Request<'static>| {
            let question = Question::new(unit, request);
            let alike = |debt: &&Debt| {
                question.as_ref().is_some_and(|question| debt.question.is_answered_like(question))
            };
            owed.iter().filter(alike).map(|debt| debt.forgotten).max()
        };
        let Some(forgotten) = mistakable(request) else { return Way::Ask };
        let mut other = request.clone();
        while let Some(shorter) = shorter(&other) {
            if mistakable(&shorter).is_none() {
                return Way::First(shorter);
            }
            other = shorter;
        }
        Way::Wait(forgotten)
    }
}

/// A question for a part of what this one asks for, with a shorter answer.
fn shorter(request: &Request<'static>) -> Option<Request<'static>> {
    let words = |count: u16| count.checked_sub(1).filter(|count| *count > 0);
    let bits = |count: u16| count.checked_sub(8).filter(|count| *count > 0);
    Some(match *request {
        Request::ReadCoils(at, count) => Request::ReadCoils(at, bits(count)?),
        Request::ReadDiscreteInputs(at, count) => Request::ReadDiscreteInputs(at, bits(count)?),
        Request::ReadHoldingRegisters(at, count) => {
            Request::ReadHoldingRegisters(at, words(count)?)
        }
        Request::ReadInputRegisters(at, count) => Request::ReadInputRegisters(at, words(count)?),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: Duration = Duration::from_secs(1);

    fn registers(count: u16) -> Request<'static> {
        Request::ReadHoldingRegisters(0, count)
    }

    #[test]
    fn after_a_time_out_the_next_question_has_an_answer_of_another_length() {
        let (mut debts, now) = (Debts::default(), Instant::now());
        assert_eq!(debts.way(1, &registers(3), now), Way::Ask);
        debts.asked(1, &Request::ReadHoldingRegisters(40, 3), LIMIT, now);
        assert_eq!(debts.way(2, &registers(3), now), Way::Ask, "another unit");
        assert_eq!(debts.way(1, &registers(4), now), Way::Ask);
        assert_eq!(debts.way(1, &registers(3), now), Way::First(registers(2)));
        // That one is not answered either.
        debts.asked(1, &registers(2), LIMIT, now);
        assert_eq!(debts.way(1, &registers(3), now), Way::First(registers(1)));
        debts.asked(1, &registers(1), LIMIT, now + LIMIT);
        let forgotten = now + LIMIT * 3;
        assert_eq!(debts.way(1, &registers(3), now + LIMIT), Way::Wait(forgotten));
        assert_eq!(debts.way(1, &registers(3), forgotten), Way::Ask);
        debts.asked(1, &registers(3), LIMIT, forgotten);
        debts.answered(1);
        assert_eq!(debts.way(1, &registers(3), forgotten), Way::Ask);
    }

    #[test]
    fn bits_come_eight_to_a_byte() {
        let (mut debts, now) = (Debts::default(), Instant::now());
        debts.asked(1, &Request::ReadCoils(0, 17), LIMIT, now);
        let way = debts.way(1, &Request::ReadCoils(99, 20), now);
        assert_eq!(way, Way::First(Request::ReadCoils(99, 12)));
        debts.asked(1, &Request::ReadCoils(0, 8), LIMIT / 10, now);
        let way = debts.way(1, &Request::ReadCoils(3, 1), now);
        assert_eq!(way, Way::Wait(now + REMEMBERED));
    }
}
