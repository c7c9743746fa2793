//! A plant of a hundred stencils, two racks that speak and four printers that do not, and its
//! gateway with a ledger on the disk.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::net::SocketAddr;
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_domain::event::Recorded;
use stencilward_domain::names::{SlotName, StencilCode};
use stencilward_domain::signal::Said;
use stencilward_service::plant::Plant;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http::{self, Answer};
use stencilward_tests::ledger_read;
use stencilward_tests::wait::eventually;
use tempfile::TempDir;
use tokio::sync::Mutex;

pub(crate) const STENCILS: u64 = 100;
pub(crate) const PRINTERS: u64 = 4;
/// Slots of both racks.
pub(crate) const SLOTS: u64 = 60;
const LIMIT: Duration = Duration::from_secs(30);

pub(crate) struct Works {
    folder: TempDir,
    pub(crate) address: SocketAddr,
    plant: Plant,
    gateway: Child,
    /// What really lies in each slot. Who moves something holds the rack.
    racks: Mutex<BTreeMap<u64, u64>>,
    told: std::sync::atomic::AtomicU64,
}

pub(crate) fn code(number: u64) -> String {
    format!("ST-{number:03}")
}

pub(crate) fn printer(number: u64) -> String {
    format!("printer-{number}")
}

/// Its rack and name.
pub(crate) fn slot(number: u64) -> (String, String) {
    (format!("rack-{}", number % 2), format!("S{number}"))
}

/// Where a stencil lies as the day begins.
pub(crate) fn first_slot(stencil: u64) -> Option<u64> {
    stencil.is_multiple_of(2).then_some(stencil / 2)
}

fn configuration() -> String {
    let mut text = "
site: Invented Works
policy: { permit: 1h, wash: { by-hand: true } }
brokers: [{ name: floor, address: '127.0.0.1:1', client: operators-test }]
machines:
"
    .to_owned();
    for number in 0..2 {
        let name = format!("rack-{number}");
        let line = |signal, event| {
            format!(
                "        - {{ topic: {name}/slots, signal: {signal}, when: {{ /event: {event} }}, \
                 slot: /slot, stencil: /stencil, identity: /id }}\n"
            )
        };
        let _ = write!(
            text,
            "  - name: {name}\n    kind: rack\n    mqtt:\n      broker: floor\n      messages:\n{}{}",
            line("slot-occupied", "occupied"),
            line("slot-emptied", "emptied")
        );
    }
    for number in 0..PRINTERS {
        let name = printer(number);
        let _ = writeln!(text, "  - {{ name: {name}, kind: printer, strokes: {{ book: hand }} }}");
    }
    text.push_str("stencils:\n");
    for number in 0..STENCILS {
        let code = code(number);
        let _ = writeln!(text, "  - {{ code: {code}, rated-strokes: 1000000, clean: true }}");
    }
    text
}

impl Works {
    pub(crate) async fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        let parsed = stencilward_config::parse("plant.yaml", &configuration());
        let mut configuration = parsed.unwrap_or_else(|faults| panic!("{faults:?}"));
        configuration.listen = address.to_string();
        configuration.ledger = folder.path().join("plant.db");
        let plant = Plant::start(configuration).await.unwrap();
        let file = folder.path().join("plant.yaml");
        std::fs::write(&file, serde_yaml::to_string(&plant.configuration).unwrap()).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg("run").arg(file);
        let gateway = Child::start(&command);
        let (racks, told) = (Mutex::default(), 0.into());
        let works = Self { folder, address, plant, gateway, racks, told };
        for rack in ["rack-0", "rack-1"] {
            works.until(&format!("/api/v1/machines/{rack}"), |seen| seen["link"] == "up").await;
        }
        for stencil in 0..STENCILS {
            if let Some(slot) = first_slot(stencil) {
                works.put_in(stencil, slot).await;
            }
        }
        works
            .until("/api/v1/stencils", |seen| {
                let all = seen["stencils"].as_array().cloned().unwrap_or_default();
                let stored =
                    all.iter().filter(|one| one["place"]["place"] == "slot").count() as u64;
                stored == STENCILS.div_ceil(2)
            })
            .await;
        works
    }

    async fn until(&self, path: &str, wanted: impl Fn(&Value) -> bool) {
        eventually(path, LIMIT, async || {
            let seen = http::get(self.address, path).await;
            let seen = seen.map_or(Value::Null, |answer| answer.json());
            if wanted(&seen) { Ok(()) } else { Err(seen) }
        })
        .await;
    }

    /// Stops the gateway in order and gives what its ledger has.
    pub(crate) async fn stop(mut self) -> Vec<Recorded> {
        assert!(self.gateway.stop().success(), "{}", self.gateway.transcript());
        ledger_read::recorded(&self.folder.path().join("plant.db")).await
    }

    pub(crate) async fn post(&self, path: &str, body: &Value) -> Answer {
        http::post(self.address, path, body).await.expect("an answer")
    }

    /// Sends a form as a page does.
    pub(crate) async fn form(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body: Vec<String> =
            fields.iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
        let (body, address) = (body.join("&"), self.address);
        let request = format!(
            "POST {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        );
        let answer = http::send(address, &request).await.expect("an answer");
        assert_eq!(answer.status, 200, "{path} {body}: {}", answer.body);
        answer
    }

    pub(crate) async fn look(&self, stencil: u64) -> Value {
        let path = format!("/api/v1/stencils/{}", code(stencil));
        http::get(self.address, &path).await.expect("an answer").json()
    }

    /// Puts a stencil into a slot, if it is in none and the slot is empty; the rack says so.
    pub(crate) async fn put_in(&self, stencil: u64, number: u64) -> bool {
        let mut racks = self.racks.lock().await;
        if racks.contains_key(&number) || racks.values().any(|held| *held == stencil) {
            return false;
        }
        racks.insert(number, stencil);
        let name = SlotName::new(&slot(number).1).unwrap();
        let code = Some(StencilCode::new(&code(stencil)).unwrap());
        self.say(number, Said::SlotOccupied { slot: name, code }).await;
        true
    }

    /// Takes a stencil out of the slot that it is in; the rack says so.
    pub(crate) async fn take_out(&self, stencil: u64) -> Option<u64> {
        let mut racks = self.racks.lock().await;
        let number = *racks.iter().find(|(_, held)| **held == stencil)?.0;
        racks.remove(&number);
        let name = SlotName::new(&slot(number).1).unwrap();
        let code = Some(StencilCode::new(&code(stencil)).unwrap());
        self.say(number, Said::SlotEmptied { slot: name, code }).await;
        Some(number)
    }

    async fn say(&self, number: u64, said: Said) {
        let (_, rack) = self.plant.machine(&slot(number).0).unwrap();
        let id = self.told.fetch_add(1, std::sync::atomic::Ordering::SeqCst).to_string();
        rack.say(&said, Some(&id)).await.unwrap();
    }

    /// As `curl -d` would.
    pub(crate) async fn act(&self, stencil: u64, action: &str, by: &str, more: Value) -> Answer {
        let mut body = json!({ "by": by });
        body.as_object_mut().unwrap().extend(more.as_object().cloned().unwrap_or_default());
        self.post(&format!("/api/v1/stencils/{}/{action}", code(stencil)), &body).await
    }
}

fn escaped(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'-' | b'0'..=b'9' | b'A'..=b'Z' | b'a'..=b'z' => char::from(byte).to_string(),
            byte => format!("%{byte:02X}"),
        })
        .collect()
}
