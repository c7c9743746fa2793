//! Tells what happens, in short lines.

use std::sync::Arc;

use stencilward_domain::decision::Rule;
use stencilward_domain::event::{AlarmChange, AlarmEvent, AlarmMoved, Basis, Event, Position};
use stencilward_domain::signal::WashOutcome;
use stencilward_ledger::{Follower, Ledger};
use tokio::task::JoinHandle;
use tokio::time::Instant;

/// Tells the story with the time since it began.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Narrator {
    begun: Instant,
}

impl Narrator {
    pub(crate) fn new(begun: Instant) -> Self {
        Self { begun }
    }

    /// One line.
    pub(crate) fn say(self, who: &str, what: &str) {
        println!("{:6.1} s  {who:<10} {what}", self.begun.elapsed().as_secs_f64());
    }

    /// Tells of events as the ledger takes them, from now on.
    pub(crate) fn follow(self, ledger: Arc<dyn Ledger>) -> JoinHandle<()> {
        let head = *ledger.head().borrow();
        let mut follower = Follower::new(ledger, head);
        tokio::spawn(async move {
            while let Ok(Some(entries)) = follower.next().await {
                for entry in entries {
                    self.tell(&entry.recorded.fact.event, entry.recorded.position);
                }
            }
        })
    }

    fn tell(self, event: &Event, position: Position) {
        match event {
            Event::Seated { stencil, machine, .. } => {
                self.say(machine.as_str(), &format!("{stencil} is seated"));
            }
            Event::Removed { stencil, machine, .. } => {
                self.say(machine.as_str(), &format!("{stencil} is taken out"));
            }
            Event::WearBandEntered { stencil, band, strokes } => {
                let band = band.as_str();
                self.say("wear", &format!("{stencil} is now {band}, after {strokes} strokes"));
            }
            Event::Decided { decision, .. } if !decision.permitted() => {
                let who = decision.machine.as_ref().map_or("desk", |machine| machine.as_str());
                if decision.rule != Rule::Print || decision.stencil.is_some() {
                    self.say(who, &decision.to_string());
                }
            }
            Event::StrokesBooked { machine, stencil, count, basis, .. } if *count > 3 => {
                self.say(machine.as_str(), &format!("{count} strokes booked at once to {stencil}"));
                self.tell_wrap(machine.as_str(), basis);
            }
            Event::StrokesBooked { machine, basis, .. } => self.tell_wrap(machine.as_str(), basis),
            Event::StrokesUnattributed { machine, count, .. } => {
                self.say(machine.as_str(), &format!("{count} strokes nobody can attribute"));
            }
            event => self.tell_of_care(event, position),
        }
    }

    fn tell_wrap(self, who: &str, basis: &Basis) {
        if let Basis::Counter { raw, advance, .. } = basis
            && *advance != stencilward_domain::event::Advance::Difference
        {
            let how = format!("{advance:?}").to_lowercase();
            self.say(who, &format!("its counter {how} and shows {raw} now; nothing is lost"));
        }
    }

    fn tell_of_care(self, event: &Event, position: Position) {
        match event {
            Event::WashEnded { stencil, machine: Some(washer), outcome, .. } => {
                let outcome = match outcome {
                    WashOutcome::Passed => "is washed",
                    WashOutcome::Failed => "failed its wash",
                    WashOutcome::Aborted => "had its wash aborted",
                };
                self.say(washer.as_str(), &format!("{stencil} {outcome}"));
            }
            Event::Stored { stencil, rack, slot } => {
                self.say(rack.as_str(), &format!("{stencil} is stored in {slot}"));
            }
            Event::StorageBreached { stencil, rack, slot, .. } => {
                let stencil = stencil.as_ref().map_or("a stencil", |code| code.as_str());
                self.say(rack.as_str(), &format!("BREACH: {stencil} is in {slot} unpermitted"));
            }
            Event::Taken { stencil, rack, permitted: true, .. } => {
                self.say(rack.as_str(), &format!("{stencil} is taken out"));
            }
            Event::ConcessionGranted { stencil, strokes, by, .. } => {
                let told =
                    format!("{by} grants {stencil} a concession of {strokes} strokes ({position})");
                self.say("desk", &told);
            }
            Event::DriedOut { stencil, .. } => {
                self.say("washing", &format!("{stencil} has waited too long for its wash"));
            }
            event => self.tell_of_machine(event),
        }
    }

    fn tell_of_machine(self, event: &Event) {
        match event {
            Event::MachineDown { machine, why } => {
                self.say(machine.as_str(), &format!("link lost: {why}"));
            }
            Event::MachineUp { machine } => self.say(machine.as_str(), "link up"),
            Event::FaultRaised { machine, code, text } => {
                self.say(machine.as_str(), &format!("tells of fault {code}: {text}"));
            }
            Event::FaultEnded { machine, code } => {
                self.say(machine.as_str(), &format!("fault {code} is gone"));
            }
            Event::OrderReleased { spec, .. } => {
                self.say("orders", &format!("{} is released", spec.order));
            }
            Event::OrderStarted { machine, spec, .. } => {
                self.say(machine.as_str(), &format!("begins order {}", spec.order));
            }
            Event::OrderFinished { machine, order, .. } => {
                self.say(machine.as_str(), &format!("has finished order {order}"));
            }
            Event::CounterDoubted { machine, counter, last, raw, .. } => {
                let told = format!("counter {counter} went from {last} to {raw}: not believed yet");
                self.say(machine.as_str(), &told);
            }
            Event::RestartUnseen { machine, counter, .. } => {
                self.say(machine.as_str(), &format!("counter {counter} began again unseen"));
            }
            Event::BasesDisagreed { machine, booked, checked_by, checked, .. } => {
                let by = checked_by.as_str();
                self.say(machine.as_str(), &format!("{booked} strokes booked, {checked} by {by}"));
            }
            Event::WashUnmatched(unmatched) => {
                let told = format!("a wash fits nothing: {}", unmatched.why);
                self.say(unmatched.machine.as_str(), &told);
            }
            Event::ClockDoubted(doubted) => {
                self.say(doubted.machine.as_str(), doubted.wrong.in_words());
            }
            Event::DecisionDoubted(doubted) => {
                let who = doubted.machine.as_ref().map_or("desk", |machine| machine.as_str());
                self.say(who, &format!("DOUBTED: {doubted}"));
            }
            Event::Alarm(AlarmEvent::Moved(moved)) => self.tell_of_alarm(moved),
            Event::LostSight { stencil, why } => {
                self.say("floor", &format!("{stencil} is out of sight: {why}"));
            }
            _ => {}
        }
    }

    fn tell_of_alarm(self, moved: &AlarmMoved) {
        match &moved.raised {
            Some(raised) => {
                self.say("ALARM", &format!("{}: {}", raised.priority.as_str(), raised.what));
            }
            None if moved.change == AlarmChange::Cleared => {
                let (code, subject) = (moved.id.kind.as_str(), &moved.id.subject);
                self.say("alarm", &format!("returned: {code}, {subject}"));
            }
            None => {}
        }
    }
}
