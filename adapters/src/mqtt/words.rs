//! From the configuration's words to the domain's.

use stencilward_domain::signal::{MachineState, WashOutcome};

use super::settings::{Outcome, State};

impl From<Outcome> for WashOutcome {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Passed => Self::Passed,
            Outcome::Failed => Self::Failed,
            Outcome::Aborted => Self::Aborted,
        }
    }
}

impl From<State> for MachineState {
    fn from(state: State) -> Self {
        match state {
            State::Running => Self::Running,
            State::Idle => Self::Idle,
            State::SetUp => Self::SetUp,
            State::Down => Self::Down,
        }
    }
}
