//! What the machines did, by their own count.

use std::collections::BTreeMap;
use std::sync::Mutex;

use stencilward_domain::names::{MachineName, StencilCode};

/// What happened to one stencil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Done {
    /// Squeegee strokes.
    pub strokes: u64,
    /// Washes that passed.
    pub washes: u64,
    /// Times it was put into a slot.
    pub stored: u64,
    /// Times it was taken out of one.
    pub taken: u64,
    /// Times the rack was told no.
    pub refused: u64,
}

/// The machines' own count of everything they did.
#[derive(Debug, Default)]
pub struct Tally(Mutex<Count>);

/// A copy of the count.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Count {
    /// By stencil.
    pub stencils: BTreeMap<StencilCode, Done>,
    /// Strokes by machine, whatever was in it.
    pub machines: BTreeMap<MachineName, u64>,
    /// Of these, strokes with no stencil that anybody knows.
    pub nobodys: u64,
}

impl Tally {
    /// Notes something that happened to a stencil.
    pub fn note(&self, code: &StencilCode, change: impl FnOnce(&mut Done)) {
        change(self.lock().stencils.entry(code.clone()).or_default());
    }

    /// Notes a stroke.
    pub fn stroke(&self, machine: &MachineName, code: &StencilCode) {
        let mut count = self.lock();
        count.stencils.entry(code.clone()).or_default().strokes += 1;
        *count.machines.entry(machine.clone()).or_default() += 1;
    }

    /// Notes a stroke with nothing in the machine.
    pub fn stroke_of_nobody(&self, machine: &MachineName) {
        let mut count = self.lock();
        count.nobodys += 1;
        *count.machines.entry(machine.clone()).or_default() += 1;
    }

    /// All strokes of all machines.
    #[must_use]
    pub fn all_strokes(&self) -> u64 {
        self.lock().machines.values().sum()
    }

    /// The count as it is.
    #[must_use]
    pub fn count(&self) -> Count {
        self.lock().clone()
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Count> {
        self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}
