//! Rules broken on purpose, one at a time.

use stencilward_domain::decision::Decision;
use stencilward_domain::reason::Reason;
use stencilward_domain::rules::Rules;

use super::node::Checked;

fn without(decision: Decision, ignored: fn(&Reason) -> bool) -> Decision {
    let reasons = decision.reasons.into_iter().filter(|cause| !ignored(&cause.reason)).collect();
    Decision { reasons, ..decision }
}

fn with(rules: Rules) -> Checked {
    Checked { rules, identities: true }
}

pub(crate) fn store_permits_the_unwashed() -> Checked {
    with(Rules {
        store: |case, code, rack, slot| {
            without(case.store(code, rack, slot), |r| matches!(r, Reason::Unwashed { .. }))
        },
        ..Rules::default()
    })
}

pub(crate) fn store_permits_the_unknown() -> Checked {
    with(Rules {
        store: |case, code, rack, slot| {
            without(case.store(code, rack, slot), |r| matches!(r, Reason::CleanlinessUnknown))
        },
        ..Rules::default()
    })
}

pub(crate) fn store_permits_during_a_wash() -> Checked {
    with(Rules {
        store: |case, code, rack, slot| {
            without(case.store(code, rack, slot), |r| matches!(r, Reason::Washing))
        },
        ..Rules::default()
    })
}

pub(crate) fn print_ignores_wear() -> Checked {
    with(Rules {
        print: |case, printer, sure| {
            without(case.print(printer, sure), |r| matches!(r, Reason::WornOut { .. }))
        },
        ..Rules::default()
    })
}

/// Whoever was granted a concession once may print for ever.
pub(crate) fn print_ignores_the_end_of_a_concession() -> Checked {
    with(Rules {
        print: |case, printer, sure| {
            let decision = case.print(printer, sure);
            let known = decision.stencil.as_ref().and_then(|code| case.state.stencils.get(code));
            if known.is_none_or(|stencil| stencil.concession.is_none()) {
                return decision;
            }
            without(decision, |r| matches!(r, Reason::WornOut { .. }))
        },
        ..Rules::default()
    })
}

pub(crate) fn print_ignores_that_a_concession_is_used_up() -> Checked {
    with(Rules {
        print: |case, printer, sure| {
            without(case.print(printer, sure), |r| matches!(r, Reason::ConcessionUsedUp { .. }))
        },
        ..Rules::default()
    })
}

pub(crate) fn print_ignores_a_hold() -> Checked {
    with(Rules {
        print: |case, printer, sure| {
            without(case.print(printer, sure), |r| matches!(r, Reason::OnHold { .. }))
        },
        ..Rules::default()
    })
}

/// No rule, but the counting: a repeated message cannot be told from a new one.
pub(crate) fn messages_lose_their_identity() -> Checked {
    Checked { rules: Rules::default(), identities: false }
}
