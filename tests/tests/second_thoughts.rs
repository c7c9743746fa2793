//! Strokes that nobody could attribute are assigned, split, written off and corrected over HTTP,
//! with the gateway killed and started in between; the ledger says what the printer says.
#![allow(clippy::unwrap_used, reason = "a helper that cannot go on fails the test")]

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::names::{CounterName, StencilCode};
use stencilward_domain::signal::{Reading, Said, Width};
use stencilward_ledger::Reader;
use stencilward_service::plant::Plant;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};
use tempfile::TempDir;

const LIMIT: Duration = Duration::from_secs(30);

const CONFIGURATION: &str = "
site: Invented Works
policy: { wash: { by-hand: true } }
stencils:
  - { code: ST-1, rated-strokes: 1000, clean: true }
  - { code: ST-2, rated-strokes: 1000, clean: true, strokes-so-far: 50 }
machines:
  - name: printer
    kind: printer
    fastest-cycle: 10ms
    modbus:
      address: 127.0.0.1:1
      poll: 50ms
      points:
        - { signal: stroke-total, table: input, at: 0, type: u16 }
        - { signal: stencil-seated, table: holding, at: 10, type: text, registers: 4 }
";

struct Floor {
    folder: TempDir,
    address: SocketAddr,
    plant: Plant,
    gateway: Child,
}

fn run(file: &Path) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(file);
    Child::start(&command)
}

async fn total(plant: &Plant, raw: u64) {
    let (_, printer) = plant.machine("printer").expect("a machine");
    let counter = CounterName::new("strokes").expect("a name");
    let (width, reading) = (Width::Bits16, Reading::Polled);
    let said = Said::CounterRead { counter, raw, width, reading };
    printer.say(&said, None).await.expect("it can say its total");
}

impl Floor {
    async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        let mut configuration =
            stencilward_config::parse("plant.yaml", CONFIGURATION).expect("a good configuration");
        configuration.listen = address.to_string();
        configuration.ledger = folder.path().join("plant.db");
        let plant = Plant::start(configuration).await.expect("a plant");
        let file = folder.path().join("plant.yaml");
        std::fs::write(&file, serde_yaml::to_string(&plant.configuration).unwrap()).unwrap();
        // A counter that leaps under the gateway's eyes is a finding: this one is on before.
        total(&plant, 100).await;
        Self { gateway: run(&file), folder, address, plant }
    }

    fn ledger(&self) -> PathBuf {
        self.folder.path().join("plant.db")
    }

    /// The gateway is killed, and another one starts on what it left.
    async fn restart(&mut self) {
        self.gateway.kill();
        self.gateway = run(&self.folder.path().join("plant.yaml"));
        self.until("/api/v1/machines/printer", "/link", json!("up")).await;
    }

    async fn until(&self, path: &str, part: &str, wanted: Value) {
        eventually(&format!("{part} of {path} is {wanted}"), LIMIT, async || {
            let answer = http::get(self.address, path).await;
            let answer = answer.map_or(Value::Null, |answer| answer.json());
            if answer.pointer(part) == Some(&wanted) { Ok(()) } else { Err(answer) }
        })
        .await;
    }

    /// Asks for it, and gives the last event that followed.
    async fn post(&self, path: &str, body: &Value) -> u64 {
        let answer = http::post(self.address, path, body).await.expect("an answer");
        assert_eq!(answer.status, 200, "{path} {body}: {}", answer.body);
        answer.json()["event"].as_u64().expect("a position")
    }

    async fn refused(&self, path: &str, body: &Value) -> String {
        let answer = http::post(self.address, path, body).await.expect("an answer");
        assert_eq!(answer.status, 409, "{path} {body}: {}", answer.body);
        answer.json()["detail"].as_str().unwrap_or_default().to_owned()
    }

    /// The place of the last event of which this is true, read beside the gateway.
    fn last(&self, wanted: impl Fn(&Event) -> bool) -> Position {
        let entries = Reader::open(&self.ledger()).unwrap().read(Position(0), 10_000).unwrap();
        let mut found = entries.iter().rev().map(|entry| &entry.recorded);
        found
            .find(|recorded: &&Recorded| wanted(&recorded.fact.event))
            .expect("such an event")
            .position
    }

    async fn counts(&self, code: &str) -> (Value, Value) {
        let path = format!("/api/v1/stencils/{code}");
        let view = http::get(self.address, &path).await.expect("an answer").json();
        (view["strokes"].clone(), view["washes"].clone())
    }
}

/// Twelve strokes while nothing is known to be in the printer. Gives their event.
async fn print_unseen(floor: &mut Floor) -> u64 {
    floor.until("/api/v1/machines/printer", "/counters", json!({ "strokes": 100 })).await;
    total(&floor.plant, 112).await;
    floor.until("/api/v1/unattributed", "/strokes", json!(12)).await;
    floor.restart().await;
    floor.until("/api/v1/unattributed", "/strokes", json!(12)).await;
    floor.last(|event| matches!(event, Event::StrokesUnattributed { .. })).0
}

async fn assign(floor: &mut Floor, event: u64) {
    let path = format!("/api/v1/unattributed/{event}/assign");
    let shares = json!([{ "stencil": "ST-1", "strokes": 7 }, { "stencil": "ST-2", "strokes": 3 }]);
    let said = json!({ "shares": shares, "by": "technician", "why": "the line's book" });
    floor.post(&path, &said).await;
    floor.restart().await;
    let why = floor.refused(&path, &said).await;
    assert_eq!(why, "10 strokes are more than the 2 left open", "remembered across the restart");
    let rest = json!({ "write_off": 2, "by": "technician", "why": "the paste was kneaded" });
    floor.post(&path, &rest).await;
    assert_eq!(floor.counts("ST-1").await, (json!(7), json!(0)));
    assert_eq!(floor.counts("ST-2").await, (json!(53), json!(0)));
}

fn is_assigned_to(event: &Event, code: &str) -> bool {
    matches!(event, Event::StrokesAssigned { stencil, .. } if stencil.as_str() == code)
}

/// What was assigned, entered and washed was wrong in part.
async fn correct(floor: &mut Floor) {
    let assigned = floor.last(|event| is_assigned_to(event, "ST-1"));
    let path = format!("/api/v1/events/{}/correct", assigned.0);
    let shares = json!([{ "stencil": "ST-1", "strokes": 5 }, { "stencil": "ST-2", "strokes": 2 }]);
    floor.post(&path, &json!({ "shares": shares, "by": "manager", "why": "misread" })).await;
    floor.restart().await;
    let shares = json!([{ "stencil": "ST-1", "strokes": 6 }, { "stencil": "ST-2", "strokes": 1 }]);
    floor.post(&path, &json!({ "shares": shares, "by": "manager", "why": "counted again" })).await;
    assert_eq!(floor.counts("ST-1").await, (json!(6), json!(0)));
    assert_eq!(floor.counts("ST-2").await, (json!(54), json!(0)));

    let entered =
        json!({ "machine": "printer", "strokes": 40, "by": "operator", "why": "a proof print" });
    floor.post("/api/v1/stencils/ST-1/strokes", &entered).await;
    let booked = floor.last(|event| matches!(event, Event::StrokesBooked { .. }));
    let path = format!("/api/v1/events/{}/correct", booked.0);
    let shares = json!([{ "stencil": "ST-2", "strokes": 4 }]);
    floor.post(&path, &json!({ "shares": shares, "by": "manager", "why": "4, on ST-2" })).await;
    assert_eq!(floor.counts("ST-1").await.0, 6);
    assert_eq!(floor.counts("ST-2").await.0, 58);

    floor.post("/api/v1/stencils/ST-2/wash", &json!({ "by": "operator" })).await;
    assert_eq!(floor.counts("ST-2").await, (json!(58), json!(1)));
    let wash = floor.last(|event| matches!(event, Event::WashEnded { .. }));
    let path = format!("/api/v1/events/{}/correct", wash.0);
    let annul = json!({ "wash": true, "by": "operator", "why": "it was ST-1" });
    floor.post(&path, &annul).await;
    floor.restart().await;
    let again = floor.refused(&path, &annul).await;
    assert!(again.contains("annulled already"), "{again}");
    let registered = floor.last(|event| {
        matches!(event, Event::StencilRegistered { spec, .. } if spec.stencil.as_str() == "ST-2")
    });
    let path = format!("/api/v1/events/{}/correct", registered.0);
    let shares = json!([{ "stencil": "ST-2", "strokes": 45 }]);
    floor.post(&path, &json!({ "shares": shares, "by": "manager", "why": "old book" })).await;
    assert_eq!(floor.counts("ST-2").await, (json!(53), json!(0)));
    let beyond = "/api/v1/events/1000000/correct";
    let why = floor.refused(beyond, &annul).await;
    assert!(why.starts_with("there is no event #1000000: the ledger ends at #"), "{why}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_stroke_is_accounted_for_after_second_thoughts() {
    let mut floor = Floor::new().await;
    floor.until("/api/v1/machines/printer", "/link", json!("up")).await;
    let event = print_unseen(&mut floor).await;
    assign(&mut floor, event).await;
    correct(&mut floor).await;

    let metrics = http::get(floor.address, "/metrics").await.expect("metrics").body;
    for line in [
        "stencilward_unattributed_strokes{machine=\"printer\"} 0",
        "stencilward_assigned_strokes_total 10",
        "stencilward_written_off_strokes_total 2",
        "stencilward_stroke_corrections_total 7",
    ] {
        assert!(metrics.lines().any(|known| known == line), "no {line:?} in\n{metrics}");
    }
    assert!(floor.gateway.stop().success(), "{}", floor.gateway.transcript());
    let events = ledger_read::events(&floor.ledger()).await;
    let code = |code: &str| StencilCode::new(code).expect("a code");
    assert_eq!((by_ledger(&events, &code("ST-1")), by_ledger(&events, &code("ST-2"))), (6, 53));
    // Twelve by the printer's counter and four by hand, in other words those of the stencils
    // that were not there at the start, and those that are nobody's.
    assert_eq!(6 + 53 - 45 + written_off(&events), 12 + 4);
}

/// A stencil's strokes, added up by hand from the events alone.
fn by_ledger(events: &[Event], code: &StencilCode) -> u64 {
    events.iter().fold(0, |sum, event| match event {
        Event::StencilRegistered { spec, starting_strokes, .. } if spec.stencil == *code => {
            sum + starting_strokes
        }
        Event::StrokesBooked { stencil, count, .. }
        | Event::StrokesAssigned { stencil, count, .. }
            if stencil == code =>
        {
            sum + count
        }
        Event::StrokesCorrected { stencil, was, is, .. } if stencil == code => sum + is - was,
        _ => sum,
    })
}

fn written_off(events: &[Event]) -> u64 {
    let counts = events.iter().map(|event| match event {
        Event::StrokesWrittenOff { count, .. } => *count,
        _ => 0,
    });
    counts.sum()
}
