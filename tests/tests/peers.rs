//! The story with peers that are not ours: a pymodbus server as printer, Mosquitto as broker, a
//! paho client as washer and rack.
//!
//! Sources: pymodbus 3.16 and paho-mqtt 2.2 (PyPI), Mosquitto 2 (Debian), as independent
//! implementations of Modbus TCP and MQTT 3.1.1.

use std::net::SocketAddr;
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_domain::event::{Event, Noted};
use stencilward_domain::signal::WashOutcome;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::mosquitto::{Mosquitto, Persistence};
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};

const LIMIT: Duration = Duration::from_secs(30);

fn configuration(printer: u64, broker: &str, address: SocketAddr) -> String {
    format!(
        r#"
site: Invented Works
listen: {address}
ledger: peers.db
policy: {{ permit: 20s }}
stencils:
  - {{ code: ST-1, rated-strokes: 100, strokes-so-far: 50, clean: true }}
  - {{ code: ST-2, rated-strokes: 1000, clean: true }}
brokers:
  - {{ name: floor, address: "{broker}", client: gateway }}
machines:
  - name: printer
    kind: printer
    fastest-cycle: 10ms
    modbus:
      address: 127.0.0.1:{printer}
      poll: 100ms
      points:
        - {{ signal: stroke-total, table: holding, at: 1, type: u32, words: high-first }}
        - {{ signal: machine-state, table: holding, at: 0, type: u16, values: {{ 0: idle, 1: running, 2: set-up, 3: down }} }}
        - {{ signal: stencil-seated, table: holding, at: 10, type: text, registers: 16 }}
      outputs:
        - {{ name: lock, drive: print-permit, table: coil, at: 0 }}
        - {{ name: alive, drive: heartbeat, table: holding, at: 4 }}
  - name: rack
    kind: rack
    mqtt:
      broker: floor
      messages:
        - {{ topic: rack/ask, signal: store-asked, when: {{ /want: store }}, stencil: /stencil, slot: /slot, identity: /request, answer: rack/answer }}
        - {{ topic: rack/ask, signal: take-asked, when: {{ /want: take }}, stencil: /stencil, order: /order, destination: /destination, identity: /request, answer: rack/answer }}
        - {{ topic: rack/slots, signal: slot-occupied, when: {{ /event: occupied }}, slot: /slot, stencil: /stencil, identity: /id }}
        - {{ topic: rack/slots, signal: slot-emptied, when: {{ /event: emptied }}, slot: /slot, stencil: /stencil, identity: /id }}
      outputs:
        - {{ name: door, drive: door-release, topic: rack/door/set, permit: open, refuse: shut, read-back: rack/door }}
        - {{ name: alive, drive: heartbeat, topic: rack/heartbeat }}
  - name: washer
    kind: washer
    mqtt:
      broker: floor
      messages:
        - {{ topic: washer/events, signal: wash-began, when: {{ /event: began }}, stencil: /stencil, programme: /programme, identity: /id }}
        - {{ topic: washer/events, signal: wash-ended, when: {{ /event: ended }}, stencil: /stencil, programme: /programme, outcome: /result, outcomes: {{ ok: passed, nok: failed }}, identity: /id }}
"#
    )
}

struct Floor {
    printer: Peer,
    care: Peer,
    gateway: Child,
    address: SocketAddr,
}

impl Floor {
    async fn care(&mut self, command: Value, said: &str) -> Value {
        self.care.ask(command, said, LIMIT).await
    }

    async fn printer(&mut self, command: Value, said: &str) {
        self.printer.ask(command, said, LIMIT).await;
    }

    async fn stencil(&self, code: &str) -> Value {
        let path = format!("/api/v1/stencils/{code}");
        http::get(self.address, &path).await.expect("the gateway answers").json()
    }

    async fn until(&self, code: &str, key: &str, wanted: Value) {
        eventually(&format!("{key} of {code} is {wanted}"), LIMIT, async || {
            let stencil = self.stencil(code).await;
            if stencil[key] == wanted { Ok(()) } else { Err(stencil) }
        })
        .await;
    }

    async fn up(&self) {
        eventually("all machines are up", LIMIT, async || {
            let machines = http::get(self.address, "/api/v1/machines").await;
            let machines = machines.map_or(Value::Null, |answer| answer.json());
            let all = machines["machines"].as_array().cloned().unwrap_or_default();
            let up = all.len() == 3 && all.iter().all(|machine| machine["link"] == "up");
            if up { Ok(()) } else { Err(machines) }
        })
        .await;
    }
}

fn run(file: &std::path::Path) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(file);
    Child::start(&command)
}

fn codes(refusal: &Value) -> Vec<&str> {
    let reasons = refusal["reasons"].as_array().expect("a refusal has reasons");
    reasons.iter().filter_map(|reason| reason["code"].as_str()).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn outside_peers_live_through_the_same_story() {
    let Some(broker) = Mosquitto::start(Persistence::EachChange).await else {
        return;
    };
    let total = (u32::MAX - 20).to_string();
    let Some(printer) = Peer::start("modbus_printer.py", &["--total", &total]).await else {
        return;
    };
    let (host, port) = (broker.host().to_owned(), broker.port().to_string());
    let Some(care) = Peer::start("washer_and_rack.py", &["--host", &host, "--port", &port]).await
    else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let file = folder.path().join("peers.yaml");
    let port_of_printer = printer.ready()["port"].as_u64().expect("the printer's port");
    let text = configuration(port_of_printer, &format!("{host}:{port}"), address);
    std::fs::write(&file, text).unwrap();
    let mut floor = Floor { printer, care, gateway: run(&file), address };
    floor.up().await;

    story(&mut floor, &file).await;

    let tally = floor.printer.ask(json!({"do": "tally"}), "tally", LIMIT).await;
    let status = floor.gateway.stop();
    assert!(status.success(), "{status}: {}", floor.gateway.transcript());
    compare(&ledger_read::events(&folder.path().join("peers.db")).await, &tally);
}

/// Counted, refused unwashed, washed and stored, worn out, used under a concession, put back
/// without asking; the gateway killed in between.
async fn story(floor: &mut Floor, file: &std::path::Path) {
    for (stencil, slot) in [("ST-1", "A1"), ("ST-2", "A2")] {
        let store = json!({"do": "store", "stencil": stencil, "slot": slot});
        floor.care(store, "stored").await;
    }
    until_it_is_due_for_reorder(floor).await;
    let strokes = until_it_is_worn_out(floor, file).await;
    under_a_concession(floor, strokes).await;
    put_back_without_asking(floor).await;
}

async fn until_it_is_due_for_reorder(floor: &mut Floor) {
    fetch(floor).await;
    let print = json!({"do": "print", "strokes": 35, "cycle": 0.02, "patience": 3});
    floor.printer(print, "printed").await;
    floor.until("ST-1", "strokes", json!(85)).await;
    floor.until("ST-1", "wear_band", json!("reorder")).await;
    bring_away(floor).await;
    let store = json!({"do": "store", "stencil": "ST-1", "slot": "A1"});
    let refusal = floor.care(store, "refused").await;
    assert_eq!(codes(&refusal), ["unwashed"]);
    wash_and_store(floor).await;
}

/// The gateway is killed while it prints. Gives the strokes it had made then.
async fn until_it_is_worn_out(floor: &mut Floor, file: &std::path::Path) -> u64 {
    fetch(floor).await;
    floor.printer.tell(json!({"do": "print", "strokes": 18, "cycle": 0.3, "patience": 2}));
    floor.until("ST-1", "strokes", json!(87)).await;
    floor.gateway.kill();
    tokio::time::sleep(Duration::from_millis(900)).await;
    floor.gateway = run(file);
    let printed = floor.printer.hear("printed", LIMIT).await;
    let made = printed["made"].as_u64().expect("a number");
    assert!((14..=16).contains(&made), "the lock let {made} of 14 strokes through");
    floor.until("ST-1", "strokes", json!(85 + made)).await;
    floor.until("ST-1", "wear_band", json!("stopped")).await;
    bring_away(floor).await;
    wash_and_store(floor).await;
    let refusal = floor.care(json!({"do": "take", "stencil": "ST-1"}), "refused").await;
    assert_eq!(codes(&refusal), ["worn-out"]);
    85 + made
}

async fn under_a_concession(floor: &mut Floor, strokes: u64) {
    let grant = json!({"strokes": 6, "by": "manager", "why": "its successor is late"});
    let granted = http::post(floor.address, "/api/v1/stencils/ST-1/concession", &grant).await;
    assert_eq!(granted.expect("an answer").status, 200);
    fetch(floor).await;
    let print = json!({"do": "print", "strokes": 10, "cycle": 0.3, "patience": 2});
    let printed = floor.printer.ask(print, "printed", LIMIT).await;
    let used = printed["made"].as_u64().expect("a number");
    assert!((6..=8).contains(&used), "the lock let {used} of 6 strokes through");
    floor.until("ST-1", "strokes", json!(strokes + used)).await;
    bring_away(floor).await;
}

async fn put_back_without_asking(floor: &mut Floor) {
    floor.care(json!({"do": "force", "stencil": "ST-1", "slot": "A1"}), "forced").await;
    let slot = json!({"place": "slot", "rack": "rack", "slot": "A1"});
    floor.until("ST-1", "place", slot).await;
    let view = floor.stencil("ST-1").await;
    assert_eq!(view["cleanliness"], "printed", "a breach does not wash a stencil: {view}");
}

async fn fetch(floor: &mut Floor) {
    floor.care(json!({"do": "take", "stencil": "ST-1"}), "taken").await;
    floor.printer(json!({"do": "seat", "code": "ST-1"}), "seated").await;
}

async fn bring_away(floor: &mut Floor) {
    floor.printer(json!({"do": "remove"}), "removed").await;
    floor.until("ST-1", "place", json!({"place": "in-hand"})).await;
}

async fn wash_and_store(floor: &mut Floor) {
    let store = json!({"do": "store", "stencil": "ST-1", "slot": "A1"});
    floor.care(json!({"do": "wash", "stencil": "ST-1", "result": "nok"}), "washed").await;
    let refusal = floor.care(store.clone(), "refused").await;
    assert_eq!(codes(&refusal), ["unwashed"], "a wash that failed does not count");
    floor.care(json!({"do": "wash", "stencil": "ST-1"}), "washed").await;
    floor.care(store, "stored").await;
    floor.care(json!({"do": "repeat"}), "repeated").await;
}

fn compare(events: &[Event], tally: &Value) {
    let (mut booked, mut unattributed) = (0, 0);
    let (mut washes, mut failed, mut stored, mut taken, mut breaches) = (0, 0, 0, 0, 0);
    let mut doubts = 0;
    for event in events {
        match event {
            Event::StrokesBooked { count, .. } => booked += count,
            Event::StrokesUnattributed { count, .. } => unattributed += count,
            Event::WashEnded { outcome: WashOutcome::Passed, .. } => washes += 1,
            Event::WashEnded { .. } => failed += 1,
            Event::Stored { .. } => stored += 1,
            Event::Taken { permitted: true, .. } => taken += 1,
            Event::StorageBreached { .. } => breaches += 1,
            Event::CounterDoubted { .. } | Event::CounterNoted { why: Noted::Accepted, .. } => {
                doubts += 1;
            }
            _ => {}
        }
    }
    let strokes = &tally["tally"];
    let made: u64 = strokes.as_object().expect("a tally").values().filter_map(Value::as_u64).sum();
    assert_eq!(unattributed, 0, "nothing was uncertain");
    assert_eq!(booked, made, "the printer's own tally: {tally}");
    assert_eq!((washes, failed, stored, taken, breaches, doubts), (2, 2, 4, 3, 1, 0));
}
