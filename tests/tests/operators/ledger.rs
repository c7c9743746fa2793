//! What the ledger must say of the day, whatever the answers were.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use stencilward_domain::decision::{Decision, Rule};
use stencilward_domain::event::{Basis, Event, Recorded};
use stencilward_domain::names::StencilCode;

use crate::checker::Done;
use crate::model::{Act, Answer};
use crate::operator::name;
use crate::works::{code, printer, slot};

/// Who did it, if the event is one by which an operator's request was carried out.
fn doer(event: &Event) -> Option<&str> {
    match event {
        Event::Decided { decision, .. } => decision.by.as_deref(),
        Event::Seated { by, .. } | Event::WashEnded { by, .. } => by.as_deref(),
        Event::HoldPlaced { by, .. } | Event::HoldReleased { by, .. } => Some(by),
        Event::StrokesBooked { basis: Basis::Hand { by, .. }, .. } => Some(by),
        _ => None,
    }
}

/// Does the event tell of what was done, and of the answer.
fn tells(event: &Event, done: &Done) -> bool {
    let about = |stencil: &StencilCode| stencil.as_str() == code(done.stencil);
    match (event, done.act) {
        (Event::Decided { decision, .. }, Act::Take) => {
            decision.rule == Rule::Take && decision.stencil.as_ref().is_some_and(about)
        }
        (Event::Decided { decision, .. }, Act::Store(number)) => {
            let place = decision.machine.as_ref().zip(decision.slot.as_ref());
            decision.rule == Rule::Store
                && decision.stencil.as_ref().is_some_and(about)
                && place.map(|(rack, slot)| (rack.to_string(), slot.to_string()))
                    == Some(slot(number))
        }
        (Event::Seated { stencil, machine, .. }, Act::Seat(number)) => {
            about(stencil) && machine.as_str() == printer(number)
        }
        (Event::WashEnded { stencil, .. }, Act::Wash)
        | (Event::HoldPlaced { stencil, .. }, Act::Hold)
        | (Event::HoldReleased { stencil, .. }, Act::Release) => about(stencil),
        (Event::StrokesBooked { stencil, count, .. }, Act::Strokes(strokes)) => {
            about(stencil) && *count == strokes
        }
        _ => false,
    }
}

fn reasons(decision: &Decision) -> BTreeSet<String> {
    decision.reasons.iter().map(|cause| cause.reason.code().to_owned()).collect()
}

/// Each operator's events, in the ledger's order, are what that operator was answered, in order:
/// each answer has one event, and each event one answer. Fills in the reasons that a page told in
/// words only. Gives how often each reason was told.
pub(crate) fn each_answer_has_its_events(
    done: &mut [Done],
    recorded: &[Recorded],
) -> BTreeMap<String, usize> {
    let mut theirs: BTreeMap<&str, VecDeque<&Recorded>> = BTreeMap::new();
    for one in recorded {
        if let Some(by) = doer(&one.fact.event) {
            theirs.entry(by).or_default().push_back(one);
        }
    }
    let mut told: BTreeMap<String, usize> = BTreeMap::new();
    for done in done.iter_mut() {
        let by = name(done.by);
        let mut events = theirs.get_mut(by.as_str());
        let decides = matches!(done.act, Act::Take | Act::Store(_));
        let leaves_none = matches!(done.act, Act::Look | Act::TakenOut(_) | Act::PutIn(_))
            || (!decides && done.answer != Answer::Yes);
        if leaves_none {
            continue;
        }
        let next = events.as_ref().and_then(|events| events.front().copied());
        // What else follows comes behind it; what was told before was there already.
        let by_then = |next: &&Recorded| done.event.is_none_or(|said| next.position.0 <= said);
        let next = next.filter(by_then);
        let Some(event) = next.filter(|next| tells(&next.fact.event, done)) else {
            assert!(is_there_already(done, recorded), "{done:?} left no event; next is {next:?}");
            continue;
        };
        events.as_mut().map(|events| events.pop_front());
        if let Event::Decided { decision, .. } = &event.fact.event {
            let reasons = reasons(decision);
            assert_eq!(decision.permitted(), done.answer == Answer::Yes, "{done:?}: {event:?}");
            reasons.iter().for_each(|code| *told.entry(code.clone()).or_default() += 1);
            if let Answer::No(said) = &mut done.answer {
                assert!(said.is_empty() || *said == reasons, "{said:?} but {event:?}");
                *said = reasons;
            }
        }
    }
    for (by, left) in theirs {
        assert!(left.is_empty(), "nobody was answered for {left:?} of {by}");
    }
    told
}

/// To seat a stencil where it is changes nothing.
fn is_there_already(done: &Done, recorded: &[Recorded]) -> bool {
    let Act::Seat(number) = done.act else { return false };
    let (code, printer) = (code(done.stencil), printer(number));
    // A page's answer has no position: then it is enough that it was there at some time.
    let until = done.event.unwrap_or(u64::MAX);
    let mut there = false;
    let mut ever = false;
    for one in recorded.iter().take_while(|one| one.position.0 <= until) {
        match &one.fact.event {
            Event::Seated { stencil, machine, .. } if machine.as_str() == printer => {
                there = stencil.as_str() == code;
            }
            Event::Removed { machine, .. } if machine.as_str() == printer => there = false,
            _ => {}
        }
        ever |= there;
    }
    if done.event.is_some() { there } else { ever }
}

/// While a slot is promised to one stencil it is promised to no other, and none is promised that
/// holds another.
pub(crate) fn no_slot_is_promised_twice(recorded: &[Recorded]) {
    type Slots = BTreeMap<(String, String), StencilCode>;
    let (mut promised, mut holds) = (Slots::new(), Slots::new());
    let mut promises = 0;
    for one in recorded {
        match &one.fact.event {
            Event::Decided { decision, .. } if decision.rule != Rule::Print => {
                let (Some(rack), Some(code)) = (&decision.machine, &decision.stencil) else {
                    continue;
                };
                if reasons(decision) == BTreeSet::from(["promised".to_owned()]) {
                    continue;
                }
                // A later answer about a stencil at its rack takes the place of the one before.
                promised.retain(|(at, _), to| at != rack.as_str() || to != code);
                let Some(slot) = decision.slot.as_ref().filter(|_| decision.rule == Rule::Store)
                else {
                    continue;
                };
                if decision.permitted() {
                    let key = (rack.to_string(), slot.to_string());
                    let held = holds.get(&key).filter(|held| *held != code);
                    assert_eq!(held, None, "{one:?} promises a slot that is taken");
                    let before = promised.insert(key, code.clone());
                    assert_eq!(before, None, "{one:?} promises a slot that is promised");
                    promises += 1;
                }
            }
            Event::Stored { stencil, rack, slot }
            | Event::StorageBreached { stencil: Some(stencil), rack, slot, .. }
            | Event::SlotFound { stencil: Some(stencil), rack, slot } => {
                let key = (rack.to_string(), slot.to_string());
                holds.retain(|_, held| held != stencil);
                if matches!(one.fact.event, Event::Stored { .. }) {
                    promised.retain(|(at, _), to| at != rack.as_str() || to != stencil);
                }
                holds.insert(key, stencil.clone());
            }
            Event::Taken { stencil, .. } | Event::Seated { stencil, .. } => {
                holds.retain(|_, held| held != stencil);
            }
            _ => {}
        }
    }
    assert!(promises > 0, "no slot was promised at all");
}

/// Who was permitted to take a stencil has it to themselves until it moved, it was stored, or a
/// later answer took that back. No permission ends by itself within the test.
pub(crate) fn no_stencil_is_promised_to_two(recorded: &[Recorded]) {
    let mut promised: BTreeMap<&StencilCode, &str> = BTreeMap::new();
    let mut promises = 0;
    for one in recorded {
        match &one.fact.event {
            Event::Decided { decision, .. } => {
                let (Some(code), Some(by)) = (&decision.stencil, &decision.by) else { continue };
                let only_late = reasons(decision) == BTreeSet::from(["promised".to_owned()]);
                match decision.rule {
                    Rule::Take if decision.permitted() => {
                        let before = promised.insert(code, by);
                        assert!(before.is_none_or(|first| first == by), "{before:?}, then {one:?}");
                        promises += 1;
                    }
                    Rule::Take if !only_late => drop(promised.remove(code)),
                    Rule::Store if decision.permitted() => drop(promised.remove(code)),
                    _ => {}
                }
            }
            Event::Taken { stencil, .. }
            | Event::Seated { stencil, .. }
            | Event::Stored { stencil, .. }
            | Event::StorageBreached { stencil: Some(stencil), .. } => {
                promised.remove(stencil);
            }
            _ => {}
        }
    }
    assert!(promises > 0, "nobody was permitted to take anything");
}
