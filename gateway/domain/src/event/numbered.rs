//! Machines that number their messages, so that a message that never arrived is noticed.

use serde::{Deserialize, Serialize};

use crate::names::MachineName;

/// A message of a machine that numbers its messages was dealt with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MessageNumbered {
    /// Which machine.
    pub machine: MachineName,
    /// Which of its sequences, such as the topic it sends on.
    pub sequence: String,
    /// The message's number.
    pub number: u64,
    /// How many numbers before it never arrived.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub missed: u64,
}

#[allow(clippy::trivially_copy_pass_by_ref)]
fn is_zero(missed: &u64) -> bool {
    *missed == 0
}
