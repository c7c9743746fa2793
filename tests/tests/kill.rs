//! `kill -9` on the gateway at random moments while machines in another process work on: every
//! stroke is in the ledger, once.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use stencilward_config::Configuration;
use stencilward_domain::event::Event;
use stencilward_domain::names::{CounterName, MachineName, OutputName, StencilCode};
use stencilward_domain::signal::Width;
use stencilward_service::demo::printer::{Counting, Printer};
use stencilward_service::plant::Plant;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::seed::Chance;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};
use tokio::task::JoinHandle;
use tokio::time::sleep;

const KILLS: u32 = 10;
/// Strokes after which every 16-bit total has gone past zero and was read since.
const WRAPPED: u64 = 80;
const LIMIT: Duration = Duration::from_secs(30);

const CONFIGURATION: &str = r#"
site: Invented Works
policy: { printing: { needs-take: false }, wash: { dry-out: 1h } }
stencils:
  - { code: ST-1, rated-strokes: 1000000, clean: true }
  - { code: ST-2, rated-strokes: 1000000, clean: true }
  - { code: ST-3, rated-strokes: 1000000, clean: true }
brokers:
  - { name: floor, address: "127.0.0.1:1", client: kill-test }
machines:
  - name: totals-over-modbus
    kind: printer
    fastest-cycle: 10ms
    modbus:
      address: 127.0.0.1:1
      poll: 100ms
      points:
        - { signal: stroke-total, table: input, at: 0, type: u16 }
        - { signal: stencil-seated, table: holding, at: 10, type: text, registers: 4 }
      outputs:
        - { name: print-lock, drive: print-permit, table: coil, at: 0 }
  - name: strokes-over-mqtt
    kind: printer
    fastest-cycle: 10ms
    mqtt:
      broker: floor
      messages:
        - { topic: a/stroke, signal: strokes-done, count: /count, identity: /id }
        - { topic: a/stencil, signal: stencil-seated, stencil: /code }
      outputs:
        - { name: print-lock, drive: print-permit, topic: a/lock, permit: open, refuse: shut }
  - name: totals-over-mqtt
    kind: printer
    fastest-cycle: 10ms
    mqtt:
      broker: floor
      messages:
        - { topic: b/total, signal: stroke-total, value: /total, width: 16 }
        - { topic: b/stencil, signal: stencil-seated, stencil: /code }
      outputs:
        - { name: print-lock, drive: print-permit, topic: b/lock, permit: open, refuse: shut }
"#;

fn configuration(ledger: &std::path::Path, address: SocketAddr) -> Configuration {
    let mut configuration =
        stencilward_config::parse("kill.yaml", CONFIGURATION).expect("a good configuration");
    configuration.listen = address.to_string();
    configuration.ledger = ledger.to_owned();
    configuration
}

fn printer(plant: &Plant, name: &str, counting: Counting, total: u64) -> Printer {
    let lock = OutputName::new("print-lock").expect("a name");
    let machine = plant.machine(name).expect("a machine of the plant");
    let cycle = Duration::from_millis(25);
    Printer::new(machine, &lock, counting, cycle, total, plant.tally.clone()).expect("a lock")
}

fn totals(width: Width) -> Counting {
    Counting::Total { counter: CounterName::new("strokes").expect("a name"), width }
}

fn run(file: &std::path::Path) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(file);
    Child::start(&command)
}

/// Strokes that the gateway knows of, booked or not, by machine.
async fn known_strokes(address: SocketAddr) -> Option<BTreeMap<MachineName, u64>> {
    let machines = http::get(address, "/api/v1/machines").await?.json();
    let strokes = |machine: &serde_json::Value| {
        let name = MachineName::new(machine["machine"].as_str()?).ok()?;
        let booked = machine["booked_strokes"].as_u64()?;
        Some((name, booked + machine["unattributed_strokes"].as_u64()?))
    };
    machines["machines"].as_array()?.iter().map(strokes).collect()
}

fn printers(plant: &Plant) -> [(Printer, &'static str); 3] {
    [
        (printer(plant, "totals-over-modbus", totals(Width::Bits16), 65_500), "ST-1"),
        (printer(plant, "strokes-over-mqtt", Counting::Each, 0), "ST-2"),
        (printer(plant, "totals-over-mqtt", totals(Width::Bits16), 65_500), "ST-3"),
    ]
}

/// All three printers at work until `printing` is put down.
fn print_on(
    printers: [(Printer, &'static str); 3],
    printing: &Arc<AtomicBool>,
) -> Vec<JoinHandle<()>> {
    let mut at_work = Vec::new();
    for (printer, code) in printers {
        let printing = Arc::clone(printing);
        at_work.push(tokio::spawn(async move {
            let code = StencilCode::new(code).expect("a code");
            printer.switch_on().await.expect("it can say its total");
            printer.seat(&code).await.expect("it can say its stencil");
            let patience = Duration::from_secs(30);
            let go_on = || printing.load(Ordering::SeqCst);
            printer.print(&code, 1_000_000, patience, go_on).await.expect("it can say its strokes");
        }));
    }
    at_work
}

/// A broker keeps nothing for a gateway it has never seen: nobody may speak before it has.
async fn all_up(address: SocketAddr) {
    eventually("all links are up", LIMIT, async || {
        let machines = http::get(address, "/api/v1/machines").await.map(|answer| answer.json());
        let list = machines.as_ref().and_then(|all| all["machines"].as_array());
        let up = list.is_some_and(|list| list.iter().all(|machine| machine["link"] == "up"));
        if up { Ok(()) } else { Err(format!("{machines:?}")) }
    })
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_stroke_is_lost_or_doubled_by_kill_9() {
    let folder = tempfile::tempdir().unwrap();
    let ledger = folder.path().join("kill.db");
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let plant = Plant::start(configuration(&ledger, address)).await.expect("a plant");
    let file = folder.path().join("kill.yaml");
    std::fs::write(&file, serde_yaml::to_string(&plant.configuration).unwrap()).unwrap();

    let printers = printers(&plant);
    // A counter that leaps under the gateway's eyes is a finding: this one is on before.
    printers[0].0.switch_on().await.expect("it can say its total");
    let mut gateway = run(&file);
    all_up(address).await;
    let printing = Arc::new(AtomicBool::new(true));
    let at_work = print_on(printers, &printing);
    // Past zero under the gateway's eyes: of a total that does so unheard the rest stays open.
    eventually("all machines print, and their totals wrap", LIMIT, async || {
        let made = plant.tally.count().machines;
        let enough = made.len() == at_work.len() && made.values().all(|strokes| *strokes > WRAPPED);
        if enough { Ok(()) } else { Err(format!("{made:?}")) }
    })
    .await;

    let mut chance = Chance::seeded();
    for _ in 0..KILLS {
        sleep(Duration::from_millis(chance.below(1_500))).await;
        gateway.kill();
        sleep(Duration::from_millis(chance.below(700))).await;
        gateway = run(&file);
    }

    sleep(Duration::from_millis(500)).await;
    printing.store(false, Ordering::SeqCst);
    for printer in at_work {
        printer.await.expect("the printer ends");
    }
    eventually("the gateway knows all strokes", LIMIT, async || {
        let (known, made) = (known_strokes(address).await, plant.tally.count().machines);
        if known.as_ref() == Some(&made) { Ok(()) } else { Err(format!("{known:?} of {made:?}")) }
    })
    .await;
    let status = gateway.stop();
    assert!(status.success(), "{status}: {}", gateway.transcript());
    compare(&plant, &ledger_read::events(&ledger).await);
}

fn compare(plant: &Plant, events: &[Event]) {
    let made = plant.tally.count();
    let mut booked: BTreeMap<StencilCode, u64> = BTreeMap::new();
    let mut unattributed = Vec::new();
    for event in events {
        match event {
            Event::StrokesBooked { stencil, count, .. } => {
                *booked.entry(stencil.clone()).or_default() += count;
            }
            Event::StrokesUnattributed { .. } => unattributed.push(event),
            _ => {}
        }
    }
    let made: BTreeMap<StencilCode, u64> =
        made.stencils.into_iter().map(|(code, done)| (code, done.strokes)).collect();
    println!("strokes made: {made:?}");
    assert!(unattributed.is_empty(), "the stencils never changed: {unattributed:?}");
    assert_eq!(booked, made, "booked beside made");
    assert_eq!(made.len(), 3, "all three printers printed");
    assert!(made.values().all(|strokes| *strokes > 50), "too few strokes to tell anything");
}
