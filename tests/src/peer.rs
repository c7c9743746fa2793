//! The Python peers in `tests/peers`: machines that follow other people's libraries.
//!
//! Commands go to them, and answers come back, as one JSON object a line.

use std::process::Command;
use std::time::Duration;

use serde_json::Value;

use crate::child::Child;
use crate::{python, root};

/// A running peer. Dropping it ends it.
#[derive(Debug)]
pub struct Peer {
    child: Child,
    ready: Value,
}

impl Peer {
    /// Starts the script of `tests/peers` and waits until it says `ready`; none, said aloud,
    /// when there is no Python with the libraries it needs.
    ///
    /// # Panics
    /// When it does not become ready, or with `CI=true` when it cannot be had.
    pub async fn start(script: &str, args: &[&str]) -> Option<Self> {
        let python = python::for_peers()?;
        let mut command = Command::new(python);
        command.args(["-u", "-B"]).arg(root().join("tests/peers").join(script)).args(args);
        let mut peer = Self { child: Child::start(&command), ready: Value::Null };
        peer.ready = peer.hear("ready", Duration::from_secs(20)).await;
        Some(peer)
    }

    /// What it said when it was ready, such as its `port`.
    #[must_use]
    pub fn ready(&self) -> &Value {
        &self.ready
    }

    /// Tells it to do something.
    ///
    /// # Panics
    /// When it has ended.
    #[expect(
        clippy::needless_pass_by_value,
        reason = "json!() at the call reads better than &json!()"
    )]
    pub fn tell(&mut self, command: Value) {
        self.child.tell(&command.to_string());
    }

    /// Its next line with this word under `said`.
    ///
    /// # Panics
    /// When it does not come within `limit`, or the peer finds a fault first.
    pub async fn hear(&mut self, said: &str, limit: Duration) -> Value {
        let what = format!("{said:?}");
        let line = self.child.line(&what, limit, |line| heard(line, said));
        match line.await {
            Ok(value) => value,
            Err(fault) => panic!("the peer found a fault before {what}: {fault}"),
        }
    }

    /// Tells it to do something and waits for the line with this word under `said`.
    ///
    /// # Panics
    /// Like [`Self::hear`].
    pub async fn ask(&mut self, command: Value, said: &str, limit: Duration) -> Value {
        self.tell(command);
        self.hear(said, limit).await
    }

    /// The program itself: to freeze it, to kill it, to see what it wrote.
    pub fn child(&mut self) -> &mut Child {
        &mut self.child
    }
}

fn heard(line: &str, said: &str) -> Option<Result<Value, Value>> {
    let value: Value = serde_json::from_str(line).ok()?;
    match value.get("said")?.as_str()? {
        word if word == said => Some(Ok(value)),
        "fault" => Some(Err(value)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::mosquitto::{Mosquitto, Persistence};

    const LIMIT: Duration = Duration::from_secs(10);

    #[tokio::test]
    async fn a_printer_refuses_strokes_without_a_permit() {
        let Some(mut printer) = Peer::start("modbus_printer.py", &[]).await else {
            return;
        };
        assert!(printer.ready()["port"].as_u64().is_some_and(|port| port > 0));
        printer.tell(json!({"do": "seat", "code": "ST-1"}));
        let lot = json!({"do": "print", "strokes": 3, "cycle": 0.001});
        let printed = printer.ask(lot, "printed", LIMIT).await;
        assert_eq!(printed["refused"], 3);
        assert_eq!(printed["tally"], json!({}));
    }

    #[tokio::test]
    async fn a_rack_waits_for_an_answer_that_never_comes() {
        let Some(broker) = Mosquitto::start(Persistence::Off).await else {
            return;
        };
        let port = broker.port().to_string();
        let args = ["--port", &port, "--patience", "0.1"];
        let Some(mut floor) = Peer::start("washer_and_rack.py", &args).await else {
            return;
        };
        let wash = json!({"do": "wash", "stencil": "ST-1"});
        assert_eq!(floor.ask(wash, "washed", LIMIT).await["washes"]["ST-1"], 1);
        let store = json!({"do": "store", "stencil": "ST-1", "slot": "A1"});
        floor.ask(store, "unanswered", LIMIT).await;
    }

    #[tokio::test]
    #[should_panic(expected = "no such command")]
    async fn a_fault_of_a_peer_fails_the_test() {
        let Some(mut printer) = Peer::start("modbus_printer.py", &[]).await else {
            panic!("no such command: there is no peer here");
        };
        printer.ask(json!({"do": "fly"}), "flown", LIMIT).await;
    }
}
