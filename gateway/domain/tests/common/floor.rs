//! A site, its ledger and a clock that the test turns.

use stencilward_domain::decision::Decision;
use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::machine::Machine;
use stencilward_domain::names::OutputName;
use stencilward_domain::place::Place;
use stencilward_domain::plant::Plant;
use stencilward_domain::signal::{Said, Signal};
use stencilward_domain::site::{Replan, Reply, Request, Site};
use stencilward_domain::stencil::{Cleanliness, Stencil};
use stencilward_domain::time::Timestamp;

use super::plant::{DOOR, PERMIT, RACK, plant};
use super::words::{at, code, machine, occupied, seated, take_asked};

/// A site before its start that has replayed this ledger, and was written down and read back after
/// so many events of it.
pub(crate) fn begun(plant: Plant, ledger: &[Recorded], kept: usize) -> Site {
    let mut site = Site::new(plant);
    let (before, after) = ledger.split_at(kept);
    before.iter().for_each(|recorded| site.replay(recorded));
    let text = serde_json::to_string(site.state()).expect("a state becomes JSON");
    site.recall(serde_json::from_str(&text).expect("a state can be read back"));
    after.iter().for_each(|recorded| site.replay(recorded));
    site
}

/// What happens on the floor, told to a site.
pub(crate) struct Floor {
    pub(crate) site: Site,
    pub(crate) now: Timestamp,
    pub(crate) ledger: Vec<Recorded>,
    /// Messages told with a time.
    told: u32,
}

impl Floor {
    /// The plant of the tests, just started.
    pub(crate) fn new() -> Self {
        Self::of(plant())
    }

    /// Another plant, just started.
    pub(crate) fn of(plant: Plant) -> Self {
        let mut floor = Self { site: Site::new(plant), now: at(0), ledger: Vec::new(), told: 0 };
        floor.site.start("0.0.0", floor.now);
        floor.keep();
        floor
    }

    fn keep(&mut self) -> Vec<Event> {
        let fresh = self.site.take_fresh();
        let events = fresh.iter().map(|r| r.fact.event.clone()).collect();
        self.ledger.extend(fresh);
        events
    }

    /// Turns the clock to so many seconds after the start.
    pub(crate) fn at(&mut self, seconds: i64) -> &mut Self {
        self.now = at(seconds);
        self
    }

    /// Turns the clock on by so many seconds.
    pub(crate) fn after(&mut self, seconds: i64) -> &mut Self {
        self.now = Timestamp(self.now.0 + seconds * 1_000);
        self
    }

    /// A machine says something. Gives the events that follow.
    pub(crate) fn says(&mut self, name: &str, said: Said) -> Vec<Event> {
        self.says_as(name, None, said).0
    }

    /// A machine asks, and gets a decision.
    pub(crate) fn decides(&mut self, name: &str, said: Said) -> Decision {
        let (_, decision) = self.says_as(name, None, said);
        decision.expect("a decision was asked for")
    }

    /// A machine says something under an identity of its own.
    pub(crate) fn says_as(
        &mut self,
        name: &str,
        identity: Option<&str>,
        said: Said,
    ) -> (Vec<Event>, Option<Decision>) {
        let decision = self.site.hear(&Signal {
            machine: machine(name),
            received: self.now,
            machine_time: None,
            identity: identity.map(str::to_owned),
            said,
        });
        (self.keep(), decision)
    }

    /// A machine says something with its own time, so many seconds after the start. Gives the
    /// events that follow.
    pub(crate) fn tells(&mut self, name: &str, seconds: i64, said: Said) -> Vec<Event> {
        self.told = self.told.wrapping_add(1);
        let _ = self.site.hear(&Signal {
            machine: machine(name),
            received: self.now,
            machine_time: Some(at(seconds)),
            identity: Some(format!("message {}", self.told)),
            said,
        });
        self.keep()
    }

    /// What the ledger says, as a gateway begins that kept the state of half the way.
    pub(crate) fn replayed(&self) -> Site {
        begun(self.site.plant().clone(), &self.ledger, self.ledger.len() / 2)
    }

    /// A person asks for something.
    pub(crate) fn ask(&mut self, request: &Request) -> Reply {
        let reply = self.site.ask(request, self.now);
        self.keep();
        reply
    }

    /// A person asks for something, and it is done.
    pub(crate) fn does(&mut self, request: &Request) {
        match self.ask(request) {
            Reply::Done(_) | Reply::Decision(_) => {}
            Reply::Alarms { refused, .. } => assert!(refused.is_empty(), "{refused:?}"),
            Reply::Refused(why) => unreachable!("refused: {why}"),
        }
    }

    /// A person asks for a decision.
    pub(crate) fn decides_for(&mut self, request: &Request) -> Decision {
        match self.ask(request) {
            Reply::Decision(decision) => decision,
            other => unreachable!("no decision: {other:?}"),
        }
    }

    pub(crate) fn tick(&mut self) -> Vec<Event> {
        self.site.tick(self.now);
        self.keep()
    }

    /// The gateway stops in order and is started again so many seconds later.
    pub(crate) fn restart_after(&mut self, seconds: i64) -> Vec<Event> {
        self.site.stop(self.now);
        self.keep();
        self.after(seconds).start_again()
    }

    /// A new gateway starts on the same ledger; what the old one knew is gone.
    pub(crate) fn start_again(&mut self) -> Vec<Event> {
        self.begin_again_with(self.site.plant().clone())
    }

    /// A new gateway starts on the same ledger with another plant.
    pub(crate) fn begin_again_with(&mut self, plant: Plant) -> Vec<Event> {
        let mut site = begun(plant, &self.ledger, self.ledger.len() / 2);
        site.start("0.0.0", self.now);
        self.site = site;
        self.keep()
    }

    /// Another configuration takes effect. Gives the names of the events that follow.
    pub(crate) fn replan(&mut self, replan: Replan) -> Vec<String> {
        self.site.replan(replan, self.now);
        names(&self.keep())
    }

    pub(crate) fn stencil(&self, name: &str) -> &Stencil {
        let stencils = &self.site.state().stencils;
        stencils.get(&code(name)).expect("a listed stencil")
    }

    pub(crate) fn machine(&self, name: &str) -> &Machine {
        let machines = &self.site.state().machines;
        machines.get(&machine(name)).expect("a machine heard of")
    }

    pub(crate) fn cleanliness(&self, name: &str) -> Cleanliness {
        self.stencil(name).cleanliness.value
    }

    pub(crate) fn place(&self, name: &str) -> Place {
        self.stencil(name).place.value.clone()
    }

    pub(crate) fn strokes(&self, name: &str) -> u64 {
        self.stencil(name).strokes
    }

    /// The codes of the reasons against printing, as decided now.
    pub(crate) fn against_printing(&self, printer: &str) -> Vec<&'static str> {
        codes(&self.site.print_decision(&machine(printer), self.now))
    }

    pub(crate) fn may_print(&self, printer: &str) -> bool {
        let output = OutputName::new(PERMIT).expect("a good name");
        self.site.wanted(self.now).permits(&machine(printer), &output)
    }

    pub(crate) fn door_open(&self, rack: &str) -> bool {
        let output = OutputName::new(DOOR).expect("a good name");
        self.site.wanted(self.now).permits(&machine(rack), &output)
    }

    /// The place of the last event that the test picks.
    pub(crate) fn last(&self, pick: impl Fn(&Event) -> bool) -> Option<Position> {
        let found = self.ledger.iter().rev().find(|r| pick(&r.fact.event));
        found.map(|recorded| recorded.position)
    }

    /// Puts a clean stencil into a slot of the first rack, where it belongs.
    pub(crate) fn stock(&mut self, name: &str, place: &str) {
        self.says(RACK, occupied(place, Some(name)));
    }

    /// Takes a clean stencil with permission and puts it into a printer that names it.
    pub(crate) fn bring(&mut self, name: &str, printer: &str) {
        let decision = self.decides(RACK, take_asked(name, None));
        assert!(decision.permitted(), "{decision}");
        self.says(printer, seated(name));
    }
}

/// The codes of all reasons against.
pub(crate) fn codes(decision: &Decision) -> Vec<&'static str> {
    let causes = decision.reasons.iter();
    causes.map(|cause| cause.reason.code()).collect()
}

/// The stable names of events, as the ledger has them.
pub(crate) fn names(events: &[Event]) -> Vec<String> {
    let name = |event: &Event| {
        let value = serde_json::to_value(event).expect("an event becomes JSON");
        let name = value.get("event").and_then(|name| name.as_str());
        name.expect("an event has a name").to_owned()
    };
    events.iter().map(name).collect()
}

impl Floor {
    /// The gateway dies and loses what it wrote after the first `kept` events; a new one starts.
    pub(crate) fn crash(&mut self, kept: usize) -> Vec<Event> {
        self.ledger.truncate(kept);
        self.start_again()
    }
}
