//! Which alarms' conditions hold, as a pure function of plant, state and time.

use std::collections::BTreeMap;

use super::{AlarmId, AlarmKind, AlarmState, Subject};
use crate::machine::LinkState;
use crate::names::{MachineName, StencilCode};
use crate::plant::MachineKind;
use crate::rules::Case;
use crate::stencil::Stencil;
use crate::wear::WearBand;

/// Faults of one machine at a time that raise alarms. A machine that invents ever new codes
/// must not fill the list.
const MOST_FAULTS: usize = 20;

/// Longest text of what is wrong, in characters: machines write some of it.
const LONGEST: usize = 500;

/// How a condition holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// It does.
    Yes,
    /// So much is measured; limit and deadband decide.
    Measured(u64),
}

/// The conditions that hold. `intake`: how full the intake is, in per cent.
#[must_use]
pub fn conditions(case: &Case<'_>, intake: u64) -> BTreeMap<AlarmId, Holds> {
    let mut found = Found { case, holds: BTreeMap::new() };
    found.of_machines();
    found.of_stencils();
    for (id, finding) in &case.state.alarms.findings {
        let machine = id.subject.machine();
        let live = machine.is_none_or(|machine| is_live(case, machine));
        if live && !(id.kind.is_momentary() && finding.told) {
            found.add(id.kind, id.subject.clone(), Holds::Yes);
        }
    }
    if intake > 0 {
        found.add(AlarmKind::IntakeFull, Subject::Gateway, Holds::Measured(intake));
    }
    found.holds
}

struct Found<'a> {
    case: &'a Case<'a>,
    holds: BTreeMap<AlarmId, Holds>,
}

impl Found<'_> {
    fn add(&mut self, kind: AlarmKind, subject: Subject, holds: Holds) {
        if self.case.plant.policy.alarms.of(kind).enabled {
            self.holds.insert(AlarmId { kind, subject }, holds);
        }
    }

    fn of_machines(&mut self) {
        for (name, machine) in &self.case.state.machines {
            if !is_live(self.case, name) {
                continue;
            }
            if matches!(machine.link, LinkState::Down { .. }) {
                let subject = Subject::Machine { machine: name.clone() };
                self.add(AlarmKind::LinkLost, subject, Holds::Yes);
            }
            if machine.unattributed > 0 {
                let subject = Subject::Machine { machine: name.clone() };
                let open = Holds::Measured(machine.unattributed);
                self.add(AlarmKind::StrokesUnattributed, subject, open);
            }
            if let Some(code) = stopped_in(self.case, name) {
                let subject = Subject::Stencil { stencil: code.clone() };
                self.add(AlarmKind::StencilStopped, subject, Holds::Yes);
            }
            if !machine.faults.is_empty() {
                self.of_faults(name, machine.faults.keys());
            }
        }
    }

    /// Faults that are alarms already come first, so that a new one does not push one out.
    fn of_faults<'f>(
        &mut self,
        machine: &MachineName,
        codes: impl Iterator<Item = &'f String> + Clone,
    ) {
        let alarms = &self.case.state.alarms;
        let id = |code: &String| AlarmId {
            kind: AlarmKind::MachineFault,
            subject: Subject::Fault { machine: machine.clone(), code: code.clone() },
        };
        let (known, new): (Vec<AlarmId>, Vec<AlarmId>) =
            codes.map(id).partition(|id| alarms.state(id) != AlarmState::Normal);
        for id in known.into_iter().chain(new).take(MOST_FAULTS) {
            self.add(id.kind, id.subject, Holds::Yes);
        }
    }

    fn of_stencils(&mut self) {
        for (code, stencil) in &self.case.state.stencils {
            if stencil.dried_out && stencil.retired.is_none() {
                let subject = Subject::Stencil { stencil: code.clone() };
                self.add(AlarmKind::WashOverdue, subject, Holds::Yes);
            }
        }
    }
}

/// What machines on trial say changes nothing, and those taken out say nothing any more.
fn is_live(case: &Case<'_>, machine: &MachineName) -> bool {
    case.plant.machines.contains_key(machine) && !case.plant.on_trial(machine)
}

/// The stencil at its end that is in this printer without a concession in force.
fn stopped_in<'a>(case: &Case<'a>, printer: &MachineName) -> Option<&'a StencilCode> {
    let seat = case.state.machines.get(printer)?.seat.as_ref()?;
    let stencil = case.state.stencils.get(&seat.code)?;
    let limits = case.plant.policy.wear_limits(&stencil.spec);
    let allowed = stencil.concession.as_ref().is_some_and(|c| c.value.in_force(case.now));
    let stopped = case.plant.kind(printer) == MachineKind::Printer
        && stencil.wear_band(limits) == WearBand::Stopped
        && !allowed;
    stopped.then_some(&seat.code)
}

/// What is wrong, in words.
#[must_use]
pub fn describe(case: &Case<'_>, id: &AlarmId) -> String {
    let told =
        detail(case, id).unwrap_or_else(|| format!("{}: {}", id.subject, id.kind.about().wrong));
    match told.char_indices().nth(LONGEST) {
        None => told,
        Some((end, _)) => format!("{}…", told.get(..end).unwrap_or_default()),
    }
}

fn detail(case: &Case<'_>, id: &AlarmId) -> Option<String> {
    let state = case.state;
    if let Some(finding) = state.alarms.findings.get(id) {
        return Some(finding.what.clone());
    }
    let machine = id.subject.machine().and_then(|name| state.machines.get(name));
    match (id.kind, &id.subject) {
        (AlarmKind::MachineFault, Subject::Fault { machine: name, code }) => {
            let text = machine?.faults.get(code)?;
            Some(format!("{name} tells of fault {code}: {text}"))
        }
        (AlarmKind::LinkLost, Subject::Machine { machine: name }) => {
            let why = machine?.link.why_down()?;
            Some(format!("the link to {name} is lost: {why}"))
        }
        (AlarmKind::StrokesUnattributed, Subject::Machine { machine: name }) => {
            let open = machine?.unattributed;
            Some(format!("{name} made {open} strokes, and nobody can say with which stencil"))
        }
        (AlarmKind::StencilStopped, Subject::Stencil { stencil }) => {
            Some(stopped(stencil, state.stencils.get(stencil)?))
        }
        (AlarmKind::WashOverdue, Subject::Stencil { stencil }) => {
            Some(format!("{stencil} was printed with and waits for its wash: paste dries in it"))
        }
        _ => None,
    }
}

fn stopped(code: &StencilCode, stencil: &Stencil) -> String {
    match &stencil.concession {
        Some(concession) if concession.value.used >= concession.value.strokes => {
            format!("{code} is in a printer, and its concession is used up")
        }
        Some(_) => format!("{code} is in a printer, and the time of its concession is over"),
        None => format!("{code} is in a printer, and at the end of its life"),
    }
}

/// The machine from which an alarm follows, where work on that machine explains it: then it is
/// suppressed meanwhile. What endangers a stencil is not.
#[must_use]
pub fn follows_from<'a>(case: &Case<'a>, id: &'a AlarmId) -> Option<&'a MachineName> {
    match id.kind {
        AlarmKind::MachineFault
        | AlarmKind::LinkLost
        | AlarmKind::CounterDoubted
        | AlarmKind::CounterRestarted
        | AlarmKind::BasesDisagree => id.subject.machine(),
        AlarmKind::WashFailed => case.state.alarms.findings.get(id)?.machine.as_ref(),
        AlarmKind::WashOverdue
        | AlarmKind::StorageBreached
        | AlarmKind::StrokesUnattributed
        | AlarmKind::StencilStopped
        | AlarmKind::IntakeFull
        | AlarmKind::LedgerTrouble => None,
    }
}
