//! Sparkplug B with peers that are not ours: a printer's edge node, and a host application.
//!
//! Sources: Sparkplug 3.0.0 (ISO/IEC 20237:2023); protobuf 7.36 and paho-mqtt 2.2 (PyPI) and
//! Mosquitto 2 (Debian) as independent implementations of protobuf and MQTT 3.1.1.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::sparkplug::{self, Payload};
use stencilward_domain::event::Event;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::mosquitto::{Mosquitto, Persistence};
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};

const LIMIT: Duration = Duration::from_secs(30);

struct Plant {
    broker: Mosquitto,
    folder: tempfile::TempDir,
    address: SocketAddr,
}

impl Plant {
    async fn new() -> Option<Self> {
        let broker = Mosquitto::start(Persistence::Off).await?;
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        Some(Self { broker, folder: tempfile::tempdir().expect("a folder"), address })
    }

    async fn peer(&self, script: &str, more: &[&str]) -> Option<Peer> {
        let port = self.broker.port().to_string();
        let mut args = vec!["--host", self.broker.host(), "--port", &port];
        args.extend(more);
        Peer::start(script, &args).await
    }

    fn file(&self, rest: &str) -> PathBuf {
        let Self { broker, address, folder } = self;
        let (host, port) = (broker.host(), broker.port());
        let text = format!(
            "site: Invented Works\nlisten: {address}\nledger: sparkplug.db\n\
             policy: {{ printing: {{ needs-take: false }} }}\n\
             stencils:\n\
             \x20 - {{ code: ST-1, rated-strokes: 1000, clean: true }}\n\
             \x20 - {{ code: ST/2, rated-strokes: 1000, product: P-7 }}\n\
             brokers: [{{ name: floor, address: \"{host}:{port}\", client: gateway }}]\n{rest}"
        );
        let file = folder.path().join("sparkplug.yaml");
        std::fs::write(&file, text).expect("the folder takes a file");
        file
    }

    async fn view(&self, path: &str) -> Value {
        http::get(self.address, path).await.map_or(Value::Null, |answer| answer.json())
    }

    async fn strokes(&self, wanted: u64) {
        eventually(&format!("ST-1 has made {wanted} strokes"), LIMIT, async || {
            let view = self.view("/api/v1/stencils/ST-1").await;
            if view["strokes"] == json!(wanted) { Ok(()) } else { Err(view) }
        })
        .await;
    }

    async fn link(&self, wanted: &str) -> Value {
        eventually(&format!("the printer's link is {wanted}"), LIMIT, async || {
            let view = self.view("/api/v1/machines/printer").await;
            if view["link"] == wanted { Ok(view) } else { Err(view) }
        })
        .await
    }
}

fn run(file: &Path) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(file);
    Child::start(&command)
}

const PRINTER: &str = "\
sparkplug: [{ broker: floor, host-id: stencilward, reorder-timeout: 1s }]
machines:
  - name: printer
    kind: printer
    fastest-cycle: 10ms
    sparkplug:
      broker: floor
      group: Hall
      edge-node: Line 1
      device: Printer
      metrics:
        - { signal: stencil-seated, name: Stencil }
        - { signal: stroke-total, name: Strokes, width: 64 }
      outputs:
        - { name: lock, drive: print-permit, metric: Print Permit }
";

/// Birth, data, order, gap and rebirth, history, deaths, restarts: every stroke is booked once.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_outside_edge_node_loses_no_stroke() {
    let Some(plant) = Plant::new().await else { return };
    let Some(mut node) = plant.peer("sparkplug_node.py", &["--host-id", "stencilward"]).await
    else {
        return;
    };
    let file = plant.file(PRINTER);
    let mut gateway = run(&file);
    node.ask(json!({"do": "connect"}), "born", LIMIT).await;
    plant.link("up").await;
    node.ask(json!({"do": "seat", "code": "ST-1"}), "seated", LIMIT).await;
    assert_eq!(node.hear("permit", LIMIT).await["on"], true);

    node.ask(json!({"do": "print", "strokes": 5}), "printed", LIMIT).await;
    plant.strokes(5).await;
    node.ask(json!({"do": "swap"}), "swapped", LIMIT).await;
    node.ask(json!({"do": "past"}), "told", LIMIT).await;
    node.ask(json!({"do": "print", "strokes": 1}), "printed", LIMIT).await;
    plant.strokes(8).await;
    node.ask(json!({"do": "lose"}), "lost", LIMIT).await;
    node.ask(json!({"do": "print", "strokes": 1}), "printed", LIMIT).await;
    node.hear("reborn", LIMIT).await;
    plant.strokes(10).await;
    node.ask(json!({"do": "late-death"}), "told", LIMIT).await;
    node.ask(json!({"do": "print", "strokes": 1}), "printed", LIMIT).await;
    plant.strokes(11).await;
    plant.link("up").await;

    gateway.kill();
    node.ask(json!({"do": "print", "strokes": 3}), "printed", LIMIT).await;
    gateway = run(&file);
    node.hear("reborn", LIMIT).await;
    plant.strokes(14).await;

    node.ask(json!({"do": "cut"}), "cut", LIMIT).await;
    let why = plant.link("down").await["why_down"].to_string();
    assert!(why.contains("Line 1 has died"), "{why}");
    node.ask(json!({"do": "count", "strokes": 4}), "counted", LIMIT).await;
    assert_eq!(node.ask(json!({"do": "connect"}), "born", LIMIT).await["bdSeq"], 1);
    plant.strokes(18).await;

    let tally = node.ask(json!({"do": "tally"}), "tally", LIMIT).await;
    let status = gateway.stop();
    assert!(status.success(), "{status}: {}", gateway.transcript());
    eventually("the gateway refused and said that it went", LIMIT, async || {
        let tally = node.ask(json!({"do": "tally"}), "tally", LIMIT).await;
        if tally["permit"] == false { Ok(()) } else { Err(tally) }
    })
    .await;
    let (mut booked, mut unattributed) = (0, 0);
    for event in &ledger_read::events(&plant.folder.path().join("sparkplug.db")).await {
        match event {
            Event::StrokesBooked { count, .. } => booked += count,
            Event::StrokesUnattributed { count, .. } => unattributed += count,
            _ => {}
        }
    }
    assert_eq!((json!(booked), unattributed), (tally["strokes"].clone(), 0));
}

/// The gateway's state as a host application, as an edge node sees it: there, gone when killed,
/// gone when stopped (host-topic-phid-birth-*, -death-*).
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_host_says_whether_it_is_there() {
    let Some(plant) = Plant::new().await else { return };
    let Some(mut node) = plant.peer("sparkplug_node.py", &["--host-id", "stencilward"]).await
    else {
        return;
    };
    let file = plant.file(PRINTER);
    node.ask(json!({"do": "connect"}), "born", LIMIT).await;
    for killed in [true, false] {
        let mut gateway = run(&file);
        let birth = until_host(&mut node, true).await;
        plant.link("up").await;
        if killed {
            gateway.kill();
            let death = until_host(&mut node, false).await;
            assert_eq!(death["timestamp"], birth["timestamp"], "the will's time is the birth's");
        } else {
            assert!(gateway.stop().success(), "{}", gateway.transcript());
            let death = until_host(&mut node, false).await;
            assert!(death["timestamp"].as_u64() >= birth["timestamp"].as_u64());
        }
    }
}

async fn until_host(node: &mut Peer, online: bool) -> Value {
    loop {
        let state = node.hear("host", LIMIT).await;
        if state["online"] == online {
            return state;
        }
    }
}

const SHOWN: &str = "\
sparkplug: [{ broker: floor, publish-as: { group: Plant, edge-node: Stencils } }]
machines: [{ name: bench, kind: printer, strokes: { book: hand } }]
";

/// Birth, data by exception, rebirth on command, death by will, death on leave, as an outside host
/// judges them.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_outside_host_sees_the_stencils() {
    let Some(plant) = Plant::new().await else { return };
    let reader = ["--group", "Plant", "--node", "Stencils"];
    let Some(mut host) = plant.peer("sparkplug_host.py", &reader).await else { return };
    let file = plant.file(SHOWN);
    let mut gateway = run(&file);
    assert_eq!(host.hear("birth", LIMIT).await["bdSeq"], 0);
    for _ in 0..2 {
        host.hear("device", LIMIT).await;
    }
    let picture = host.ask(json!({"do": "picture"}), "picture", LIMIT).await;
    let (one, other) = (&picture["devices"]["ST-1"], &picture["devices"]["ST%2F2"]);
    assert_eq!((&one["Cleanliness"], &one["Strokes"]), (&json!("clean"), &json!(0)), "{picture}");
    assert_eq!((&one["Standing"], &one["Product"]), (&json!("released"), &Value::Null));
    assert_eq!(other["Product"], "P-7");
    assert_eq!(picture["node"]["Stencils"], 2);
    assert_eq!(picture["node"]["Machines/bench/Up"], false);

    let strokes = json!({"strokes": 40, "machine": "bench", "by": "operator", "why": "no counter"});
    let booked =
        http::post(plant.address, "/api/v1/stencils/ST-1/strokes", &strokes).await.unwrap();
    assert_eq!(booked.status, 200, "{:?}", booked.json());
    eventually("the strokes are shown", LIMIT, async || {
        let picture = host.ask(json!({"do": "picture"}), "picture", LIMIT).await;
        let stencil = &picture["devices"]["ST-1"];
        let shown = stencil["Strokes"] == 40 && stencil["Cleanliness"] == "printed";
        if shown { Ok(()) } else { Err(picture) }
    })
    .await;

    host.ask(json!({"do": "rebirth"}), "asked", LIMIT).await;
    assert_eq!(host.hear("birth", LIMIT).await["bdSeq"], 0, "no new connection, no new number");
    gateway.kill();
    assert_eq!(host.hear("death", LIMIT).await["bdSeq"], 0);
    let mut gateway = run(&file);
    assert_eq!(host.hear("birth", LIMIT).await["bdSeq"], 1, "numbers go on after a restart");
    for _ in 0..2 {
        host.hear("device", LIMIT).await;
    }
    let picture = host.ask(json!({"do": "picture"}), "picture", LIMIT).await;
    assert_eq!(picture["devices"]["ST-1"]["Strokes"], 40);
    assert!(gateway.stop().success(), "{}", gateway.transcript());
    assert_eq!(host.hear("death", LIMIT).await["bdSeq"], 1);
}

/// message-flow-edge-node-birth-publish-phid-wait, -phid-offline.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_primary_host_is_waited_for() {
    let Some(plant) = Plant::new().await else { return };
    let reader = ["--group", "Plant", "--node", "Stencils"];
    let Some(mut host) = plant.peer("sparkplug_host.py", &reader).await else { return };
    let waits = SHOWN.replace("Stencils }", "Stencils, primary-host: reader }");
    let mut gateway = run(&plant.file(&waits));
    eventually("the gateway is ready", LIMIT, async || {
        let view = plant.view("/api/v1/stencils/ST-1").await;
        if view["stencil"] == "ST-1" { Ok(()) } else { Err(view) }
    })
    .await;
    let picture = host.ask(json!({"do": "picture"}), "picture", LIMIT).await;
    assert_eq!(picture["births"], 0, "nothing is published before the primary host is there");
    for bd_seq in [0, 1] {
        host.ask(json!({"do": "online"}), "told", LIMIT).await;
        assert_eq!(host.hear("birth", LIMIT).await["bdSeq"], bd_seq);
        host.ask(json!({"do": "offline"}), "told", LIMIT).await;
        assert_eq!(host.hear("death", LIMIT).await["bdSeq"], bd_seq);
    }
    assert!(gateway.stop().success(), "{}", gateway.transcript());
}

/// Every field and kind of value, encoded by the one and decoded by the other, both ways.
#[tokio::test]
async fn payloads_are_those_of_another_implementation() {
    let Some(mut peer) = Peer::start("sparkplug_vectors.py", &[]).await else { return };
    let mut seen = 0;
    loop {
        let vector = peer.ask(json!({"do": "next"}), "vector", LIMIT).await;
        let Some(name) = vector["name"].as_str() else { break };
        let payload = Payload::read(&bytes(vector["hex"].as_str().unwrap())).unwrap();
        assert_eq!(told(&payload), vector["told"], "{name}");
        let hex: String = payload.bytes().iter().map(|byte| format!("{byte:02x}")).collect();
        let decoded = peer.ask(json!({"do": "decode", "hex": hex}), "decoded", LIMIT).await;
        assert_eq!(decoded["told"], vector["told"], "{name}, encoded by us");
        seen += 1;
    }
    assert_eq!(seen, 4);
}

fn bytes(hex: &str) -> Vec<u8> {
    let digits: Vec<u32> = hex.chars().filter_map(|c| c.to_digit(16)).collect();
    digits.chunks(2).map(|pair| u8::try_from(pair[0] * 16 + pair[1]).expect("two digits")).collect()
}

fn told(payload: &Payload) -> Value {
    use sparkplug::Value as Sent;
    let hex = |bytes: &[u8]| json!(bytes.iter().map(|b| format!("{b:02x}")).collect::<String>());
    let metrics = payload.metrics.iter().map(|metric| {
        let is_null = metric.is_null == Some(true);
        let (kind, value) = match &metric.value {
            None => (Value::Null, Value::Null),
            Some(Sent::Int(value)) => (json!("int_value"), json!(value)),
            Some(Sent::Long(value)) => (json!("long_value"), json!(value)),
            Some(Sent::Float(value)) => (json!("float_value"), json!(value)),
            Some(Sent::Double(value)) => (json!("double_value"), json!(value)),
            Some(Sent::Boolean(value)) => (json!("boolean_value"), json!(value)),
            Some(Sent::String(value)) => (json!("string_value"), json!(value)),
            Some(Sent::Bytes(value)) => (json!("bytes_value"), hex(value)),
            Some(Sent::DataSet(value)) => (json!("dataset_value"), hex(value)),
            Some(Sent::Template(value)) => (json!("template_value"), hex(value)),
            Some(Sent::Extension(value)) => (json!("extension_value"), hex(value)),
        };
        json!({
            "name": metric.name, "alias": metric.alias, "datatype": metric.datatype,
            "kind": kind, "value": value, "null": is_null,
            "historical": metric.is_historical == Some(true),
        })
    });
    let metrics: Vec<Value> = metrics.collect();
    json!({ "timestamp": payload.timestamp, "seq": payload.seq, "metrics": metrics })
}
