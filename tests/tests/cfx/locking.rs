//! A station of other people's making is locked and unlocked. Each request is checked by the rules
//! of `tests/peers/cfx_rules.py` before it is answered.

use serde_json::{Value, json};
use stencilward_tests::child::Signal;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http;
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;

use crate::direct::seat;
use crate::plant::{GATEWAY, LIMIT, Plant};

const PRINTER: &str = "Invented.Printer.SN1";
const LOCK: &str = "CFX.Production.LockStationRequest";
const UNLOCK: &str = "CFX.Production.UnlockStationRequest";

/// A gateway that locks a printer, the printer's own listener, and how it speaks.
struct Floor {
    plant: Plant,
    station: Peer,
    says: Peer,
    port: u16,
}

async fn station(port: u16) -> Option<Peer> {
    let arguments = ["--port", &port.to_string(), "--handle", PRINTER];
    Peer::start("cfx_station.py", &arguments).await
}

async fn floor() -> Option<Floor> {
    floor_with("obeying").await
}

/// The same with a station of this manner.
async fn floor_with(manner: &str) -> Option<Floor> {
    let (port, listening) = (free_port(), free_port());
    let mut station = station(port).await?;
    station.ask(json!({ "do": "be", "manner": manner }), "is", LIMIT).await;
    let plant = Plant::with(
        &format!("    listen: {{ address: \"127.0.0.1:{listening}\" }}\n"),
        &format!(
            "requests: {{ address: \"127.0.0.1:{port}\", within: 1s }}\n      outputs: [{{ name: \
             lock, drive: print-permit, by: lock-station, lane: 1 }}]"
        ),
    );
    let address = format!("amqp://127.0.0.1:{listening}");
    eventually("the gateway listens", LIMIT, async || {
        std::net::TcpStream::connect(("127.0.0.1", listening)).map(drop)
    })
    .await;
    let says = Peer::start("cfx_endpoint.py", &["--address", &address]).await?;
    Some(Floor { plant, station, says, port })
}

impl Floor {
    /// What the metrics say of the lock: what is wanted, and what is shown, if it is known.
    async fn shown(&self, wanted: &str, shown: &str) {
        let line = |word: &str, value: &str| {
            format!("stencilward_output_{word}{{machine=\"printer-1\",output=\"lock\"}} {value}")
        };
        let lines = (line("wanted", wanted), line("shown", shown));
        eventually(&format!("{lines:?}"), LIMIT, async || {
            let text = self.metrics().await;
            let has = |wanted: &String| text.lines().any(|line| line == wanted);
            if has(&lines.0) && has(&lines.1) { Ok(()) } else { Err(text) }
        })
        .await;
    }

    async fn metrics(&self) -> String {
        let answer = http::get(self.plant.address, "/metrics").await;
        answer.map(|answer| answer.body).unwrap_or_default()
    }

    async fn be(&mut self, manner: &str) {
        self.station.ask(json!({ "do": "be", "manner": manner }), "is", LIMIT).await;
    }

    /// The next request of this name, answered in this manner.
    async fn asked(&mut self, name: &str, manner: &str) -> Value {
        loop {
            let asked = self.station.hear("asked", LIMIT).await;
            if asked["name"] == name && asked["manner"] == manner {
                return asked["envelope"].clone();
            }
        }
    }

    async fn logged(&self, words: &str) {
        eventually(&format!("told: {words}"), LIMIT, async || {
            let log = self.plant.gateway.transcript();
            if log.contains(words) { Ok(()) } else { Err(log) }
        })
        .await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_station_is_unlocked_for_a_clean_stencil_and_locked_when_the_gateway_stops() {
    let Some(mut floor) = floor().await else { return };
    let asked = floor.asked(LOCK, "obeying").await;
    let body = &asked["MessageBody"];
    assert_eq!((&body["Lane"], &body["Stage"]), (&json!(1), &json!(null)));
    assert_eq!(body["Reason"], "QualityIssue");
    assert_eq!(body["Requestor"]["OperatorIdentifier"], GATEWAY);
    assert_eq!((&asked["Source"], &asked["Target"]), (&json!(GATEWAY), &json!(PRINTER)));
    floor.shown("0", "0").await;
    seat(&mut floor.says, GATEWAY).await;
    floor.asked(UNLOCK, "obeying").await;
    floor.shown("1", "1").await;
    floor.plant.gateway.stop();
    floor.asked(LOCK, "obeying").await;
}

/// A station that answers so unlocks nothing, is told so, and is asked again.
async fn no_success(manner: &str, words: &str) {
    let Some(mut floor) = floor().await else { return };
    floor.asked(LOCK, "obeying").await;
    floor.shown("0", "0").await;
    floor.be(manner).await;
    seat(&mut floor.says, GATEWAY).await;
    let first = floor.asked(UNLOCK, manner).await;
    floor.logged(words).await;
    let again = floor.asked(UNLOCK, manner).await;
    assert_ne!(first["UniqueID"], again["UniqueID"], "each message has its own");
    let unlocked = "output_shown{machine=\"printer-1\",output=\"lock\"} 1";
    assert!(!floor.metrics().await.contains(unlocked), "{manner}");
    floor.be("obeying").await;
    floor.shown("1", "1").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_no_success_unlocks_nothing_and_is_asked_again() {
    tokio::join!(
        no_success("not-supported", "does not support this request"),
        no_success("warning", "answers Warning"),
        no_success("partial", "answers PartialSuccess"),
        no_success("failed", "answers Failed"),
        no_success("silent", "no answer came within 1s"),
        no_success("rejecting", "knows the link for answers"),
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_station_that_dies_is_unknown_and_asked_again_when_it_comes_back() {
    let Some(mut floor) = floor().await else { return };
    seat(&mut floor.says, GATEWAY).await;
    floor.asked(UNLOCK, "obeying").await;
    floor.shown("1", "1").await;
    floor.station.child().kill();
    floor.logged("output lock").await;
    let Some(back) = station(floor.port).await else { return };
    floor.station = back;
    floor.asked(UNLOCK, "obeying").await;
    floor.shown("1", "1").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_silent_station_does_not_hold_up_the_stop() {
    let Some(mut floor) = floor_with("silent").await else { return };
    floor.asked(LOCK, "silent").await;
    floor.plant.gateway.stop();
    let log = floor.plant.gateway.transcript();
    assert!(log.contains("everything taken in is durable"), "{log}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_station_that_freezes_is_unknown_until_it_answers_again() {
    let Some(mut floor) = floor().await else { return };
    seat(&mut floor.says, GATEWAY).await;
    floor.asked(UNLOCK, "obeying").await;
    floor.shown("1", "1").await;
    floor.station.child().signal(Signal::STOP);
    floor.logged("output lock").await;
    let unlocked = "output_shown{machine=\"printer-1\",output=\"lock\"}";
    eventually("nothing is shown of it", LIMIT, async || {
        let text = floor.metrics().await;
        if text.contains(unlocked) { Err(text) } else { Ok(()) }
    })
    .await;
    // proton 0.40 itself breaks when it goes on after its connection has ended.
    floor.station.child().kill();
    let Some(back) = station(floor.port).await else { return };
    floor.station = back;
    floor.asked(UNLOCK, "obeying").await;
    floor.shown("1", "1").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_killed_gateway_knows_nothing_of_a_lock_and_asks_again() {
    let Some(mut floor) = floor().await else { return };
    seat(&mut floor.says, GATEWAY).await;
    floor.asked(UNLOCK, "obeying").await;
    floor.shown("1", "1").await;
    floor.plant.gateway.signal(Signal::KILL);
    floor.plant.gateway.exit(LIMIT).await;
    floor.plant.again();
    // Whatever it wants by then, it asks for it again before it says that it is so.
    let asked = floor.station.hear("asked", LIMIT).await;
    assert!(asked["name"] == LOCK || asked["name"] == UNLOCK, "{asked}");
}
