//! A works of three printers behind taps, and a gateway that runs from a file.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::simulated::Simulated;
use stencilward_domain::event::Event;
use stencilward_domain::names::{CounterName, OutputName, StencilCode};
use stencilward_domain::signal::{Reading, Said, Width};
use stencilward_service::gateway::{DRAIN, Gateway};
use stencilward_service::plant::Plant;
use stencilward_tests::http::{self, Answer};
use stencilward_tests::ledger_read;
use stencilward_tests::wait::eventually;

use super::tap::Tap;

pub(crate) const LIMIT: Duration = Duration::from_secs(30);

const CONFIGURATION: &str = "\
site: Invented Works
listen: 127.0.0.1:0
ledger: works.db
policy: { printing: { needs-take: false } }
stencils:
  - { code: ST-1, rated-strokes: 1000, clean: true }
  - { code: ST-2, rated-strokes: 1000, clean: true }
  - { code: ST-3, rated-strokes: 1000, clean: true }
machines:
";

fn machine(name: &str, address: &str) -> String {
    format!(
        "  - name: {name}
    kind: printer
    fastest-cycle: 1ms
    modbus:
      address: {address}
      poll: 20ms
      points:
        - {{ signal: stroke-total, table: input, at: 0, type: u16 }}
        - {{ signal: stencil-seated, table: holding, at: 10, type: text, registers: 4 }}
      outputs:
        - {{ name: print-lock, drive: print-permit, table: coil, at: 0 }}
"
    )
}

/// Three printers, their taps, the file and the gateway.
pub(crate) struct Works {
    pub(crate) file: PathBuf,
    pub(crate) taps: BTreeMap<String, Tap>,
    plant: Plant,
    gateway: Gateway,
    folder: tempfile::TempDir,
}

impl Works {
    /// With all three printers; those named are in the file.
    pub(crate) async fn with(named: &[&str]) -> Self {
        let all = ["printer-1", "printer-2", "printer-3"];
        // Machines of one address would be one line.
        let ports = all.iter().zip(1..);
        let text: String =
            ports.map(|(name, port)| machine(name, &format!("127.0.0.1:{port}"))).collect();
        let drawn = stencilward_config::parse("works.yaml", &format!("{CONFIGURATION}{text}"));
        let plant = Plant::start(drawn.expect("a good configuration")).await.expect("a plant");
        let mut taps = BTreeMap::new();
        for machine in &plant.configuration.machines {
            let modbus = machine.modbus.as_ref().expect("it speaks Modbus");
            let tap = Tap::before(
                modbus.address.as_deref().expect("it has one").parse().expect("an address"),
            )
            .await;
            taps.insert(machine.name.clone(), tap);
        }
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("works.yaml");
        let listed = named.iter().map(|name| entry(&taps, name)).collect::<String>();
        std::fs::write(&file, format!("{CONFIGURATION}{listed}")).expect("written");
        let configuration = stencilward_config::load(&file).expect("a good file");
        let gateway = Gateway::start_from(&file, &configuration).await.expect("a gateway");
        let works = Self { file, taps, plant, gateway, folder };
        for name in named {
            works.up(name).await;
        }
        works
    }

    /// The entry of a machine, as the file has it.
    pub(crate) fn entry(&self, name: &str) -> String {
        entry(&self.taps, name)
    }

    /// Changes the file's text.
    pub(crate) fn edit(&self, from: &str, to: &str) {
        let text = std::fs::read_to_string(&self.file).expect("read");
        assert!(text.contains(from), "{from:?} is not in the file");
        std::fs::write(&self.file, text.replacen(from, to, 1)).expect("written");
    }

    pub(crate) fn address(&self) -> SocketAddr {
        self.gateway.address()
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        http::get(self.address(), path).await.expect("an answer")
    }

    pub(crate) async fn post(&self, path: &str, body: &Value) -> Answer {
        http::post(self.address(), path, body).await.expect("an answer")
    }

    /// Reloads, and it is done.
    pub(crate) async fn reload(&self) -> Value {
        let answer = self.post("/api/v1/reload", &json!({ "by": "the test" })).await;
        assert_eq!(answer.status, 200, "{}", answer.body);
        answer.json()
    }

    pub(crate) fn machine(&self, name: &str) -> Arc<dyn Simulated> {
        self.plant.machine(name).expect("a machine").1
    }

    pub(crate) async fn seats(&self, name: &str, code: &str) {
        let code = StencilCode::new(code).expect("a code");
        self.machine(name).say(&Said::Seated { code }, None).await.expect("it can say so");
    }

    pub(crate) async fn counts(&self, name: &str, raw: u64) {
        let counter = CounterName::new("strokes").expect("a name");
        let (width, reading) = (Width::Bits16, Reading::Polled);
        let said = Said::CounterRead { counter, raw, width, reading };
        self.machine(name).say(&said, None).await.expect("it can say so");
    }

    /// Waits until its print lock is open, or shut.
    pub(crate) async fn lock(&self, name: &str, open: bool) {
        let output = OutputName::new("print-lock").expect("a name");
        let mut shown = self.machine(name).output(&output).expect("it has a lock");
        let follows = shown.wait_for(|shown| *shown == open);
        let followed = tokio::time::timeout(LIMIT, follows).await;
        followed.expect("the lock follows").expect("the machine is there");
    }

    /// What the gateway shows of a machine once `is` is true of it.
    pub(crate) async fn shows(&self, name: &str, is: impl Fn(&Value) -> bool) -> Value {
        let path = format!("/api/v1/machines/{name}");
        eventually(&format!("{name} is shown so"), LIMIT, async || {
            let shown = self.get(&path).await.json();
            if is(&shown) { Ok(shown) } else { Err(shown) }
        })
        .await
    }

    pub(crate) async fn up(&self, name: &str) {
        self.shows(name, |machine| machine["link"] == "up").await;
    }

    /// Strokes booked to a stencil.
    pub(crate) async fn booked(&self, code: &str, strokes: u64) {
        let path = format!("/api/v1/stencils/{code}");
        eventually(&format!("{code} has {strokes} strokes"), LIMIT, async || {
            let shown = self.get(&path).await.json();
            if shown["strokes"] == strokes { Ok(()) } else { Err(shown) }
        })
        .await;
    }

    /// Stops the gateway and gives what is in its ledger.
    pub(crate) async fn stop(self) -> Vec<Event> {
        let left = self.gateway.stop(DRAIN).await.expect("it stops");
        assert_eq!((left.links, left.unwritten), (0, 0));
        ledger_read::events(&self.folder.path().join("works.db")).await
    }

    /// Stops the gateway and starts it again from the file.
    pub(crate) async fn restart(self) -> Self {
        let Self { file, taps, plant, gateway, folder } = self;
        gateway.stop(DRAIN).await.expect("it stops");
        let configuration = stencilward_config::load(&file).expect("a good file");
        let gateway = Gateway::start_from(&file, &configuration).await.expect("a gateway");
        Self { file, taps, plant, gateway, folder }
    }
}

fn entry(taps: &BTreeMap<String, Tap>, name: &str) -> String {
    machine(name, &taps[name].address.to_string())
}
