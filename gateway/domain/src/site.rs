//! The site: signals, requests and the passing of time go in; events come out.
//!
//! [`Site`] is the only writer of [`State`]. It applies each event the moment it records it, so
//! that the next signal is judged by it, and hands the events to its owner, who makes them
//! durable before anything follows from them. Replaying those events gives the same state.

mod alarms;
mod booking;
mod counting;
mod late;
mod live;
mod machines;
mod orders;
mod points;
mod replan;
mod requests;
mod seating;
mod second_thoughts;
mod storage;
mod trial;
mod washing;

use std::collections::{BTreeMap, BTreeSet};

use crate::asked::RequestKey;
use crate::decision::Decision;
use crate::event::{Event, Fact, Position, Recorded};
use crate::machine::{LinkState, Told};
use crate::names::{MachineName, StencilCode};
use crate::outputs::Wanted;
use crate::plant::{Listed, MachineKind, OutputRule, Plant};
use crate::rules::{Case, Rules};
use crate::signal::{Said, Signal};
use crate::state::{State, machine_of, stencil_of};
use crate::time::Timestamp;

pub use alarms::AlarmAct;
use alarms::Watched;
use live::Live;
pub use points::{Point, Quality};
pub use replan::Replan;
pub use requests::{Reply, Request};
pub use second_thoughts::{Correction, Share, Wrong};
use trial::refused_on_trial;
pub use trial::{Compared, Counts, Heard, Mark, Trial, Tried};

/// The plant's rules at work on its state.
#[derive(Debug, Clone)]
pub struct Site {
    plant: Plant,
    rules: Rules,
    state: State,
    live: BTreeMap<MachineName, Live>,
    trials: BTreeMap<MachineName, Trial>,
    origin: Origin,
    /// Decisions that were judged again, with the late event up to which they were.
    judged: BTreeMap<Position, Position>,
    watched: Watched,
    fresh: Vec<Recorded>,
}

/// What the events being recorded come from.
#[derive(Debug, Clone, Default)]
struct Origin {
    at: Timestamp,
    machine_time: Option<Timestamp>,
    /// When it happened, if it is told late.
    happened: Option<Timestamp>,
    /// The machine that says so, where late messages are told apart.
    speaker: Option<MachineName>,
    message: Option<(MachineName, String)>,
    /// The key of the request that it follows from.
    asked_with: Option<RequestKey>,
}

impl Site {
    /// A site with an empty history.
    #[must_use]
    pub fn new(plant: Plant) -> Self {
        Self::ruled(plant, Rules::default())
    }

    /// A site with an empty history that decides by other rules.
    #[must_use]
    pub fn ruled(plant: Plant, rules: Rules) -> Self {
        Self {
            plant,
            rules,
            state: State::default(),
            live: BTreeMap::new(),
            trials: BTreeMap::new(),
            origin: Origin::default(),
            judged: BTreeMap::new(),
            watched: Watched::default(),
            fresh: Vec::new(),
        }
    }

    /// Takes the state that the ledger's first events add up to, so that only those after
    /// [`State::head`] need be replayed.
    pub fn recall(&mut self, state: State) {
        self.state = state;
    }

    /// Takes in an event from the ledger.
    pub fn replay(&mut self, recorded: &Recorded) {
        self.state.apply(recorded);
    }

    /// Begins work after the replay: notes the start and takes in what the configuration lists.
    pub fn start(&mut self, version: &str, now: Timestamp) {
        let latest = self.state.latest;
        for (name, machine) in &self.state.machines {
            let since = match machine.link {
                LinkState::Down { since, .. } => since,
                _ => latest,
            };
            let unconfirmed = machine.link == LinkState::Up && machine.is_unconfirmed();
            let live = Live::after_restart(since, now, unconfirmed);
            self.live.insert(name.clone(), live);
        }
        self.originate(now);
        self.record(Event::GatewayStarted { version: version.to_owned() });
        self.note_configuration(Vec::new(), None);
        self.follow_plant();
    }

    /// Ends work in order.
    pub fn stop(&mut self, now: Timestamp) {
        self.originate(now);
        self.record(Event::GatewayStopped);
    }

    /// What the configuration fixes.
    #[must_use]
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// What the ledger, and what was recorded since, add up to.
    #[must_use]
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The events recorded since this was last called, in order. They are not durable yet.
    #[must_use]
    pub fn take_fresh(&mut self) -> Vec<Recorded> {
        std::mem::take(&mut self.fresh)
    }

    /// A view for decisions at `now`.
    #[must_use]
    pub fn case(&self, now: Timestamp) -> Case<'_> {
        Case { plant: &self.plant, state: &self.state, now }
    }

    /// The decision whether `printer` may print now.
    #[must_use]
    pub fn print_decision(&self, printer: &MachineName, now: Timestamp) -> Decision {
        (self.rules.print)(&self.case(now), printer, self.seat_sure(printer, now))
    }

    /// Takes in one signal. Gives the decision when the signal asks for one.
    pub fn hear(&mut self, signal: &Signal) -> Option<Decision> {
        let machine = &signal.machine;
        if let Some(tried) = self.tried_by(signal) {
            self.try_out(tried, signal);
            if !matches!(signal.said, Said::LinkUp { .. } | Said::LinkLost { .. }) {
                return refused_on_trial(signal);
            }
        }
        let identity = signal
            .identity
            .as_ref()
            .map(|identity| format!("{machine}/{}/{identity}", signal.said.kind()));
        if let (Some(identity), Some(known)) = (&identity, self.state.machines.get(machine))
            && known.seen.has(identity)
        {
            return known.seen.decision(identity).cloned();
        }
        let first = self.fresh.len();
        let message = identity.map(|identity| (machine.clone(), identity));
        let speaker = (!self.state.timed.is_empty()).then(|| machine.clone());
        let (at, machine_time) = (signal.received, signal.machine_time);
        self.origin = Origin { at, machine_time, speaker, ..Origin::default() };
        let happened = self.told_late(signal);
        (self.origin.happened, self.origin.message) = (happened, message);
        let decision = self.hear_said(signal);
        if !matches!(signal.said, Said::LinkLost { .. }) {
            self.live_mut(machine).heard(signal.said.kind(), signal.received);
        }
        self.origin = Origin { at, machine_time, ..Origin::default() };
        self.doubt_decisions();
        self.reconsider(first, Some(machine));
        decision
    }

    fn hear_said(&mut self, signal: &Signal) -> Option<Decision> {
        let machine = &signal.machine;
        match &signal.said {
            Said::LinkUp { resumed } => self.link_up(machine, *resumed),
            Said::LinkLost { why } => self.link_lost(machine, why),
            Said::CounterRead { .. } => self.counter_read(signal),
            Said::StrokesDone { count } => self.strokes_done(machine, *count),
            Said::WipesDone { count } => self.wipes_done(machine, *count),
            Said::OrderReleased(spec) => self.order_released(spec, None),
            Said::OrderStarted(spec) => self.order_started(machine, spec, None),
            Said::OrderFinished { order, made } => {
                self.order_finished(machine, order, *made, None);
            }
            Said::BoardsCounted { count } => self.boards_counted(machine, *count),
            Said::Seated { code } => self.seated(machine, code, None),
            Said::Removed => self.removed(machine, None),
            Said::WashBegan { code, programme } => {
                self.wash_began(machine, code.as_ref(), programme.as_ref());
            }
            Said::WashEnded { code, programme, outcome, measured } => {
                self.wash_ended(machine, code.as_ref(), programme.as_ref(), *outcome, measured);
            }
            Said::SlotOccupied { slot, code } => self.slot_occupied(machine, slot, code.as_ref()),
            Said::SlotEmptied { slot, code } => self.slot_emptied(machine, slot, code.as_ref()),
            Said::StoreAsked { code, slot } => {
                return Some(self.store_asked(code, self.as_rack(machine), slot.as_ref(), None));
            }
            Said::TakeAsked { code, order, .. } => {
                return Some(self.take_asked(code, self.as_rack(machine), order.as_ref(), None));
            }
            said => {
                if let Some(event) = self.news_of_machine(machine, said) {
                    self.record(event);
                }
            }
        }
        None
    }

    /// A rack asks for itself; a scanner or another machine asks in general.
    fn as_rack<'a>(&self, machine: &'a MachineName) -> Option<&'a MachineName> {
        (self.plant.kind(machine) == MachineKind::Rack).then_some(machine)
    }

    /// Lets time pass: what waited too long is noted, decisions that depend on time change.
    pub fn tick(&mut self, now: Timestamp) {
        self.originate(now);
        self.release_overdue(now);
        let dry_out = self.plant.policy.dry_out;
        let overdue: Vec<(StencilCode, Timestamp)> = self
            .state
            .stencils
            .iter()
            .filter(|(_, stencil)| !stencil.dried_out && stencil.retired.is_none())
            .filter(|(_, stencil)| stencil.waiting_for_wash(now).is_some_and(|w| w > dry_out))
            .filter_map(|(code, stencil)| Some((code.clone(), stencil.last_stroke.as_ref()?.since)))
            .collect();
        for (stencil, printed) in overdue {
            self.record(Event::DriedOut { stencil, printed });
        }
        self.doubt_decisions();
        self.reconsider_all();
        self.watch_alarms();
    }

    /// What the outputs shall be. The caller sets the beat, and refuses all when the ledger fails.
    #[must_use]
    pub fn wanted(&self, now: Timestamp) -> Wanted {
        let mut wanted = Wanted::default();
        for (name, spec) in &self.plant.machines {
            let Some(machine) = self.state.machines.get(name) else {
                continue;
            };
            if self.plant.on_trial(name) {
                continue;
            }
            for (output, rule) in &spec.outputs {
                let permits = match rule {
                    OutputRule::PrintPermit => {
                        machine.print.as_ref().is_some_and(|told| told.codes.is_empty())
                    }
                    OutputRule::DoorRelease => {
                        machine.permits.iter().any(|permit| self.is_open(permit, now))
                    }
                };
                if permits {
                    wanted.permit(name.clone(), output.clone());
                }
            }
        }
        wanted
    }

    fn take_in(&mut self, listed: Vec<Listed>) {
        for entry in listed {
            let spec = entry.spec;
            match self.state.stencils.get(&spec.stencil) {
                None => self.record(Event::StencilRegistered {
                    spec: spec.clone(),
                    starting_strokes: entry.starting_strokes,
                    clean: entry.clean,
                    source: entry.source,
                }),
                Some(known) if known.spec != spec => {
                    let source = Some(entry.source);
                    self.record(Event::StencilRevised { spec: spec.clone(), source });
                }
                Some(_) => {}
            }
            self.note_band(&spec.stencil);
        }
    }

    /// Notes when strokes, washes or limits have put a stencil into another wear band.
    fn note_band(&mut self, code: &StencilCode) {
        let Some(stencil) = self.state.stencils.get(code) else {
            return;
        };
        let band = stencil.wear_band(self.plant.policy.wear_limits(&stencil.spec));
        if band != stencil.band.value {
            let strokes = stencil.strokes;
            self.record(Event::WearBandEntered { stencil: code.clone(), band, strokes });
        }
    }

    /// Takes the print decision anew wherever the events since `first` may have changed it.
    fn reconsider(&mut self, first: usize, machine: Option<&MachineName>) {
        let mut printers: BTreeSet<MachineName> = machine.into_iter().cloned().collect();
        let mut stencils: BTreeSet<&StencilCode> = BTreeSet::new();
        for recorded in self.fresh.get(first..).unwrap_or_default() {
            printers.extend(machine_of(&recorded.fact.event).cloned());
            stencils.extend(stencil_of(&recorded.fact.event));
            if let Event::StrokesUnattributed { candidates, .. } = &recorded.fact.event {
                stencils.extend(candidates);
            }
        }
        for (name, machine) in &self.state.machines {
            if machine.seat.as_ref().is_some_and(|seat| stencils.contains(&seat.code)) {
                printers.insert(name.clone());
            }
        }
        for printer in printers {
            self.reconsider_printer(&printer);
        }
    }

    fn reconsider_all(&mut self) {
        let known = self.state.machines.keys().cloned().collect::<Vec<_>>();
        for machine in known {
            self.reconsider_printer(&machine);
        }
    }

    fn reconsider_printer(&mut self, printer: &MachineName) {
        if self.plant.kind(printer) != MachineKind::Printer || self.plant.on_trial(printer) {
            return;
        }
        let decision = self.print_decision(printer, self.origin.at);
        let told = self.state.machines.get(printer).and_then(|machine| machine.print.as_ref());
        if told != Some(&Told::of(&decision)) {
            self.record(Event::Decided { decision, valid_until: None });
        }
    }

    fn originate(&mut self, at: Timestamp) {
        self.origin = Origin { at, ..Origin::default() };
    }

    fn record(&mut self, event: Event) {
        let (sender, identity) = self.origin.message.clone().unzip();
        let sender = sender.or_else(|| self.origin.speaker.clone());
        let sender = sender.filter(|sender| machine_of(&event) != Some(sender));
        let Origin { at, machine_time, happened, .. } = self.origin;
        let asked_with = self.origin.asked_with.clone();
        let fact = Fact { at, machine_time, happened, identity, sender, asked_with, event };
        let recorded = Recorded { position: Position(self.state.head.0 + 1), fact };
        self.state.apply(&recorded);
        self.fresh.push(recorded);
    }

    fn live_mut(&mut self, machine: &MachineName) -> &mut Live {
        self.live.entry(machine.clone()).or_default()
    }
}
