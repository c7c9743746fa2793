//! One stencil alone, changed by events that the test makes up.

use stencilward_domain::event::{Basis, Event, Fact, Position, Recorded, WhyUnattributed};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::state::State;
use stencilward_domain::stencil::Stencil;

use super::plant::spec;
use super::words::{at, code, machine};

/// A state with the stencil A in it, and the events that made it.
pub(crate) struct One {
    pub(crate) state: State,
}

impl One {
    /// Registered, clean or not.
    pub(crate) fn registered(clean: bool) -> Self {
        let mut one = Self { state: State::default() };
        one.then(Event::StencilRegistered {
            spec: spec("A"),
            starting_strokes: 0,
            clean,
            source: "test".to_owned(),
        });
        one
    }

    /// One event more, a second after the one before.
    pub(crate) fn then(&mut self, event: Event) -> &mut Self {
        let position = self.state.head.0 + 1;
        self.state.apply(&Recorded {
            position: Position(position),
            fact: Fact {
                at: at(i64::try_from(position).expect("a small number")),
                machine_time: None,
                happened: None,
                identity: None,
                sender: None,
                asked_with: None,
                event,
            },
        });
        self
    }

    pub(crate) fn stencil(&self) -> &Stencil {
        let stencil = self.state.stencils.get(&code("A"));
        stencil.expect("A is registered")
    }
}

pub(crate) fn stroke() -> Event {
    strokes(1)
}

pub(crate) fn strokes(count: u64) -> Event {
    Event::StrokesBooked {
        stencil: code("A"),
        machine: machine("namer"),
        count,
        basis: Basis::Reported { by_machine: None },
    }
}

pub(crate) fn wash_began() -> Event {
    Event::WashBegan { stencil: code("A"), machine: Some(machine("washer")), programme: None }
}

pub(crate) fn wash_ended(outcome: WashOutcome) -> Event {
    Event::WashEnded {
        stencil: code("A"),
        machine: Some(machine("washer")),
        by: None,
        programme: None,
        outcome,
        measured: Vec::new(),
    }
}

/// Strokes that A may have made.
pub(crate) fn unattributed() -> Event {
    Event::StrokesUnattributed {
        machine: machine("namer"),
        count: 1,
        since: at(0),
        candidates: vec![code("A"), code("B")],
        why: WhyUnattributed::ChangedMeanwhile,
        basis: Basis::Reported { by_machine: None },
    }
}
