//! A Modbus machine with everything: strokes, pulses, stencils, slots, a wash, values that are
//! read seldom, an exception, a cut connection.

use std::net::SocketAddr;

use serde_json::{Value, json};
use stencilward_adapters::modbus::{Link, Machine, RegisterTable, Settings};
use stencilward_adapters::record::{Decodes, Heard};
use stencilward_adapters::simulated::Simulated as _;
use stencilward_domain::names::{CounterName, SlotName, StencilCode};
use stencilward_domain::signal::{MachineState, Reading, Said, WashOutcome, Width};

use crate::recorded::{Recorded, name};

fn settings(address: SocketAddr) -> Value {
    json!({ "address": address.to_string(), "poll": "10ms", "timeout": "500ms", "points": [
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u32", "words": "high-first" },
        { "signal": "stencil-seated", "table": "holding", "at": 10, "type": "text", "registers": 4 },
        { "signal": "stroke-contact", "table": "discrete", "at": 0 },
        { "signal": "slot", "table": "discrete", "at": 20, "slot": "A1" },
        { "signal": "slot", "table": "discrete", "at": 21, "slot": "A2" },
        { "signal": "machine-state", "table": "input", "at": 40, "type": "u16", "poll": "30ms",
          "values": { "1": "running", "2": "idle" } },
        { "signal": "wash-running", "table": "coil", "at": 5 },
        { "signal": "wash-result", "table": "input", "at": 50, "type": "u16",
          "values": { "1": "passed", "2": "failed" } },
        { "signal": "measured", "table": "input", "at": 60, "type": "i16", "scale": 0.1,
          "quantity": "temperature", "unit": "°C" },
    ]})
}

fn total(raw: u64) -> Said {
    let counter = CounterName::new("strokes").unwrap();
    Said::CounterRead { counter, raw, width: Width::Bits32, reading: Reading::Polled }
}

fn slot(slot: &str, occupied: bool) -> Said {
    let (slot, code) = (SlotName::new(slot).unwrap(), None);
    if occupied { Said::SlotOccupied { slot, code } } else { Said::SlotEmptied { slot, code } }
}

fn parsed(settings: &Value) -> Settings {
    let settings: Settings = serde_json::from_value(settings.clone()).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

/// Without what was said before and did not change.
fn news(said: Vec<Heard>) -> Vec<Heard> {
    let (mut seat, mut total) = (None, None);
    let mut is_new = |said: &Said| {
        let last = match said {
            Said::Seated { .. } | Said::Removed => &mut seat,
            Said::CounterRead { .. } => &mut total,
            _ => return true,
        };
        last.replace(said.clone()).as_ref() != Some(said)
    };
    said.into_iter().filter(|heard| is_new(&heard.said)).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_day_of_a_modbus_machine_gives_the_same_signals_again() {
    let anywhere = SocketAddr::from(([127, 0, 0, 1], 0));
    let made_of = parsed(&settings(SocketAddr::from(([127, 0, 0, 1], 1))));
    let machine = Machine::start(made_of, anywhere).await.unwrap();
    let wired = settings(machine.local_addr());
    let recorded = Recorded::start(Box::new(Link::new(name(), parsed(&wired))), "modbus");
    let says = async |said: Said| {
        machine.say(&said, None).await.unwrap();
        recorded.hears(said.kind(), 1, |heard| *heard == said).await;
    };
    let ups = |said: &Said| matches!(said, Said::LinkUp { .. });
    let losses = |said: &Said| matches!(said, Said::LinkLost { .. });

    says(Said::Seated { code: StencilCode::new("ST-1").unwrap() }).await;
    says(total(70_000)).await;
    machine.say(&Said::StrokesDone { count: 3 }, None).await.unwrap();
    let strokes = |said: &Said| *said == Said::StrokesDone { count: 1 };
    recorded.hears("pulses", 3, strokes).await;
    says(Said::State { state: MachineState::Running, word: "1".to_owned() }).await;
    says(slot("A1", true)).await;
    says(Said::Seated { code: StencilCode::new("ST-2").unwrap() }).await;
    machine.answer_exception(Some(4));
    recorded.hears("the exception", 1, losses).await;
    machine.answer_exception(None);
    recorded.hears("the link again", 2, ups).await;
    says(slot("A1", false)).await;
    machine.say(&slot("A2", true), None).await.unwrap();
    machine.set_registers(RegisterTable::Input, 60, &[0xFFF6]);
    says(Said::WashBegan { code: None, programme: None }).await;
    machine.drop_connections();
    recorded.hears("the cut", 2, losses).await;
    recorded.hears("the link again", 3, ups).await;
    let (code, programme, outcome, measured) = (None, None, WashOutcome::Passed, Vec::new());
    machine.say(&Said::WashEnded { code, programme, outcome, measured }, None).await.unwrap();
    recorded.hears("the wash's end", 1, |said| matches!(said, Said::WashEnded { .. })).await;
    says(total(70_005)).await;

    let recording = recorded.stop().await;
    // Set STENCILWARD_WRITE=1 to keep it as the one that tests/recordings has.
    if std::env::var_os("STENCILWARD_WRITE").is_some() {
        let kept = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/recordings/printer-1.rec");
        std::fs::write(kept, &recording.bytes).unwrap();
    }
    // That the link is lost the link says, and not the decoder.
    let got = recording.heard.iter().filter(|heard| !losses(&heard.said)).cloned();
    let got: Vec<_> = got.collect();
    let (given, differences) = recording.play(Decodes::Modbus(Box::new(parsed(&wired))));
    assert_eq!(differences, []);
    // The link does not tell what did not change. The last rounds may have been recorded and not
    // be taken any more.
    let (given, got) = (news(given), news(got));
    assert_eq!(given.get(..got.len()), Some(got.as_slice()));
    assert!(got.iter().any(|heard| strokes(&heard.said)));

    let mut turned = wired.clone();
    turned["points"][0]["words"] = json!("low-first");
    let (_, differences) = recording.play(Decodes::Modbus(Box::new(parsed(&turned))));
    let totals =
        got.iter().filter(|heard| matches!(heard.said, Said::CounterRead { raw, .. } if raw != 0));
    assert!(differences.len() >= totals.count());
    let first = &differences[0];
    assert_eq!(
        first.recorded,
        ["stroke-total counter=strokes raw=70000 reading=polled width=bits32"]
    );
    // 70000 is 0001 1170 in two registers; 1170 0001 is what it is the other way round.
    let now = "stroke-total counter=strokes raw=292552705 reading=polled width=bits32";
    assert_eq!(first.now, [now]);

    let mut taken_out = wired;
    taken_out["points"].as_array_mut().unwrap().remove(2);
    let (_, differences) = recording.play(Decodes::Modbus(Box::new(parsed(&taken_out))));
    assert_eq!(differences.len(), 3, "{differences:?}");
    let missing = |difference: &stencilward_adapters::record::Difference| {
        difference.recorded == ["strokes-done count=1"] && difference.now.is_empty()
    };
    assert!(differences.iter().all(missing), "{differences:?}");
}
