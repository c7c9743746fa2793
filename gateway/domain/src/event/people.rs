//! Who may act and who signed in: what the ledger keeps of people. Never a secret.

use serde::{Deserialize, Serialize};

use crate::time::Timestamp;

/// What somebody may do. Each may do what those before may.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Works at a line.
    Operator,
    /// Looks after machines and alarms.
    Technician,
    /// Wires machines, and says what is counted.
    Engineer,
    /// Grants what no longer conforms, and decides who may what.
    Manager,
}

impl Role {
    /// All roles, those who may least first.
    pub const ALL: [Self; 4] = [Self::Operator, Self::Technician, Self::Engineer, Self::Manager];

    /// The role's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Operator => "operator",
            Self::Technician => "technician",
            Self::Engineer => "engineer",
            Self::Manager => "manager",
        }
    }
}

/// How somebody showed who they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shown {
    /// A name and a password.
    Password,
    /// A name or badge and a PIN, at a shared station.
    Pin,
}

/// Why somebody is signed in no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Left {
    /// They asked for it.
    Asked,
    /// Nothing was done for too long.
    Idle,
    /// They were signed in for as long as anybody may be.
    Over,
    /// Their secret or role changed, or they were dismissed.
    Changed,
    /// They signed in again in the same browser, or in too many others.
    Replaced,
}

/// One fact about people and programs that act.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "people", rename_all = "kebab-case")]
pub enum PeopleEvent {
    /// A person or program may act from now on.
    Admitted {
        /// Who.
        name: String,
        /// As what.
        role: Role,
        /// True when it is a program with a token.
        program: bool,
        /// When that ends by itself.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ends: Option<Timestamp>,
        /// Who says so.
        by: String,
        /// Why.
        why: String,
    },
    /// Somebody's role or secret was changed.
    Changed {
        /// Whose.
        name: String,
        /// The role from now on.
        role: Role,
        /// What was changed: `role`, `password`, `pin`, `badge`, `token`, `end`.
        what: Vec<String>,
        /// Who says so.
        by: String,
        /// Why.
        why: String,
    },
    /// Somebody may act no more.
    Dismissed {
        /// Who.
        name: String,
        /// Who says so.
        by: String,
        /// Why.
        why: String,
    },
    /// A person signed in.
    SignedIn {
        /// Who.
        by: String,
        /// As what.
        role: Role,
        /// How.
        shown: Shown,
        /// The address, where it is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<String>,
    },
    /// A person is signed in no more.
    SignedOut {
        /// Who.
        by: String,
        /// Why.
        why: Left,
    },
    /// Signing in was refused, told together for a while.
    Refused {
        /// Whose name was given; none for all that nobody bears, since people type passwords
        /// where names belong.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        name: Option<String>,
        /// How many times.
        count: u64,
    },
    /// A person showed again who they are, for what only they may do.
    Confirmed {
        /// Who.
        by: String,
        /// The second person who did so with them.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        second: Option<String>,
    },
}
