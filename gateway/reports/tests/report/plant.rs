//! An invented plant with two printers, a washer and a rack, and a way to tell it what happens.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use stencilward_domain::event::{BasisKind, Event, Recorded, StencilSpec};
use stencilward_domain::names::{MachineName, OrderName, ProductName, SlotName, StencilCode};
use stencilward_domain::plant::{Bases, Listed, MachineKind, MachineSpec, Plant, Policy};
use stencilward_domain::signal::{OrderSpec, Said, Side, Signal, WashOutcome};
use stencilward_domain::site::{Correction, Reply, Request, Site};
use stencilward_domain::time::Timestamp;
use stencilward_reports::report::{Asked, Period, Review, Setup, refers_to};

/// 2026-11-02T06:00:00Z, a Monday.
pub(crate) const START: Timestamp = Timestamp(1_793_599_200_000);

/// A printer of line-1 that names its stencil; work orders are compared with it.
pub(crate) const ONE: &str = "printer-1";
/// A printer of line-2 that does not name its stencil.
pub(crate) const TWO: &str = "printer-2";
pub(crate) const WASHER: &str = "washer-1";
pub(crate) const RACK: &str = "rack-1";

pub(crate) fn code(name: &str) -> StencilCode {
    StencilCode::new(name).unwrap()
}

pub(crate) fn machine(name: &str) -> MachineName {
    MachineName::new(name).unwrap()
}

pub(crate) fn slot(name: &str) -> SlotName {
    SlotName::new(name).unwrap()
}

pub(crate) fn product(name: &str) -> ProductName {
    ProductName::new(name).unwrap()
}

/// An order of 40 boards, four on a panel, printed twice.
pub(crate) fn order(name: &str) -> OrderSpec {
    OrderSpec {
        product: Some(product("Heron controller")),
        side: Some(Side::Top),
        quantity: Some(40),
        panels_per_stroke: Some(4),
        ..OrderSpec::named(OrderName::new(name).unwrap())
    }
}

fn fitted(kind: MachineKind, line: &str, names_stencil: bool) -> MachineSpec {
    let check = if names_stencil { [BasisKind::Order].into() } else { BTreeSet::new() };
    MachineSpec {
        kind,
        line: Some(line.to_owned()),
        names_stencil,
        fastest_cycle: Duration::from_secs(1),
        counts_for: None,
        counters: BTreeMap::new(),
        bases: Bases { check, ..Bases::default() },
        outputs: BTreeMap::new(),
    }
}

fn listed(name: &str, of: &str, starting_strokes: u64, price_centi: Option<u64>) -> Listed {
    let spec = StencilSpec {
        product: Some(product(of)),
        side: Some(Side::Top),
        rated_washes: Some(60),
        price_centi,
        lead_days: Some(14),
        ..StencilSpec::rated(code(name), 1_000)
    };
    Listed { spec, starting_strokes, clean: true, source: "stencil list".to_owned() }
}

pub(crate) fn plant() -> Plant {
    let machines = [
        (machine(ONE), fitted(MachineKind::Printer, "line-1", true)),
        (machine(TWO), fitted(MachineKind::Printer, "line-2", false)),
        (machine(WASHER), fitted(MachineKind::Washer, "wash room", false)),
        (machine(RACK), fitted(MachineKind::Rack, "store", false)),
    ];
    let stencils = [
        (code("ST-1"), listed("ST-1", "Heron controller", 700, Some(24_000))),
        (code("ST-2"), listed("ST-2", "Heron controller", 0, Some(26_050))),
        (code("ST-3"), listed("ST-3", "Teal sensor", 960, None)),
    ];
    let policy = Policy { hand_reported_wash: true, print_needs_take: false, ..Policy::default() };
    Plant { policy, machines: machines.into(), stencils: stencils.into(), ..Plant::default() }
}

pub(crate) fn setup() -> Setup {
    Setup { plant: plant(), currency: Some("EUR".to_owned()), wash_cost_centi: Some(350) }
}

/// A site, its clock, and what it recorded.
pub(crate) struct Floor {
    pub(crate) site: Site,
    pub(crate) now: Timestamp,
    pub(crate) ledger: Vec<Recorded>,
}

impl Floor {
    pub(crate) fn new() -> Self {
        let mut floor = Self { site: Site::new(plant()), now: START, ledger: Vec::new() };
        floor.site.start("0.0.0", floor.now);
        floor.keep();
        floor
    }

    fn keep(&mut self) {
        self.ledger.extend(self.site.take_fresh());
    }

    pub(crate) fn after(&mut self, millis: i64) -> &mut Self {
        self.now = Timestamp(self.now.0 + millis);
        self
    }

    pub(crate) fn says(&mut self, name: &str, said: Said) {
        self.site.hear(&Signal {
            machine: machine(name),
            received: self.now,
            machine_time: None,
            identity: None,
            said,
        });
        self.keep();
    }

    pub(crate) fn tick(&mut self) {
        self.site.tick(self.now);
        self.keep();
    }

    pub(crate) fn ask(&mut self, request: &Request) -> Reply {
        let reply = self.site.ask(request, self.now);
        self.keep();
        reply
    }

    pub(crate) fn correct(&mut self, original: &Recorded, correction: &Correction) -> Reply {
        let reply = self.site.correct(original, correction, self.now);
        self.keep();
        reply
    }

    pub(crate) fn seats(&mut self, name: &str, stencil: &str) {
        self.says(name, Said::Seated { code: code(stencil) });
    }

    pub(crate) fn washes(&mut self, stencil: &str, outcome: WashOutcome) {
        let programme = Some("paste".to_owned());
        let (code, measured) = (Some(code(stencil)), Vec::new());
        self.says(WASHER, Said::WashEnded { code, programme, outcome, measured });
    }

    pub(crate) fn restart(&mut self) {
        self.site.stop(self.now);
        self.keep();
        let mut site = Site::new(plant());
        self.ledger.iter().for_each(|recorded| site.replay(recorded));
        site.start("0.0.0", self.now);
        self.site = site;
        self.keep();
    }

    /// The last event of a kind.
    pub(crate) fn last(&self, is: impl Fn(&Event) -> bool) -> Recorded {
        let found = self.ledger.iter().rev().find(|recorded| is(&recorded.fact.event));
        found.cloned().unwrap()
    }

    pub(crate) fn asked(&self) -> Asked {
        Asked { now: self.now, ..Asked::default() }
    }
}

/// A review of a whole ledger, or of its part up to the period's `at`.
pub(crate) fn review(ledger: &[Recorded], period: Period, traced: bool) -> Review {
    let mut review = Review::new(setup(), period, traced);
    for recorded in ledger {
        let original = refers_to(&recorded.fact.event).and_then(|of| event(ledger, of.0));
        if review.listen(recorded, original).is_break() {
            break;
        }
    }
    review
}

/// The event at a position.
pub(crate) fn event(ledger: &[Recorded], position: u64) -> Option<&Recorded> {
    ledger.get(usize::try_from(position.checked_sub(1)?).ok()?)
}
