//! What the plant did before: three months of working days, decided by the gateway's own rules
//! and kept in its ledger as if it had run all the time.

use std::collections::HashMap;
use std::path::Path;
use std::time::Duration;

use stencilward_config::Configuration;
use stencilward_domain::event::Recorded;
use stencilward_domain::names::{MachineName, SlotName, StencilCode};
use stencilward_domain::signal::{Said, Signal, WashOutcome};
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;
use stencilward_ledger::{Append, BatchId, Ledger as _, SqliteLedger};

const DAY: Duration = Duration::from_secs(86_400);

/// Days before today that are in the ledger.
const DAYS: u32 = 90;

/// Each stencil, where it lives, and how many strokes it makes in a usual shift.
const USED: [(&str, &str, u64); 5] = [
    ("WR-101", "A1", 260),
    ("WR-102", "A2", 240),
    ("WR-201", "B1", 170),
    ("WR-301", "C1", 90),
    ("WR-302", "C2", 75),
];

/// Writes the past of this plant into its ledger; it ends an hour before `now`.
pub(crate) async fn write(configuration: &Configuration, now: Timestamp) {
    let mut floor = Floor {
        site: Site::new(configuration.plant()),
        at: now.minus(DAY * DAYS + Duration::from_secs(3_600)),
        told: 0,
    };
    floor.site.start("before", floor.at);
    for machine in ["printer-1", "printer-2", "washer-1", "rack-1"] {
        floor.hears(machine, Said::LinkUp { resumed: false });
    }
    for (stencil, slot, _) in USED {
        floor.stores(stencil, slot);
    }
    floor.stores("WR-202", "B2");
    for day in 0..DAYS {
        let morning = now.minus(DAY * (DAYS - day)).minus(Duration::from_secs(7 * 3_600));
        // Two days in seven nobody works; the others differ by a little, as days do.
        if day % 7 < 5 {
            floor.at = floor.at.max(morning);
            for (at, (stencil, slot, strokes)) in USED.into_iter().enumerate() {
                let strokes = strokes + u64::from(day * 7 + 13 * at as u32) % 29;
                floor.shift(stencil, slot, strokes);
            }
        }
    }
    let end = floor.at.max(now.minus(Duration::from_secs(3_600)));
    floor.site.stop(end);
    keep(&configuration.ledger, floor.site.take_fresh()).await;
}

struct Floor {
    site: Site,
    at: Timestamp,
    told: u64,
}

impl Floor {
    /// Time passes, then the machine says it.
    fn hears(&mut self, machine: &str, said: Said) {
        self.at = self.at.plus(Duration::from_secs(20));
        self.site.tick(self.at);
        self.told += 1;
        self.site.hear(&Signal {
            machine: MachineName::new(machine).unwrap(),
            received: self.at,
            machine_time: None,
            identity: Some(format!("before-{}", self.told)),
            said,
        });
    }

    fn shift(&mut self, stencil: &str, slot: &str, strokes: u64) {
        let code = StencilCode::new(stencil).unwrap();
        let (named, slot_name) = (Some(code.clone()), SlotName::new(slot).unwrap());
        let asked = Said::TakeAsked { code: code.clone(), order: None, destination: None };
        self.hears("rack-1", asked);
        self.hears("rack-1", Said::SlotEmptied { slot: slot_name, code: named.clone() });
        self.hears("printer-1", Said::Seated { code });
        self.hears("printer-1", Said::StrokesDone { count: strokes });
        self.hears("printer-1", Said::Removed);
        let programme = Some("aqueous, two rinses".to_owned());
        self.hears(
            "washer-1",
            Said::WashBegan { code: named.clone(), programme: programme.clone() },
        );
        let (outcome, measured) = (WashOutcome::Passed, Vec::new());
        self.hears("washer-1", Said::WashEnded { code: named, programme, outcome, measured });
        self.stores(stencil, slot);
    }

    fn stores(&mut self, stencil: &str, slot: &str) {
        let code = StencilCode::new(stencil).unwrap();
        let slot = SlotName::new(slot).unwrap();
        let asked = Said::StoreAsked { code: code.clone(), slot: Some(slot.clone()) };
        self.hears("rack-1", asked);
        self.hears("rack-1", Said::SlotOccupied { slot, code: Some(code) });
    }
}

async fn keep(file: &Path, events: Vec<Recorded>) {
    let ledger = SqliteLedger::open(file).unwrap();
    let mut versions = HashMap::new();
    let mut appends: Vec<Append> = Vec::new();
    for Recorded { fact, .. } in events {
        let stream = fact.event.stream();
        let version: &mut u64 = versions.entry(stream.clone()).or_default();
        match appends.last_mut().filter(|append| append.stream == stream) {
            Some(append) => append.facts.push(fact),
            None => {
                let batch = BatchId((appends.len() as u128).to_be_bytes());
                appends.push(Append { stream, expected: *version, batch, facts: vec![fact] });
            }
        }
        *version += 1;
    }
    for kept in ledger.append(appends).await.unwrap() {
        kept.unwrap();
    }
    ledger.close().await;
}
