//! The running program keeps accounts a manager can sign: a printer that only closes a contact, an
//! order dropped as a file, an outage in which the stencil was changed, a person's second
//! thoughts, and a report whose every number is added up anew from the events it names.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::simulated::Simulated;
use stencilward_domain::event::{Event, LikelyCause};
use stencilward_domain::names::{CounterName, StencilCode};
use stencilward_domain::signal::{Reading, Said, Width};
use stencilward_service::plant::Plant;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};

const BY: &str = "M. Example";
const WHY: &str = "the line's book says so";
const LIMIT: Duration = Duration::from_secs(30);

const CONFIGURATION: &str = r#"
site: Invented Works
policy: { printing: { needs-take: false }, counting: { trusted-outage: 0s }, cost: { currency: EUR, wash: 1.50 } }
brokers:
  - { name: floor, address: "127.0.0.1:1", client: accounts-test }
machines:
  # It only closes a contact, which an I/O module counts; people scan what is in it.
  - { name: press, kind: printer, line: line-1, fastest-cycle: 1ms }
  - name: module
    kind: other
    counts-for: press
    modbus:
      address: 127.0.0.1:1
      poll: 50ms
      points:
        - { signal: stroke-total, table: input, at: 0, type: u16 }
  # It tells its total, and its orders say what that should be.
  - name: printer
    kind: printer
    line: line-2
    fastest-cycle: 1ms
    strokes: { book: counter, check: [order] }
    mqtt:
      broker: floor
      messages:
        - { topic: p/total, signal: stroke-total, value: /total, width: 32 }
        - { topic: p/stencil, signal: stencil-seated, stencil: /code }
  - { name: planning, kind: other, files: { folder: orders, poll: 100ms, settle: 100ms } }
"#;

/// Two stencils in use before the gateway, two new ones; one row is wrong in the first list.
const STENCILS: &str = "stencil,product,side,rated_strokes,strokes_so_far,source,clean,price,lead_days\r\n\
    ST-1,\"Heron, rev. B\",top,10000,1200,card file,true,240.00,14\r\n\
    ST-2,\"Heron, rev. B\",top,10000,0,,true,240.00,14\r\n\
    ST-3,Teal,top,10000,0,,true,180.00,\r\n";

struct Works {
    folder: tempfile::TempDir,
    address: SocketAddr,
    plant: Plant,
    file: PathBuf,
}

impl Works {
    async fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        let file = folder.path().join("plant.yaml");
        std::fs::write(&file, CONFIGURATION).expect("a file");
        let mut configuration = stencilward_config::load(&file).expect("a good configuration");
        configuration.listen = address.to_string();
        configuration.ledger = folder.path().join("accounts.db");
        let plant = Plant::start(configuration).await.expect("a plant");
        let written = serde_yaml::to_string(&plant.configuration).expect("YAML");
        std::fs::write(&file, written).expect("a file");
        Self { folder, address, plant, file }
    }

    /// The folder that orders are dropped into.
    fn orders(&self) -> &Path {
        let files = self.plant.configuration.machines.iter().find_map(|m| m.files.as_ref());
        &files.expect("a machine that drops orders").folder
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn machine(&self, name: &str) -> Arc<dyn Simulated> {
        self.plant.machine(name).expect("a machine of the plant").1
    }

    fn command(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        let (name, rest) = arguments.split_first().expect("a command");
        command.arg(name).arg(&self.file).args(rest).output().expect("the program runs")
    }

    /// A report of the running gateway's ledger.
    fn report(&self, arguments: &[&str]) -> Value {
        let output = self.command(&[&["report"], arguments, &["--form", "json"]].concat());
        assert!(output.status.success(), "{}", text(&output));
        serde_json::from_slice(&output.stdout).expect("JSON")
    }

    fn start(&self) -> Child {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg("run").arg(&self.file);
        Child::start(&command)
    }

    async fn get(&self, path: &str) -> Value {
        http::get(self.address, path).await.map(|answer| answer.json()).unwrap_or_default()
    }

    async fn post(&self, path: &str, body: Value) -> Value {
        let answer = http::post(self.address, path, &body).await.expect("an answer");
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        answer.json()
    }

    async fn until(&self, what: &str, path: &str, holds: impl Fn(&Value) -> bool) -> Value {
        eventually(what, LIMIT, async || {
            let seen = self.get(path).await;
            if holds(&seen) { Ok(seen) } else { Err(seen.to_string()) }
        })
        .await
    }

    async fn until_strokes(&self, code: &str, strokes: u64) {
        let path = format!("/api/v1/stencils/{code}");
        self.until("the strokes are booked", &path, |stencil| stencil["strokes"] == strokes).await;
    }

    /// Waits until its total was read and handed over: one that did not change is handed over once
    /// a second, and a round takes 50 ms at the least.
    async fn read_again(&self, machine: &str) {
        let sample = format!("stencilward_link_rounds_total{{machine=\"{machine}\"");
        let rounds = async || {
            let text = http::get(self.address, "/metrics").await?.body;
            let line = text.lines().find(|line| line.starts_with(&sample))?;
            line.rsplit(' ').next()?.parse::<f64>().ok()
        };
        let before = rounds().await.expect("rounds are counted");
        eventually("it is read again", LIMIT, async || match rounds().await {
            Some(now) if now >= before + 25.0 => Ok(()),
            other => Err(format!("{other:?}, {before} before")),
        })
        .await;
    }

    async fn up(&self, machine: &str) {
        let path = format!("/api/v1/machines/{machine}");
        self.until("its link is up", &path, |machine| machine["link"] == "up").await;
    }
}

async fn pulses(module: &Arc<dyn Simulated>, raw: u64) {
    let counter = CounterName::new("strokes").expect("a name");
    let (width, reading) = (Width::Bits16, Reading::Polled);
    module.say(&Said::CounterRead { counter, raw, width, reading }, None).await.expect("it says");
}

async fn total(printer: &Arc<dyn Simulated>, raw: u64) {
    let counter = CounterName::new("strokes").expect("a name");
    let (width, reading) = (Width::Bits32, Reading::Reported);
    printer.say(&Said::CounterRead { counter, raw, width, reading }, None).await.expect("it says");
}

fn text(output: &Output) -> String {
    let all = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    String::from_utf8_lossy(&all).into_owned()
}

/// The list comes in through the running gateway, once its wrong row is mended.
fn takes_in_stencils(works: &Works) {
    let wrong = works.path("wrong.csv");
    let bad =
        STENCILS.replace("ST-2,\"Heron, rev. B\",top,10000", "ST-2,\"Heron, rev. B\",up,many");
    std::fs::write(&wrong, bad).expect("a file");
    let output = works.command(&["import", wrong.to_str().expect("plain letters"), "--dry-run"]);
    let told = text(&output);
    assert!(!output.status.success(), "{told}");
    assert!(
        told.contains("side") && told.contains("rated_strokes") && told.contains('3'),
        "{told}"
    );
    let list = works.path("stencils.csv");
    std::fs::write(&list, STENCILS).expect("a file");
    let output = works.command(&["import", list.to_str().expect("plain letters")]);
    assert!(output.status.success(), "{}", text(&output));
}

/// A file dropped into the folder becomes orders, and lies in `done` afterwards.
async fn takes_in_orders(works: &Works) {
    let rows =
        "order,product,side,quantity,panels_per_stroke,stencils\r\nWO-1,Teal,top,100,1,ST-3\r\n";
    std::fs::write(works.orders().join("monday.csv"), rows).expect("a file");
    works
        .until("the order is known", "/api/v1/orders", |orders| {
            orders["orders"].as_array().is_some_and(|orders| orders.len() == 1)
        })
        .await;
    eventually("the file is moved", LIMIT, async || {
        let done = std::fs::read_dir(works.orders().join("done")).map(Iterator::count);
        if matches!(done, Ok(1)) && !works.orders().join("monday.csv").exists() {
            Ok(())
        } else {
            Err(format!("{done:?}"))
        }
    })
    .await;
}

/// The contact's strokes go to what people scanned. Those of an outage in which nobody looked are
/// left open, until a person splits them.
async fn counts_a_contact(works: &Works, gateway: &mut Child) {
    let module = works.machine("module");
    works.up("module").await;
    works.post("/api/v1/machines/press/seat", json!({ "stencil": "ST-1", "by": BY })).await;
    pulses(&module, 140).await;
    works.until_strokes("ST-1", 1_200 + 40).await;
    gateway.kill();
    pulses(&module, 150).await;
    *gateway = works.start();
    let open =
        works.until("the ten are open", "/api/v1/unattributed", |open| open["strokes"] == 10).await;
    works.post("/api/v1/machines/press/seat", json!({ "stencil": "ST-2", "by": BY })).await;
    let event = &open["unattributed"][0]["event"];
    let shares = json!([{ "stencil": "ST-1", "strokes": 4 }, { "stencil": "ST-2", "strokes": 5 }]);
    let body = json!({ "shares": shares, "write_off": 1, "by": BY, "why": "one was a test" });
    works.post(&format!("/api/v1/unattributed/{event}/assign"), body).await;
    works.until_strokes("ST-1", 1_244).await;
    works.until_strokes("ST-2", 5).await;
    works.read_again("module").await;
    pulses(&module, 170).await;
    works.until_strokes("ST-2", 25).await;
}

/// Each panel is printed twice, which the order does not say.
async fn compares_an_order(works: &Works) {
    let printer = works.machine("printer");
    works.up("printer").await;
    let code = StencilCode::new("ST-3").expect("a code");
    total(&printer, 5_000).await;
    printer.say(&Said::Seated { code }, None).await.expect("it says");
    works.until("it is seated", "/api/v1/machines/printer", |p| p["stencil"] == "ST-3").await;
    let order = json!({ "order": "WO-1", "by": BY });
    works.post("/api/v1/machines/printer/start", order.clone()).await;
    for stroke in 1..=200 {
        total(&printer, 5_000 + stroke).await;
    }
    works.until_strokes("ST-3", 200).await;
    works.post("/api/v1/machines/printer/finish", order).await;
}

/// A person says that the last stroke was none, and enters what was printed by hand.
async fn thinks_again(works: &Works) {
    let events = works.report(&["wear", "--stencil", "ST-3", "--events"]);
    let booking = cited(&events, "ST-3", "strokes").last().copied().expect("a booking");
    let wrong = json!({ "shares": [], "by": BY, "why": WHY });
    works.post(&format!("/api/v1/events/{booking}/correct"), wrong).await;
    let hand = json!({ "machine": "press", "strokes": 7, "by": BY, "why": "printed by hand" });
    works.post("/api/v1/stencils/ST-2/strokes", hand).await;
    works.until_strokes("ST-3", 199).await;
    works.until_strokes("ST-2", 32).await;
}

/// The events that a stencil's number names.
fn cited(report: &Value, stencil: &str, column: &str) -> Vec<u64> {
    let rows = report["tables"][0]["rows"].as_array().expect("rows");
    let row = rows.iter().find(|row| row["stencil"]["value"] == stencil).expect("its row");
    let events = row[column]["events"].as_array().expect("events");
    events.iter().filter_map(Value::as_u64).collect()
}

/// What the events say that a number names, added up here once more.
fn strokes_of(events: &[Event], cited: &[u64]) -> i64 {
    let signed = |count: u64| i64::try_from(count).expect("a small number");
    cited
        .iter()
        .map(|position| match &events[usize::try_from(*position).expect("small") - 1] {
            Event::StrokesBooked { count, .. } | Event::StrokesAssigned { count, .. } => {
                signed(*count)
            }
            Event::StrokesCorrected { was, is, .. } => signed(*is) - signed(*was),
            Event::StencilRegistered { starting_strokes, .. } => signed(*starting_strokes),
            other => unreachable!("{other:?} makes no strokes"),
        })
        .sum()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_stroke_has_its_stencil_its_basis_and_its_reason() {
    let works = Works::new().await;
    pulses(&works.machine("module"), 100).await;
    let mut gateway = works.start();
    works.until("it answers", "/api/v1/machines", |all| all["machines"].is_array()).await;
    takes_in_stencils(&works);
    takes_in_orders(&works).await;
    counts_a_contact(&works, &mut gateway).await;
    compares_an_order(&works).await;
    thinks_again(&works).await;

    let report = works.report(&["wear", "--events"]);
    let findings = works.report(&["findings"]).to_string();
    assert!(findings.contains("several times"), "{findings}");
    assert!(gateway.stop().success(), "{}", gateway.transcript());
    let events = ledger_read::events(&works.path("accounts.db")).await;
    for (stencil, strokes) in [("ST-1", 1_244), ("ST-2", 32), ("ST-3", 199)] {
        assert_eq!(strokes_of(&events, &cited(&report, stencil, "strokes")), strokes, "{stencil}");
    }
    let disagreed = events.iter().any(|event| {
        matches!(event, Event::BasesDisagreed { booked: 200, checked: 100, likely, .. }
            if *likely == LikelyCause::DoublePrint)
    });
    assert!(disagreed, "the order was printed twice");
}
