//! A gateway that hears the machines of the messages, and what it makes of them.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_domain::event::{Event, Recorded};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read, root};

pub(crate) const LIMIT: Duration = Duration::from_secs(60);

/// The gateway's handle.
pub(crate) const GATEWAY: &str = "Invented.Gateway.1";

pub(crate) struct Plant {
    pub(crate) folder: tempfile::TempDir,
    pub(crate) address: SocketAddr,
    file: PathBuf,
    pub(crate) gateway: Child,
}

/// The messages, one after the other as they are to be sent.
pub(crate) fn envelopes() -> Vec<Value> {
    let file = root().join("tests/peers/cfx_messages.json");
    let messages: Vec<Value> = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
    messages.into_iter().map(|message| message["envelope"].clone()).collect()
}

impl Plant {
    /// A gateway whose endpoint is reached so.
    pub(crate) fn start(endpoint: &str) -> Self {
        // Questions come to a listener only.
        let asks = if endpoint.contains("listen:") { ASKS } else { "" };
        Self::with(endpoint, asks)
    }

    /// The same, with these settings of the printer.
    pub(crate) fn with(endpoint: &str, asks: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        std::fs::write(folder.path().join("password"), "invented\n").unwrap();
        let password = folder.path().join("password");
        let endpoint = endpoint.replace("$PASSWORD", &password.to_string_lossy());
        let machines = MACHINES.replace("$ASKS", asks);
        let text = format!(
            "site: Invented Works\nlisten: {address}\nledger: cfx.db\n\
             policy: {{ printing: {{ needs-take: false }}, counting: {{ late-after: 1s }}, \
             alarms: {{ machine-fault: {{ on-delay: 1s, off-delay: 1s }} }} }}\n\
             stencils:\n\
             \x20 - {{ code: ST-1, rated-strokes: 100000, clean: true }}\n\
             \x20 - {{ code: ST-2, rated-strokes: 100000, clean: true }}\n\
             cfx:\n  - name: floor\n    handle: {GATEWAY}\n{endpoint}{machines}"
        );
        let file = folder.path().join("cfx.yaml");
        std::fs::write(&file, text).unwrap();
        let gateway = run(&file);
        Self { folder, address, file, gateway }
    }

    /// Starts it again, as a watchman would.
    pub(crate) fn again(&mut self) {
        self.gateway = run(&self.file);
    }

    pub(crate) async fn view(&self, path: &str) -> Value {
        http::get(self.address, path).await.map_or(Value::Null, |answer| answer.json())
    }

    /// Waits until a stencil has made so many strokes.
    pub(crate) async fn strokes(&self, code: &str, wanted: u64) {
        let path = format!("/api/v1/stencils/{code}");
        eventually(&format!("{code} has made {wanted} strokes"), LIMIT, async || {
            let view = self.view(&path).await;
            if view["strokes"] == json!(wanted) { Ok(()) } else { Err(view) }
        })
        .await;
    }

    /// Waits until the machine's link is so.
    pub(crate) async fn link(&self, machine: &str, wanted: &str) {
        let path = format!("/api/v1/machines/{machine}");
        eventually(&format!("the link of {machine} is {wanted}"), LIMIT, async || {
            let view = self.view(&path).await;
            if view["link"] == wanted { Ok(()) } else { Err(view) }
        })
        .await;
    }

    /// Stops the gateway in order, and reads what it made of everything.
    pub(crate) async fn events(&mut self) -> Vec<Recorded> {
        self.gateway.stop();
        ledger_read::recorded(&self.folder.path().join("cfx.db")).await
    }
}

fn run(file: &std::path::Path) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(file);
    Child::start(&command)
}

const ASKS: &str = "tool-check: take
      outputs: [{ name: next, drive: print-permit, by: unit-validation }]";

const MACHINES: &str = "
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 1ms
    cfx:
      endpoint: floor
      handle: Invented.Printer.SN1
      signals: [strokes-done, wipes-done, stencil-seated, machine-state, faults, order-started]
      strokes-from: units-processed
      $ASKS
  - name: printer-2
    kind: printer
    fastest-cycle: 1ms
    cfx:
      endpoint: floor
      handle: Invented.Printer.SN3
      signals: [strokes-done, stencil-seated]
      strokes-from: tools-used
  - name: washer-1
    kind: washer
    cfx: { endpoint: floor, handle: Invented.Washer.SN2, signals: [washes] }
  - name: orders
    kind: other
    cfx: { endpoint: floor, handle: Invented.Lines.MES1, signals: [order-released] }
";

/// The kinds of events about machines and stencils that the messages lead to, in their order.
pub(crate) fn story(events: &[Recorded]) -> Vec<String> {
    let told = events.iter().filter_map(|recorded| {
        let event = &recorded.fact.event;
        let kind = serde_json::to_value(event).unwrap();
        let kind = kind["event"].as_str().unwrap_or_default().to_owned();
        match event {
            Event::Seated { stencil, machine, .. } | Event::Removed { stencil, machine, .. } => {
                Some(format!("{kind} {stencil} {machine}"))
            }
            Event::StrokesBooked { stencil, count, .. } => {
                Some(format!("{kind} {stencil} {count}"))
            }
            Event::WipesCounted { stencil, count, .. } => {
                let stencil = stencil.as_ref().map(ToString::to_string).unwrap_or_default();
                Some(format!("{kind} {stencil} {count}"))
            }
            Event::WashBegan { stencil, .. } => Some(format!("{kind} {stencil}")),
            Event::WashEnded { stencil, outcome, measured, .. } => {
                Some(format!("{kind} {stencil} {} {}", outcome.as_str(), measured.len()))
            }
            Event::MachineStateChanged { word, .. } => Some(format!("{kind} {word}")),
            Event::FaultRaised { .. } | Event::FaultEnded { .. } => Some(kind),
            Event::OrderReleased { spec, .. } => {
                Some(format!("{kind} {} {:?}", spec.order, spec.quantity))
            }
            Event::OrderStarted { spec, .. } => Some(format!("{kind} {}", spec.order)),
            _ => None,
        }
    });
    told.collect()
}

/// What all messages lead to, sent once, one after the other.
pub(crate) const STORY: [&str; 18] = [
    "fault-raised",
    "fault-ended",
    "machine-state-changed 2200",
    "machine-state-changed 1100",
    "order-released WO-1001 Some(240)",
    "order-released WO-1001 Some(260)",
    "order-released WO-1001 Some(280)",
    "order-released WO-1001 Some(280)",
    "seated ST-1 printer-1",
    "order-started WO-1001",
    "strokes-booked ST-1 2",
    "wipes-counted ST-1 1",
    "fault-raised",
    "fault-ended",
    "seated ST-2 printer-2",
    "strokes-booked ST-2 3",
    "removed ST-1 printer-1",
    "wash-began ST-1",
];

/// And last.
pub(crate) const WASHED: &str = "wash-ended ST-1 passed 4";

/// Sends all messages, and says what became of each.
pub(crate) async fn send_all(peer: &mut Peer, target: &str, more: Value) -> Vec<String> {
    let mut command = json!({ "do": "send", "target": target, "envelopes": envelopes() });
    command.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    let sent = peer.ask(command, "sent", LIMIT).await;
    let outcomes = sent["outcomes"].as_array().unwrap().iter();
    outcomes.map(|outcome| outcome.as_str().unwrap().to_owned()).collect()
}
