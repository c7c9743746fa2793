//! The simulated machines behind one door: each answers to its own unit.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::time::Duration;

use stencilward_domain::names::OutputName;
use tokio::sync::watch;

use super::answer::{ILLEGAL_FUNCTION, TARGET_SILENT, answer, exception};
use super::memory::Memory;
use crate::modbus::wiring::Wiring;

/// How a machine behaves, for tests.
#[derive(Debug, Clone, Default)]
pub(super) struct Manner {
    /// It has no power, though the port is open for others.
    pub(super) off: bool,
    pub(super) silent: bool,
    pub(super) late: Duration,
    pub(super) exception: Option<u8>,
    /// Whom it serves; others are told that it has no such function.
    pub(super) only_role: Option<String>,
}

impl Manner {
    pub(super) fn keeps_still(&self) -> bool {
        self.off || self.silent
    }
}

/// One machine as it is reached.
#[derive(Debug)]
pub(super) struct Unit {
    number: u8,
    memory: Mutex<Memory>,
    manner: Mutex<Manner>,
    outputs: BTreeMap<OutputName, (usize, watch::Sender<bool>)>,
}

impl Unit {
    pub(super) fn new(number: u8, wiring: &Arc<Wiring>) -> Self {
        let permits = wiring.permits.iter().map(|lock| &lock.name);
        let names = permits.chain(wiring.beats.iter().map(|beat| &beat.name));
        let watched = |(index, name): (usize, &OutputName)| {
            (name.clone(), (index, watch::Sender::new(false)))
        };
        Self {
            number,
            memory: Mutex::new(Memory::new(Arc::clone(wiring))),
            manner: Mutex::default(),
            outputs: names.enumerate().map(watched).collect(),
        }
    }

    /// Works on the memory, then shows what became of the outputs.
    pub(super) fn memory<T>(&self, work: impl FnOnce(&mut Memory) -> T) -> T {
        let mut memory = lock(&self.memory);
        let result = work(&mut memory);
        let states = memory.outputs();
        for (index, watched) in self.outputs.values() {
            let state = states.get(*index).copied().unwrap_or_default();
            watched.send_if_modified(|shown| std::mem::replace(shown, state) != state);
        }
        result
    }

    pub(super) fn manner(&self, change: impl FnOnce(&mut Manner)) {
        change(&mut lock(&self.manner));
    }

    pub(super) fn watch(&self, name: &OutputName) -> Option<watch::Receiver<bool>> {
        Some(self.outputs.get(name)?.1.subscribe())
    }

    fn respond(&self, request: &[u8], role: Option<&str>) -> Vec<u8> {
        let function = request.first().copied().unwrap_or_default();
        let manner = lock(&self.manner).clone();
        let is_stranger = manner.only_role.is_some() && manner.only_role.as_deref() != role;
        match manner.exception.or(is_stranger.then_some(ILLEGAL_FUNCTION)) {
            Some(code) => exception(function, code),
            None => self.memory(|memory| answer(memory, request)),
        }
    }
}

/// All machines behind one door.
#[derive(Debug, Default)]
pub(super) struct Units {
    all: Mutex<Vec<Weak<Unit>>>,
    /// Requests that came before the line was silent.
    hasty: AtomicU64,
}

impl Units {
    pub(super) fn add(&self, unit: &Arc<Unit>) {
        lock(&self.all).push(Arc::downgrade(unit));
    }

    fn of(&self, number: u8) -> Vec<Arc<Unit>> {
        let mut all = lock(&self.all);
        all.retain(|unit| unit.strong_count() > 0);
        all.iter().filter_map(Weak::upgrade).filter(|unit| unit.number == number).collect()
    }

    pub(super) fn manner(&self, number: u8) -> Manner {
        self.of(number).first().map(|unit| lock(&unit.manner).clone()).unwrap_or_default()
    }

    /// The answer of a unit; none when there is none. Where several machines are parts of one
    /// unit, the first one that has what is asked for answers.
    pub(super) fn respond(
        &self,
        number: u8,
        request: &[u8],
        role: Option<&str>,
    ) -> Option<Vec<u8>> {
        let mut refusal = None;
        for unit in self.of(number) {
            let response = unit.respond(request, role);
            if response.first().is_some_and(|function| *function < 0x80) {
                return Some(response);
            }
            refusal.get_or_insert(response);
        }
        refusal
    }

    /// What a converter answers for a unit that it does not reach.
    pub(super) fn unknown(&self, request: &[u8]) -> Vec<u8> {
        exception(request.first().copied().unwrap_or_default(), TARGET_SILENT)
    }

    pub(super) fn note_hasty(&self) {
        self.hasty.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn hasty(&self) -> u64 {
        self.hasty.load(Ordering::Relaxed)
    }
}

/// The lock is taken for a moment and holds plain values: one that was poisoned is still good.
pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
