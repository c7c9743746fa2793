//! A machine of another library is commanded and answers: through everything that may happen to
//! gateway, broker and machine a command is carried out once, and shown as done only when it is.
//!
//! Sources: MQTT 3.1.1 and 5.0 (OASIS), of 5.0 sections 3.3.2.3.3, 3.3.2.3.5, 3.3.2.3.6 and 4.10;
//! paho-mqtt 2.2 (PyPI), Mosquitto 2 (Debian).

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::PathBuf;

use serde_json::{Value, json};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http;
use stencilward_tests::mosquitto::{Mosquitto, Persistence};
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;
use tempfile::TempDir;

use crate::works::{LIMIT, run};

/// A broker, a commanded printer and a gateway.
struct Hall {
    broker: Mosquitto,
    printer: Peer,
    gateway: Child,
    address: SocketAddr,
    folder: TempDir,
    /// In seconds; what the broker may withhold after that.
    expiry: Value,
    /// What each number commanded.
    commands: BTreeMap<u64, String>,
}

/// A command as the printer heard it.
struct Told {
    number: u64,
    repeat: bool,
    moves: u64,
}

impl Hall {
    /// None, said aloud, where a peer is missing.
    async fn start(version: &str) -> Option<Self> {
        let broker = Mosquitto::start(Persistence::OnStop).await?;
        let port = broker.port().to_string();
        let place = ["--host", broker.host(), "--port", &port, "--version", version];
        let topics = ["--do", "p/do", "--done", "p/done"];
        let printer = Peer::start("mqtt_commanded.py", &[&place[..], &topics].concat()).await?;
        let folder = tempfile::tempdir().unwrap();
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        let file = folder.path().join("hall.yaml");
        std::fs::write(&file, configuration(&broker, version, address, "500ms")).unwrap();
        let gateway = run(&file);
        let expiry = if version == "5.0" { json!(1) } else { Value::Null };
        let commands = BTreeMap::new();
        Some(Self { broker, printer, gateway, address, folder, expiry, commands })
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("hall.yaml")
    }

    /// The next command. A number never means two things, and none is retained.
    async fn told(&mut self, door: &str) -> Told {
        loop {
            let told = self.printer.hear("told", LIMIT).await;
            assert_eq!((&told["retained"], &told["qos"]), (&json!(false), &json!(1)), "{told}");
            assert_eq!(told["expiry"], self.expiry, "{told}");
            let (number, what) = (told["number"].as_u64().unwrap(), told["door"].as_str().unwrap());
            let known = self.commands.entry(number).or_insert_with(|| what.to_owned());
            assert_eq!(known, what, "{told}");
            if what == door {
                let moves = told["moves"].as_u64().unwrap();
                return Told { number, repeat: told["repeat"] == true, moves };
            }
        }
    }

    /// The next command of another number than this.
    async fn told_after(&mut self, number: u64, door: &str) -> Told {
        loop {
            let told = self.told(door).await;
            if told.number != number {
                assert!(told.number > number, "{} is not after {number}", told.number);
                return told;
            }
        }
    }

    async fn behave(&mut self, how: &str) {
        self.printer.ask(json!({ "do": "behave", "how": how }), "behaves", LIMIT).await;
    }

    async fn ask(&self, path: &str, mut body: Value) {
        body["by"] = json!("a technician");
        eventually(path, LIMIT, async || match http::post(self.address, path, &body).await {
            Some(answer) if answer.status == 200 => Ok(()),
            other => Err(other.map_or_else(String::new, |answer| answer.body)),
        })
        .await;
    }

    /// Puts the stencil on hold, or releases it: so the printer is refused, or permitted.
    async fn permit(&self, permits: bool) {
        let action = if permits { "release" } else { "hold" };
        self.ask(&format!("/api/v1/stencils/ST-1/{action}"), json!({ "why": "a test" })).await;
    }

    async fn metric(&self, line: &str) -> Option<String> {
        let metrics = http::get(self.address, "/metrics").await?.body;
        metrics.lines().find_map(|text| text.strip_prefix(line)).map(str::to_owned)
    }

    /// Waits until this is shown; none where it is not known.
    async fn shows(&self, expected: Option<&str>) {
        eventually(&format!("{expected:?} is shown"), LIMIT, async || {
            let line = "stencilward_output_shown{machine=\"printer\",output=\"door\"} ";
            let shown = self.metric(line).await;
            if shown.as_deref() == expected { Ok(()) } else { Err(format!("{shown:?}")) }
        })
        .await;
    }

    async fn troubled(&self, kind: &str) {
        let line =
            format!("stencilward_link_troubles_total{{kind=\"{kind}\",machine=\"printer\"}} ");
        eventually(kind, LIMIT, async || {
            let told = self.metric(&line).await;
            if told.as_ref().is_some_and(|told| told != "0") {
                Ok(())
            } else {
                Err(format!("{told:?}"))
            }
        })
        .await;
    }
}

async fn obeys_through_everything(version: &str) {
    let Some(mut hall) = Hall::start(version).await else { return };
    let first = hall.told("shut").await;
    hall.shows(Some("0")).await;
    hall.ask("/api/v1/machines/printer/seat", json!({ "stencil": "ST-1" })).await;
    let open = hall.told_after(first.number, "open").await;
    hall.shows(Some("1")).await;

    hall.behave("mute").await;
    hall.permit(false).await;
    let shut = hall.told_after(open.number, "shut").await;
    assert_eq!((shut.repeat, shut.moves), (false, open.moves + 1));
    hall.shows(None).await;
    let again = hall.told("shut").await;
    assert_eq!((again.number, again.repeat, again.moves), (shut.number, true, shut.moves));
    hall.troubled("timed-out").await;
    hall.gateway.kill();
    hall.behave("obey").await;
    hall.gateway = run(&hall.file());
    let restarted = hall.told_after(shut.number, "shut").await;
    hall.shows(Some("0")).await;

    hall.broker.stop().await;
    hall.shows(None).await;
    hall.broker.again().await;
    let restored = hall.told("shut").await;
    assert_eq!((restored.number, restored.repeat), (restarted.number, true));
    assert_eq!(restored.moves, restarted.moves, "it was carried out once");
    hall.shows(Some("0")).await;

    hall.behave("rubbish").await;
    hall.permit(true).await;
    let open = hall.told_after(restored.number, "open").await;
    hall.shows(Some("1")).await;
    for kind in ["stale", "senseless"] {
        hall.troubled(kind).await;
    }

    hall.behave("refuse").await;
    hall.permit(false).await;
    let refused = hall.told_after(open.number, "shut").await;
    hall.troubled("disobeyed").await;
    hall.shows(Some("1")).await;
    hall.behave("obey").await;
    let shut = hall.told_after(refused.number, "shut").await;
    hall.shows(Some("0")).await;

    let text = configuration(&hall.broker, version, hall.address, "900ms");
    std::fs::write(hall.file(), text).unwrap();
    hall.ask("/api/v1/reload", json!({})).await;
    let reloaded = hall.told_after(shut.number, "shut").await;
    hall.permit(true).await;
    let open = hall.told_after(reloaded.number, "open").await;
    hall.shows(Some("1")).await;
    let status = hall.gateway.stop();
    assert!(status.success(), "{status}: {}", hall.gateway.transcript());
    hall.told_after(open.number, "shut").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_commanded_machine_of_mqtt_3_1_1() {
    obeys_through_everything("3.1.1").await;
}

/// The number is told and given back as correlation data alone.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_commanded_machine_of_mqtt_5_0() {
    obeys_through_everything("5.0").await;
}

fn configuration(broker: &Mosquitto, version: &str, listen: SocketAddr, within: &str) -> String {
    let (host, port) = (broker.host(), broker.port());
    let (command, answer) = if version == "5.0" {
        ("permit: open, refuse: shut", "")
    } else {
        (
            r#"number: /no, permit: '{"door": "open"}', refuse: '{"door": "shut"}'"#,
            "number: /no, value: /result, text: /why, ",
        )
    };
    format!(
        r#"
site: Invented Works
listen: {listen}
ledger: hall.db
policy: {{ printing: {{ needs-take: false }} }}
stencils: [{{ code: ST-1, rated-strokes: 1000, clean: true }}]
brokers:
  - {{ name: floor, address: "{host}:{port}", client: gateway, version: "{version}", keep-alive: 2s }}
machines:
  - name: printer
    kind: printer
    fastest-cycle: 1s
    mqtt:
      broker: floor
      messages: [{{ topic: p/strokes, signal: stroke-total, width: 32 }}]
      outputs:
        - {{ name: door, drive: print-permit, topic: p/do, {command}, answer: {{ topic: p/done, {answer}done: [ok], refused: [denied], within: {within} }} }}
"#
    )
}
