//! A printer that speaks Modbus.

use std::net::SocketAddr;

use stencilward_adapters::modbus::{Machine, Settings};
use stencilward_adapters::simulated::Simulated as _;
use stencilward_domain::names::{CounterName, StencilCode};
use stencilward_domain::signal::{Reading, Said, Width};
use stencilward_tests::child::{Child, Signal};
use stencilward_tests::wait::eventually;

use super::works::{LIMIT, Works};

const RECORD: &str = "    record: { to: printer-1.rec }\n";

fn machines(address: SocketAddr) -> String {
    format!(
        "machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 1ms
{RECORD}    modbus:
      address: {address}
      poll: 20ms
      points:
        - {{ signal: stroke-total, table: input, at: 0, type: u32, words: high-first }}
        - {{ signal: stencil-seated, table: holding, at: 10, type: text, registers: 4 }}
  - name: printer-2
    kind: printer
    fastest-cycle: 1ms
    modbus: {{ address: \"127.0.0.1:1\", points: [{{ signal: stroke-total, table: input, at: 0, type: u16 }}] }}
  - name: washer-1
    kind: washer
    mqtt: {{ broker: floor, messages: [{{ topic: w, signal: wash-began }}] }}
brokers: [{{ name: floor, address: \"127.0.0.1:1\", client: record-test }}]
"
    )
}

async fn start() -> (Machine, Works) {
    let text = machines(SocketAddr::from(([127, 0, 0, 1], 1)));
    let plant = format!("site: Invented Works\n{text}");
    let plant = stencilward_config::parse("plant.yaml", &plant).expect("a plant");
    let settings: Settings = plant.machines[0].modbus.clone().expect("Modbus");
    let anywhere = SocketAddr::from(([127, 0, 0, 1], 0));
    let machine = Machine::start(settings, anywhere).await.expect("a machine");
    let works = Works::new(&machines(machine.local_addr()));
    (machine, works)
}

async fn counts(machine: &Machine, raw: u64) {
    let counter = CounterName::new("strokes").expect("a name");
    let (width, reading) = (Width::Bits32, Reading::Polled);
    let said = Said::CounterRead { counter, raw, width, reading };
    machine.say(&said, None).await.expect("it can say so");
}

async fn seats(machine: &Machine, code: &str) {
    let code = StencilCode::new(code).expect("a code");
    machine.say(&Said::Seated { code }, None).await.expect("it can say so");
}

/// Waits until the log says this.
async fn told(gateway: &Child, what: &str) {
    eventually(what, LIMIT, async || {
        let log = gateway.transcript();
        if log.contains(what) { Ok(()) } else { Err(log) }
    })
    .await;
}

fn raw(total: u64) -> String {
    format!("\"raw\":{total},")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_reload_begins_and_ends_a_recording_and_it_is_replayed() {
    let (machine, works) = start().await;
    works.write("plant.yaml", RECORD, "");
    let mut gateway = works.run().await;
    works.shows("printer-1", |shown| shown["link"] == "up").await;
    assert!(!works.path("printer-1.rec").exists());

    works.write("plant.yaml", "", "");
    works.reload(&mut gateway).await;
    seats(&machine, "ST-1").await;
    for total in [70_000, 70_003, 70_008] {
        counts(&machine, total).await;
        works.recorded("printer-1.rec", &raw(total)).await;
    }
    works.write("plant.yaml", RECORD, "");
    works.reload(&mut gateway).await;
    let length = std::fs::metadata(works.path("printer-1.rec")).expect("a file").len();
    counts(&machine, 70_009).await;
    works.shows("printer-1", |shown| shown["counters"]["strokes"] == 70_009).await;
    assert_eq!(std::fs::metadata(works.path("printer-1.rec")).expect("a file").len(), length);
    assert!(gateway.stop().success(), "{}", gateway.transcript());

    works.write("plant.yaml", "", "");
    works.replay("plant.yaml", &["printer-1.rec"]).is(0, &["the same settings", "nothing differs"]);
    works.replay("plant.yaml", &["."]).is(0, &["nothing differs"]);
    works
        .replay("plant.yaml", &["printer-1.rec", "--show"])
        .is(0, &["input 0: 0001 1170; holding 10: 5354 2D31", "    stencil-seated stencil=ST-1"]);
    works.write("copy.yaml", "words: high-first", "words: low-first");
    let differs = works.replay("copy.yaml", &["printer-1.rec"]);
    // 70003 is 0001 1173 in two registers, and 1173 0001 the other way round.
    let parts =
        ["other settings", "raw=70003", "raw=292749313", "differ (stroke-total", "0001 1173"];
    differs.is(1, &parts[..2]);
    works.replay("copy.yaml", &["printer-1.rec", "--all"]).is(1, &parts);
    works.write("wider.yaml", "input, at: 0, type: u32", "input, at: 7, type: u32");
    let nothing = "the recording holds nothing of points[0] (input 7)";
    works.replay("wider.yaml", &["printer-1.rec"]).is(1, &[nothing]);

    let as_other = |machine| works.replay("plant.yaml", &["printer-1.rec", "--machine", machine]);
    as_other("printer-2").is(1, &["printer-2: "]);
    as_other("washer-1").is(2, &["recorded over modbus; washer-1 speaks mqtt"]);
    as_other("printer-3").is(2, &["no machine printer-3"]);
    works.replay("plant.yaml", &["plant.yaml"]).is(2, &["does not begin as a recording does"]);
    works.replay("plant.yaml", &["nowhere.rec"]).is(2, &["cannot be read"]);
    let text = std::fs::read_to_string(works.path("printer-1.rec")).expect("a file");
    std::fs::write(works.path("hurt.rec"), text.replacen("\"round\"", "\"rounds\"", 1))
        .expect("written");
    works.replay("plant.yaml", &["hurt.rec"]).is(2, &["hurt.rec:2: damaged", "lines damaged: 1"]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_recording_survives_kill_9_and_goes_on_in_the_same_file() {
    let (machine, works) = start().await;
    for total in 1..4 {
        let gateway = works.run().await;
        counts(&machine, total).await;
        works.recorded("printer-1.rec", &raw(total)).await;
        gateway.signal(Signal::KILL);
        drop(gateway);
    }
    let text = std::fs::read_to_string(works.path("printer-1.rec")).expect("a file");
    assert_eq!(text.matches("stencilward-recording").count(), 3);
    works.replay("plant.yaml", &["printer-1.rec"]).is(0, &["nothing differs"]);
    // A kill in the middle of a line, which cannot be brought about at will.
    std::fs::write(works.path("printer-1.rec"), &text[..text.len() - 10]).expect("written");
    let mut gateway = works.run().await;
    counts(&machine, 4).await;
    works.recorded("printer-1.rec", &raw(4)).await;
    assert!(gateway.stop().success(), "{}", gateway.transcript());
    works.replay("plant.yaml", &["printer-1.rec"]).is(0, &["is cut off", "nothing differs"]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_that_cannot_be_recorded_to_is_told_and_the_link_goes_on() {
    let (machine, works) = start().await;
    works.write("plant.yaml", "to: printer-1.rec", "to: nowhere/printer-1.rec");
    let mut gateway = works.run().await;
    told(&gateway, "see that its folder is there").await;
    counts(&machine, 5).await;
    works.shows("printer-1", |shown| shown["counters"]["strokes"] == 5).await;

    let order = "order\nWO-1\n";
    std::fs::write(works.path("orders.csv"), order).expect("written");
    works.write("plant.yaml", "to: printer-1.rec", "to: orders.csv");
    works.reload(&mut gateway).await;
    told(&gateway, "is no recording: name another file").await;
    works.write("plant.yaml", "", "");
    works.reload(&mut gateway).await;
    works.recorded("printer-1.rec", &raw(5)).await;
    assert!(gateway.stop().success(), "{}", gateway.transcript());
    assert_eq!(std::fs::read_to_string(works.path("orders.csv")).expect("a file"), order);
}
