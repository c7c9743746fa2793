//! One state of the model: the site, its ledger, the truth; and the step to the next.

use std::fmt::Debug;
use std::sync::Arc;

use stencilward_domain::decision::Rule;
use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::names::MachineName;
use stencilward_domain::rules::Rules;
use stencilward_domain::signal::{Reading, Said, Signal, WashOutcome, Width};
use stencilward_domain::site::{Correction, Reply, Request, Site, Wrong};
use stencilward_domain::state::State;
use stencilward_domain::time::Timestamp;

use super::floor::{
    CONCESSION, GRANTED, PERMIT, Printer, Stencil, permit, plant, rack, total, washer,
};
use super::moves::Move;
use super::truth::{Floor, Truth};

/// What is checked: the rules, and whether messages keep their identity.
#[derive(Clone, Copy)]
pub(crate) struct Checked {
    pub(crate) rules: Rules,
    pub(crate) identities: bool,
}

/// One state.
#[derive(Clone)]
pub(crate) struct Node {
    checked: Checked,
    pub(crate) site: Site,
    pub(crate) now: Timestamp,
    ledger: Vec<Arc<Recorded>>,
    pub(crate) floor: Floor,
    pub(crate) truth: Truth,
}

/// What a step breaks.
pub(crate) type Outcome = Result<(), String>;

fn by() -> String {
    "M. Example".to_owned()
}

fn why() -> String {
    "an invented reason".to_owned()
}

fn is_passed(event: &Event) -> bool {
    matches!(event, Event::WashEnded { outcome: WashOutcome::Passed, .. })
}

impl Node {
    /// The plant just started, with all links up.
    pub(crate) fn first(checked: Checked) -> Self {
        let mut node = Self {
            checked,
            site: Site::ruled(plant(), checked.rules),
            now: Timestamp(0),
            ledger: Vec::new(),
            floor: Floor { total: 0, sent: 0, linked: [false; 2] },
            truth: Truth::new(),
        };
        node.site.start("0.0.0", node.now);
        for printer in Printer::ALL {
            node.link_up(printer);
        }
        node.read();
        node.follow().expect("a good start");
        node
    }

    /// Does one thing, and checks all that must hold; none when it cannot happen now.
    pub(crate) fn step(&mut self, one: Move) -> Option<Outcome> {
        self.happens(one)?;
        Some(self.follow().and_then(|()| self.holds()))
    }

    fn happens(&mut self, one: Move) -> Option<()> {
        match one {
            Move::Seats(..)
            | Move::Empty(_)
            | Move::Prints(_)
            | Move::PrintsUnread
            | Move::IsRead
            | Move::SendsAgain
            | Move::LinkLost(_)
            | Move::LinkUp(_) => self.printer(one),
            Move::WashBegins(_) | Move::WashEnds(..) | Move::Loads(_) | Move::WashedByHand(..) => {
                self.washes(one)
            }
            Move::RackAsksStore(_) | Move::RackAsksTake(_) | Move::Occupied(_) | Move::Emptied => {
                self.hear(&rack(), None, one.said()?);
                if let Move::Occupied(Some(stencil)) = one {
                    self.truth.turns_up(stencil);
                }
                Some(())
            }
            Move::Wait(seconds) => {
                self.now = Timestamp(self.now.0 + seconds * 1_000);
                self.site.tick(self.now);
                Some(())
            }
            Move::Restart => {
                self.site.stop(self.now);
                self.follow().ok()?;
                self.starts_again();
                Some(())
            }
            Move::DiesIn(one) => {
                let told = self.truth.clone();
                self.happens(*one)?;
                self.truth = told;
                self.starts_again();
                Some(())
            }
            Move::Assign(_) | Move::WriteOff | Move::Correct(_) | Move::Annul => {
                self.thinks_again(one)
            }
            _ => self.asks(one),
        }
    }

    fn starts_again(&mut self) {
        self.floor.linked = [false; 2];
        self.site = Site::ruled(plant(), self.checked.rules);
        for recorded in &self.ledger {
            self.site.replay(recorded);
        }
        self.site.start("0.0.0", self.now);
    }

    fn hear(&mut self, machine: &MachineName, identity: Option<u64>, said: Said) {
        let _ = self.site.hear(&Signal {
            machine: machine.clone(),
            received: self.now,
            machine_time: None,
            identity: identity.filter(|_| self.checked.identities).map(|one| one.to_string()),
            said,
        });
    }

    fn ask(&mut self, request: &Request) -> Option<()> {
        match self.site.ask(request, self.now) {
            Reply::Refused(_) => None,
            Reply::Done(_) | Reply::Decision(_) | Reply::Alarms { .. } => Some(()),
        }
    }

    fn link_up(&mut self, printer: Printer) {
        self.floor.linked[printer as usize] = true;
        self.hear(&printer.name(), None, Said::LinkUp { resumed: false });
    }

    fn read(&mut self) {
        let (counter, raw) = (total(), self.floor.total);
        let (width, reading) = (Width::Bits16, Reading::Polled);
        let read = Said::CounterRead { counter, raw, width, reading };
        self.hear(&Printer::Namer.name(), None, read);
        self.truth.reads(raw);
    }

    fn printer(&mut self, one: Move) -> Option<()> {
        let linked = |printer: Printer| self.floor.linked[printer as usize].then_some(());
        match one {
            Move::Seats(Printer::Namer, stencil) => {
                linked(Printer::Namer)?;
                self.hear(&Printer::Namer.name(), None, Said::Seated { code: stencil.code() });
                self.truth.seats(Printer::Namer, Some(stencil));
            }
            Move::Empty(Printer::Namer) => {
                linked(Printer::Namer)?;
                self.hear(&Printer::Namer.name(), None, Said::Removed);
                self.truth.seats(Printer::Namer, None);
            }
            Move::Seats(printer, stencil) => {
                let (machine, by) = (printer.name(), by());
                self.ask(&Request::Seat { stencil: stencil.code(), machine, by })?;
                self.truth.seats(printer, Some(stencil));
            }
            Move::Empty(printer) => {
                self.ask(&Request::Remove { machine: printer.name(), by: by() })?;
                self.truth.seats(printer, None);
            }
            Move::Prints(Printer::Namer) => {
                linked(Printer::Namer)?;
                self.floor.total += 1;
                self.read();
            }
            Move::PrintsUnread => self.floor.total += 1,
            Move::IsRead => {
                linked(Printer::Namer)?;
                self.read();
            }
            Move::Prints(Printer::Mute) | Move::SendsAgain => {
                linked(Printer::Mute)?;
                self.floor.sent += u64::from(one != Move::SendsAgain);
                let message = (self.floor.sent > 0).then_some(self.floor.sent)?;
                let said = Said::StrokesDone { count: 1 };
                self.hear(&Printer::Mute.name(), Some(message), said);
                self.truth.hears(message);
            }
            Move::LinkLost(printer) => {
                linked(printer)?;
                self.floor.linked[printer as usize] = false;
                self.hear(&printer.name(), None, Said::LinkLost { why: why() });
            }
            Move::LinkUp(printer) if linked(printer).is_none() => self.link_up(printer),
            _ => return None,
        }
        Some(())
    }

    /// True while the namer itself says that the stencil is in there, and so not in a washer.
    fn is_named(&self, stencil: Stencil) -> bool {
        self.truth.seats[0] == Some(stencil) && self.floor.linked[0]
    }

    /// A word against a stencil's cleanliness.
    fn unwashed(&mut self, stencil: Stencil) {
        if !self.is_named(stencil) {
            self.truth.unwashed(stencil);
        }
    }

    fn washes(&mut self, one: Move) -> Option<()> {
        let head = self.site.state().head;
        match one {
            Move::Loads(stencil) => {
                let (machine, by) = (washer(), by());
                self.ask(&Request::Seat { stencil: stencil.code(), machine, by })?;
                self.truth.loads(stencil);
            }
            Move::WashBegins(named) => {
                self.hear(&washer(), None, one.said()?);
                named.into_iter().for_each(|stencil| self.truth.handled(stencil));
                let only = self.truth.surely_in_washer(named).filter(|one| !self.is_named(*one));
                if let Some(only) = only {
                    self.truth.unwashed(only);
                    self.truth.loads(only);
                }
            }
            Move::WashEnds(named, outcome) => {
                self.hear(&washer(), None, one.said()?);
                named.into_iter().for_each(|stencil| self.truth.handled(stencil));
                if outcome == WashOutcome::Passed {
                    for stencil in self.truth.in_washer(named) {
                        self.truth.washed(stencil, head);
                    }
                } else if let Some(only) = self.truth.surely_in_washer(named) {
                    self.unwashed(only);
                }
                if let Some(stencil) = named.filter(|one| !self.is_named(*one)) {
                    self.truth.loads(stencil);
                }
            }
            Move::WashedByHand(stencil, outcome) => {
                let code = stencil.code();
                self.ask(&Request::ReportWash { stencil: code, outcome, by: by() })?;
                self.truth.handled(stencil);
                if outcome == WashOutcome::Passed {
                    self.truth.washed(stencil, head);
                } else {
                    self.unwashed(stencil);
                }
            }
            _ => return None,
        }
        Some(())
    }

    fn asks(&mut self, one: Move) -> Option<()> {
        let code = |stencil: Stencil| (stencil.code(), by(), why());
        let request = match one {
            Move::PersonAsksStore(stencil) => {
                let by = Some(by());
                Request::Store { stencil: stencil.code(), rack: Some(rack()), slot: None, by }
            }
            Move::PersonAsksTake(stencil) => {
                let by = Some(by());
                Request::Take { stencil: stencil.code(), rack: None, order: None, by }
            }
            Move::Hold(stencil) => {
                let (stencil, by, why) = code(stencil);
                Request::Hold { stencil, by, why }
            }
            Move::Release(stencil) => {
                let (stencil, by, why) = code(stencil);
                Request::Release { stencil, by, why }
            }
            Move::Grant(stencil) => {
                let (stencil, by, why) = code(stencil);
                let until = Some(Timestamp(self.now.0 + CONCESSION * 1_000));
                Request::Grant { stencil, strokes: GRANTED, until, by, why }
            }
            Move::Withdraw(stencil) => {
                let (stencil, by, why) = code(stencil);
                Request::Withdraw { stencil, by, why }
            }
            Move::Retire(stencil) => {
                let (stencil, by, why) = code(stencil);
                Request::Retire { stencil, by, why }
            }
            _ => return None,
        };
        self.ask(&request)?;
        match one {
            Move::Hold(stencil) => self.truth.change(stencil).held = true,
            Move::Release(stencil) => self.truth.change(stencil).held = false,
            Move::Retire(stencil) => self.truth.change(stencil).retired = true,
            Move::Grant(stencil) => self.truth.granted(stencil, self.now),
            Move::Withdraw(stencil) => self.truth.withdrawn(stencil),
            _ => {}
        }
        Some(())
    }

    fn last(&self, pick: impl Fn(&Event) -> bool) -> Option<Arc<Recorded>> {
        self.ledger.iter().rev().find(|recorded| pick(&recorded.fact.event)).cloned()
    }

    fn thinks_again(&mut self, one: Move) -> Option<()> {
        let assign = |of: Position, shares, write_off| {
            let (by, why) = (by(), why());
            Request::Assign { of, shares, write_off, by, why }
        };
        let first = self.site.state().unattributed.iter().next();
        let first = first.map(|(position, open)| (*position, open.left));
        let (original, what) = match one {
            Move::Assign(stencil) => {
                let (of, left) = first?;
                return self.ask(&assign(of, vec![(stencil.code(), left)], 0));
            }
            Move::WriteOff => {
                let (of, left) = first?;
                return self.ask(&assign(of, Vec::new(), left));
            }
            Move::Correct(stencil) => {
                let original = self.last(|event| matches!(event, Event::StrokesBooked { .. }))?;
                let Event::StrokesBooked { count, .. } = original.fact.event else { return None };
                (original, Wrong::Strokes(vec![(stencil.code(), count)]))
            }
            _ => {
                let original = self.last(is_passed)?;
                if let Event::WashEnded { stencil, .. } = &original.fact.event {
                    Stencil::of(stencil).into_iter().for_each(|one| self.truth.unwashed(one));
                }
                (original, Wrong::Wash)
            }
        };
        let correction = Correction { what, by: by(), why: why() };
        match self.site.correct(&original, &correction, self.now) {
            Reply::Refused(_) => None,
            Reply::Done(_) | Reply::Decision(_) | Reply::Alarms { .. } => Some(()),
        }
    }

    /// What second thoughts of the next move would be about.
    pub(crate) fn last_words(&self) -> impl Debug {
        let booked = self.last(|event| matches!(event, Event::StrokesBooked { .. }));
        let washed = self.last(is_passed);
        let booked = booked.map(|recorded| match &recorded.fact.event {
            Event::StrokesBooked { stencil, machine, count, .. } => {
                (recorded.position, stencil.clone(), machine.clone(), *count)
            }
            _ => unreachable!("not what was looked for"),
        });
        (booked, washed.map(|recorded| recorded.position))
    }

    /// Takes what was recorded into the ledger, and judges it.
    fn follow(&mut self) -> Outcome {
        for recorded in self.site.take_fresh() {
            self.truth.records(&recorded);
            let stored = match &recorded.fact.event {
                Event::Stored { stencil, .. } => Some(stencil),
                Event::Decided { decision, .. } if decision.permitted() => {
                    if decision.rule != Rule::Print && decision.machine == Some(rack()) {
                        let until = Timestamp(recorded.fact.at.0 + PERMIT * 1_000);
                        self.truth.door = self.truth.door.max(until);
                    }
                    decision.stencil.as_ref().filter(|_| decision.rule == Rule::Store)
                }
                _ => None,
            };
            let event = format!("{:?}", recorded.fact.event);
            let washed = stored.is_none_or(|code| {
                Stencil::of(code).is_some_and(|stencil| self.truth.of(stencil).is_washed())
            });
            if let (Some(stencil), true) = (stored.and_then(Stencil::of), washed) {
                self.truth.turns_up(stencil);
            }
            self.ledger.push(Arc::new(recorded));
            if !washed {
                return Err(format!("stored unwashed or unknown: {event}"));
            }
        }
        Ok(())
    }

    /// What must hold in every state.
    fn holds(&self) -> Outcome {
        self.truth.none_twice()?;
        let wanted = self.site.wanted(self.now);
        for printer in Printer::ALL {
            let decision = self.site.print_decision(&printer.name(), self.now);
            if wanted.permits(&printer.name(), &permit()) != decision.permitted() {
                return Err(format!("the output of {printer:?} does not follow: {decision}"));
            }
            if decision.permitted() {
                self.may_print(printer).map_err(|why| format!("{printer:?} prints: {why}"))?;
            }
        }
        if wanted.permits(&rack(), &permit()) && self.now >= self.truth.door {
            return Err("the rack is open without a permit".to_owned());
        }
        let mut replayed = State::default();
        for recorded in &self.ledger {
            replayed.apply(recorded);
        }
        let same = replayed == *self.site.state();
        same.then_some(()).ok_or("replaying the ledger gives another state".to_owned())
    }

    fn may_print(&self, printer: Printer) -> Outcome {
        let seat = self.truth.seats[printer as usize].ok_or("nothing is seated")?;
        let told = self.truth.of(seat);
        if told.held || told.retired {
            return Err("on hold or retired".to_owned());
        }
        if told.is_stopped(seat) && !told.is_allowed(self.now) {
            return Err("stopped, without a concession in force".to_owned());
        }
        Ok(())
    }
}
