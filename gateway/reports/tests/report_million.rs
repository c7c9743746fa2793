//! A million events are reviewed in bounded memory. A test program of its own: it measures itself.

// Helpers of tests may fail as tests do.
#![allow(clippy::unwrap_used, clippy::panic)]

use stencilward_domain::event::{Basis, Event, Fact, Position, Recorded, StencilSpec};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::time::Timestamp;
use stencilward_reports::report::{Asked, Period, Review, Setup, TableName, Value};

const STENCILS: u64 = 200;
const EVENTS: u64 = 1_000_000;
/// Events by which every row of every table is there.
const SETTLED: u64 = 200_000;
/// What may come on top of that, KiB. One position kept for each event would take ten times this.
const MORE: u64 = 1_600;

fn code(index: u64) -> StencilCode {
    StencilCode::new(&format!("ST-{index}")).unwrap()
}

fn event(position: u64, printer: &MachineName) -> Event {
    if position <= STENCILS {
        return Event::StencilRegistered {
            spec: StencilSpec::rated(code(position), 100_000),
            starting_strokes: 0,
            clean: true,
            source: "a test".to_owned(),
        };
    }
    Event::StrokesBooked {
        stencil: code(1 + position % STENCILS),
        machine: printer.clone(),
        count: 2,
        basis: Basis::Reported { by_machine: None },
    }
}

/// Memory that this process holds, KiB (proc(5)).
fn resident() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn a_million_events_take_no_more_memory_than_some() {
    let printer = MachineName::new("printer-1").unwrap();
    let mut review = Review::new(Setup::default(), Period::default(), false);
    let mut settled = 0;
    for position in 1..=EVENTS {
        let at = Timestamp(1_793_599_200_000 + i64::try_from(position).unwrap() * 5_000);
        let event = event(position, &printer);
        let (machine_time, identity, sender) = (None, None, None);
        let fact =
            Fact { at, machine_time, happened: None, identity, sender, asked_with: None, event };
        let recorded = Recorded { position: Position(position), fact };
        assert!(review.listen(&recorded, None).is_continue());
        if position == SETTLED {
            settled = resident();
        }
    }
    let grown = resident().saturating_sub(settled);
    let lines = review.table(TableName::Lines, &Asked::default());
    assert_eq!(lines.rows[0][2].value, Value::Count(i128::from((EVENTS - STENCILS) * 2)));
    assert!(grown <= MORE, "{grown} KiB more after {EVENTS} events than after {SETTLED}");
}
