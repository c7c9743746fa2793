//! A plant of 2,000 stencils and 200 machines, and a year of its life in the ledger.

use std::collections::HashMap;
use std::fmt::Write as _;

use stencilward_adapters::link::now;
use stencilward_config::Configuration;
use stencilward_domain::event::{Recorded, Stream};
use stencilward_domain::names::{MachineName, SlotName, StencilCode};
use stencilward_domain::signal::{Said, Signal, WashOutcome};
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;
use stencilward_ledger::{Append, BatchId, Ledger, SqliteLedger};
use stencilward_tests::seed::Chance;

pub(crate) const STENCILS: usize = 2_000;
pub(crate) const PRINTERS: usize = 140;
const WASHERS: usize = 20;
const RACKS: usize = 40;
pub(crate) const MACHINES: usize = PRINTERS + WASHERS + RACKS;
const SLOTS: usize = STENCILS / RACKS;

const DAYS: i64 = 365;
/// Stencils used on a day.
const USED: u64 = 60;
const DAY_MS: i64 = 24 * 3_600_000;

pub(crate) fn code(number: usize) -> String {
    format!("ST-{number:04}")
}

pub(crate) fn printer(number: usize) -> String {
    format!("printer-{number}")
}

pub(crate) fn configuration() -> String {
    let mut text = "
site: Invented Works
brokers: [{ name: floor, address: '127.0.0.1:1', client: pages-bench }]
machines:
"
    .to_owned();
    let mut machine = |name: String, kind: &str, messages: &[(&str, &str, &str)]| {
        let _ = writeln!(text, "  - name: {name}\n    kind: {kind}\n    line: line-1");
        if kind == "printer" {
            text.push_str("    fastest-cycle: 10ms\n");
        }
        let _ = writeln!(text, "    mqtt:\n      broker: floor\n      messages:");
        for (topic, signal, more) in messages {
            let _ =
                writeln!(text, "        - {{ topic: {name}/{topic}, signal: {signal}, {more} }}");
        }
    };
    for number in 0..PRINTERS {
        machine(
            printer(number),
            "printer",
            &[
                ("strokes", "strokes-done", "count: /count, identity: /id"),
                ("stencil", "stencil-seated", "stencil: /stencil"),
                ("gone", "stencil-removed", "when: { /event: removed }"),
            ],
        );
    }
    for number in 0..WASHERS {
        let ended = "stencil: /stencil, outcome: /outcome, outcomes: { ok: passed }";
        machine(format!("washer-{number}"), "washer", &[("ended", "wash-ended", ended)]);
    }
    for number in 0..RACKS {
        let slots = "slot: /slot, stencil: /stencil";
        machine(
            format!("rack-{number}"),
            "rack",
            &[("in", "slot-occupied", slots), ("out", "slot-emptied", slots)],
        );
    }
    text.push_str("stencils:\n");
    for number in 0..STENCILS {
        let (code, product) = (code(number), number / 2);
        let side = if number % 2 == 0 { "top" } else { "bottom" };
        let _ = writeln!(
            text,
            "  - {{ code: {code}, product: board-{product}, side: {side}, rated-strokes: 50000, \
             price: 240, lead-time: 14d, clean: true }}"
        );
    }
    text
}

/// Lets the plant live for a year and writes that down. Gives the number of events.
pub(crate) async fn write(configuration: &Configuration) -> u64 {
    let ledger = SqliteLedger::open(&configuration.ledger).unwrap();
    let mut site = Site::new(configuration.plant());
    let mut year = Year { site: &mut site, chance: Chance::from(2_000), at: now().0 };
    let end = year.at;
    year.at = end - DAYS * DAY_MS;
    year.site.start("bench", Timestamp(year.at));
    year.stock();
    let mut versions = HashMap::new();
    for day in 0..DAYS {
        year.at = end - (DAYS - day) * DAY_MS;
        year.day();
        let events = year.site.take_fresh();
        for result in ledger.append(appends(&events, &mut versions)).await.unwrap() {
            result.unwrap();
        }
    }
    let events = site.state().head.0;
    ledger.close().await;
    events
}

struct Year<'a> {
    site: &'a mut Site,
    chance: Chance,
    at: i64,
}

impl Year<'_> {
    fn says(&mut self, machine: &str, said: Said) {
        self.at += 1_000;
        let machine = MachineName::new(machine).unwrap();
        let received = Timestamp(self.at);
        let signal = Signal { machine, received, machine_time: None, identity: None, said };
        self.site.hear(&signal);
    }

    fn stock(&mut self) {
        for number in 0..PRINTERS {
            self.says(&printer(number), Said::LinkUp { resumed: false });
        }
        for number in 0..STENCILS {
            self.says(&rack(number), occupied(number));
        }
    }

    fn day(&mut self) {
        for _ in 0..USED {
            let number = self.chance.below(STENCILS as u64) as usize;
            let press = printer(self.chance.below(PRINTERS as u64) as usize);
            let code = StencilCode::new(&code(number)).unwrap();
            let slot = SlotName::new(&slot(number)).unwrap();
            self.says(&rack(number), Said::SlotEmptied { slot, code: Some(code.clone()) });
            self.says(&press, Said::Seated { code: code.clone() });
            for _ in 0..3 {
                let count = 50 + self.chance.below(200);
                self.says(&press, Said::StrokesDone { count });
            }
            self.says(&press, Said::Removed);
            let ended = Said::WashEnded {
                code: Some(code),
                programme: None,
                outcome: WashOutcome::Passed,
                measured: Vec::new(),
            };
            let washer = format!("washer-{}", self.chance.below(WASHERS as u64));
            self.says(&washer, ended);
            if self.chance.below(50) > 0 {
                self.says(&rack(number), occupied(number));
            }
        }
        self.site.tick(Timestamp(self.at));
    }
}

fn rack(number: usize) -> String {
    format!("rack-{}", number / SLOTS)
}

fn slot(number: usize) -> String {
    format!("S{}", number % SLOTS)
}

fn occupied(number: usize) -> Said {
    let code = Some(StencilCode::new(&code(number)).unwrap());
    Said::SlotOccupied { slot: SlotName::new(&slot(number)).unwrap(), code }
}

/// What comes one behind the other for one stream is one append.
fn appends(events: &[Recorded], versions: &mut HashMap<Stream, u64>) -> Vec<Append> {
    let mut appends: Vec<Append> = Vec::new();
    for recorded in events {
        let (stream, fact) = (recorded.fact.event.stream(), recorded.fact.clone());
        let version = versions.entry(stream.clone()).or_default();
        let expected = *version;
        *version += 1;
        match appends.last_mut().filter(|append| append.stream == stream) {
            Some(append) => append.facts.push(fact),
            None => {
                let batch = BatchId(u128::from(recorded.position.0).to_be_bytes());
                appends.push(Append { stream, expected, batch, facts: vec![fact] });
            }
        }
    }
    appends
}
