//! Reasons: a stable code each, and a sentence that says what to do.

mod common;

use std::collections::BTreeSet;

use common::words::{code, machine, order, product, slot};
use stencilward_domain::decision::{Cause, Decision, Rule};
use stencilward_domain::place::Place;
use stencilward_domain::reason::Reason;
use stencilward_domain::signal::Side;
use stencilward_domain::time::Timestamp;

/// One of each kind.
fn samples() -> Vec<Reason> {
    let (asked, stencil_for) = ("D".to_owned(), "C".to_owned());
    vec![
        Reason::UnknownStencil { stencil: code("X") },
        Reason::NothingSeated,
        Reason::SeatUnconfirmed { stencil: code("A") },
        Reason::Unwashed { strokes: 7 },
        Reason::CleanlinessUnknown,
        Reason::Washing,
        Reason::WashTooOld { age_seconds: 300_000, allowed_seconds: 259_200 },
        Reason::OnHold { why: "scratched".to_owned(), by: "M. Example".to_owned() },
        Reason::WornOut { strokes: 990, rated_strokes: 1_000, washes: 9, rated_washes: Some(50) },
        Reason::ConcessionUsedUp { strokes: 50 },
        Reason::Retired,
        Reason::TensionOverdue { allowed_seconds: 86_400 },
        Reason::TensionTooLow { measured_centi: 2_999, lowest_centi: 3_000 },
        Reason::WrongProduct { asked: product("board-8"), stencil_for: product("board-7") },
        Reason::WrongSide { asked: Side::Top, stencil_for: Side::Bottom },
        Reason::WrongRevision { asked, stencil_for },
        Reason::Elsewhere { place: Place::Printer { machine: machine("namer") } },
        Reason::SlotTaken { slot: slot("3"), holds: code("B") },
        Reason::NotTaken,
        Reason::TooManyStrokesSinceWash { strokes: 51, allowed: 50 },
        Reason::TooLongSinceWash { seconds: 7_500, allowed_seconds: 3_600 },
        Reason::NotARack { machine: machine("namer") },
        Reason::NotForOrder { order: order("WO-1") },
        Reason::UnknownOrder { order: Some(order("WO-1")) },
        Reason::OnTrial { machine: machine("namer") },
        Reason::SlotPromised { slot: slot("3"), to: code("B") },
        Reason::Promised { to: "somebody else".to_owned(), until: Timestamp(60_000) },
    ]
}

/// The match has no rest: who adds a reason adds a sample of it, too.
fn ordinal(reason: &Reason) -> usize {
    match reason {
        Reason::UnknownStencil { .. } => 0,
        Reason::NothingSeated => 1,
        Reason::SeatUnconfirmed { .. } => 2,
        Reason::Unwashed { .. } => 3,
        Reason::CleanlinessUnknown => 4,
        Reason::Washing => 5,
        Reason::WashTooOld { .. } => 6,
        Reason::OnHold { .. } => 7,
        Reason::WornOut { .. } => 8,
        Reason::ConcessionUsedUp { .. } => 9,
        Reason::Retired => 10,
        Reason::TensionOverdue { .. } => 11,
        Reason::TensionTooLow { .. } => 12,
        Reason::WrongProduct { .. } => 13,
        Reason::WrongSide { .. } => 14,
        Reason::WrongRevision { .. } => 15,
        Reason::Elsewhere { .. } => 16,
        Reason::SlotTaken { .. } => 17,
        Reason::NotTaken => 18,
        Reason::TooManyStrokesSinceWash { .. } => 19,
        Reason::TooLongSinceWash { .. } => 20,
        Reason::NotARack { .. } => 21,
        Reason::NotForOrder { .. } => 22,
        Reason::UnknownOrder { .. } => 23,
        Reason::OnTrial { .. } => 24,
        Reason::SlotPromised { .. } => 25,
        Reason::Promised { .. } => 26,
    }
}

/// What to do, after the colon. A word for each way out.
const ADVICE: [&str; 14] = [
    "scan", "wash", "wait", "have", "use", "measure", "take", "look", "choose", "bring", "check",
    "enter", "ask", "name",
];

#[test]
fn there_is_one_sample_of_each() {
    let kinds: Vec<usize> = samples().iter().map(ordinal).collect();
    assert_eq!(kinds, (0..27).collect::<Vec<_>>());
}

#[test]
fn codes_are_unique_and_those_of_the_ledger() {
    let mut codes = BTreeSet::new();
    for reason in samples() {
        let json = serde_json::to_value(&reason).expect("becomes JSON");
        assert_eq!(json.get("code").and_then(|c| c.as_str()), Some(reason.code()));
        assert!(codes.insert(reason.code()), "{} twice", reason.code());
    }
}

#[test]
fn each_reason_is_read_back_as_it_was_written() {
    for reason in samples() {
        let cause = Cause { reason, because: None };
        let line = serde_json::to_string(&cause).expect("becomes JSON");
        assert_eq!(serde_json::from_str::<Cause>(&line).expect("can be read"), cause, "{line}");
    }
}

#[test]
fn each_sentence_says_what_is_wrong_and_what_to_do() {
    for reason in samples() {
        let sentence = reason.to_string();
        let (wrong, advice) = sentence.split_once(": ").unwrap_or((&sentence, ""));
        assert!(!wrong.is_empty(), "{}", reason.code());
        let known = ADVICE.iter().any(|word| advice.starts_with(word));
        assert!(known, "{}: what to do? {sentence:?}", reason.code());
        assert!(!sentence.ends_with(['.', ' ', ':', ';']), "{sentence:?}");
        assert!(!sentence.contains("  ") && !sentence.contains('\n'), "{sentence:?}");
        let first = sentence.chars().next();
        let name = sentence.starts_with('A') && reason.code() == "seat-unconfirmed";
        assert!(name || first.is_some_and(|c| !c.is_uppercase()), "{sentence:?}");
    }
}

#[test]
fn numbers_in_sentences_are_those_of_the_reason() {
    let says = |reason: Reason, part: &str| {
        let sentence = reason.to_string();
        assert!(sentence.contains(part), "{part:?} in {sentence:?}");
    };
    says(Reason::WashTooOld { age_seconds: 7_500, allowed_seconds: 3_600 }, "2 h 5 min");
    says(Reason::TensionTooLow { measured_centi: -5, lowest_centi: 3_050 }, "-0.05 N/cm");
    says(Reason::TensionTooLow { measured_centi: i64::MIN, lowest_centi: 3_050 }, "30.50 N/cm");
    let worn = |rated_washes| Reason::WornOut {
        strokes: 990,
        rated_strokes: 1_000,
        washes: 9,
        rated_washes,
    };
    says(worn(None), "(990 of 1000 strokes)");
    says(worn(Some(10)), "(990 of 1000 strokes, 9 of 10 washes)");
}

#[test]
fn a_decision_reads_as_a_sentence_with_every_reason() {
    let against = |reason| Cause { reason, because: None };
    let mut decision = Decision {
        rule: Rule::Store,
        stencil: Some(code("A")),
        machine: None,
        slot: None,
        order: None,
        by: None,
        reasons: Vec::new(),
    };
    assert!(decision.permitted());
    assert_eq!(decision.to_string(), "permitted store A");
    decision.reasons = vec![against(Reason::CleanlinessUnknown), against(Reason::Retired)];
    let expected = "refused store A: nobody knows whether it is clean: wash it; \
                    retired: use its successor";
    assert_eq!(decision.to_string(), expected);
    decision.stencil = None;
    assert!(decision.to_string().starts_with("refused store no stencil: "));
}
