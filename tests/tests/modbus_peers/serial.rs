//! Serial lines: mbpoll as master of our simulated machine, and our link as master of libmodbus.

use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::modbus::{Machine, Pty, Settings};
use stencilward_adapters::simulated::Simulated;
use stencilward_domain::names::CounterName;
use stencilward_domain::signal::{Reading, Said, Width};
use stencilward_tests::missing;
use stencilward_tests::peer::Peer;
use tokio::io::copy_bidirectional;
use tokio_util::task::AbortOnDropHandle;

use crate::hearing::{Hearing, permitting};
use crate::servers::values;

const LIMIT: Duration = Duration::from_secs(10);

async fn at_the_end(line: Pty) -> Machine {
    let settings: Settings = serde_json::from_value(json!({
        "serial": { "port": line.port(), "baud": 19200, "frame": "8E1" },
        "unit": 7,
        "points": [{ "signal": "stroke-total", "table": "input", "at": 0, "type": "u32",
                     "words": "high-first" }],
    }))
    .unwrap();
    let machine = Machine::on_line(&settings, line);
    let counter = CounterName::new("strokes").unwrap();
    let (width, reading) = (Width::Bits32, Reading::Polled);
    let total = Said::CounterRead { counter, raw: 1_234_567, width, reading };
    machine.say(&total, None).await.unwrap();
    machine
}

async fn mbpoll(program: &PathBuf, port: &str, unit: &str, arguments: &[&str]) -> String {
    let mut command = Command::new(program);
    // A pseudo-terminal has no parity; the frames are the same without.
    command.args(["-m", "rtu", "-b", "19200", "-P", "none", "-0", "-1", "-a", unit]);
    command.args(arguments).arg(port);
    let output = tokio::task::spawn_blocking(move || command.output()).await.unwrap().unwrap();
    let said = [output.stdout, output.stderr].concat();
    String::from_utf8_lossy(&said).into_owned()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn mbpoll_reads_our_machine_over_a_serial_line() {
    let Some(program) = missing::program("mbpoll", "Debian package mbpoll") else {
        return;
    };
    let line = Pty::open().unwrap();
    let port = line.port().to_str().unwrap().to_owned();
    let _machine = at_the_end(line).await;
    let said = mbpoll(&program, &port, "7", &["-t", "3:int", "-B", "-r", "0"]).await;
    assert!(said.contains("1234567"), "{said}");
    let said = mbpoll(&program, &port, "7", &["-t", "3", "-r", "40"]).await;
    assert!(said.contains("Illegal data address"), "{said}");
    let said = mbpoll(&program, &port, "8", &["-t", "3", "-r", "0"]).await;
    assert!(said.to_lowercase().contains("timed out"), "another unit is not ours: {said}");
}

/// Two serial ports whose lines are joined, for as long as the task lives.
fn joined() -> ([String; 2], AbortOnDropHandle<()>) {
    let mut ends = [Pty::open().unwrap(), Pty::open().unwrap()];
    let ports = ends.each_ref().map(|end| end.port().to_str().unwrap().to_owned());
    let carrying = tokio::spawn(async move {
        let [one, other] = &mut ends;
        // It ends with a port that is gone, which the test would see.
        let _ = copy_bidirectional(one, other).await;
    });
    (ports, AbortOnDropHandle::new(carrying))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_type_in_every_order_is_read_from_libmodbus_on_a_serial_line_and_outputs_written() {
    let ([ours, theirs], _line) = joined();
    let arguments = ["--port", &theirs, "--unit", "7"];
    let Some(mut peer) = Peer::start("libmodbus_serial.py", &arguments).await else {
        return;
    };
    if let Some(why) = peer.ready()["missing"].as_str() {
        return missing::skip(&format!(
            "libmodbus is not installed (Debian package mbpoll): {why}"
        ));
    }
    let (mut points, mut expected) = (Vec::new(), Vec::new());
    for (point, _, value) in ["holding", "input"].into_iter().flat_map(values) {
        let mut command = point.clone();
        command["do"] = json!("value");
        let is_whole = value.fract() == 0.0;
        command["value"] = if is_whole { json!(value as i64) } else { json!(value) };
        peer.ask(command, "laid out", LIMIT).await;
        expected.push((point["quantity"].clone(), value));
        points.push(point);
    }
    for (table, values) in [("coil", [true, false]), ("discrete", [false, true])] {
        peer.ask(json!({ "do": "bits", "table": table, "at": 7, "values": values }), "set", LIMIT)
            .await;
        for at in [7, 8] {
            points.push(json!({ "signal": "fault", "table": table, "at": at,
                "code": format!("{table} {at}"), "text": "x" }));
        }
    }
    peer.ask(json!({ "do": "serve" }), "serving", LIMIT).await;
    let settings: Settings = serde_json::from_value(json!({
        "serial": { "port": ours }, "unit": 7, "poll": "2s", "gap": 3, "points": points,
        "outputs": [
            { "name": "lock", "drive": "print-permit", "table": "coil", "at": 290 },
            { "name": "alive", "drive": "heartbeat", "table": "holding", "at": 291 },
        ],
    }))
    .unwrap();
    assert_eq!(settings.check(), Vec::new());
    let mut wanted = permitting("lock");
    wanted.beat = 4_711;
    let mut hearing = Hearing::with(settings, wanted);
    let coil = peer.hear("written", LIMIT).await;
    assert_eq!((&coil["coils"], &coil["registers"]), (&json!({ "290": true }), &json!({})));
    assert_eq!(peer.hear("written", LIMIT).await["registers"], json!({ "291": 4_711 }));
    let heard = hearing.first().await;
    let measured = heard.iter().filter_map(|said| match said {
        Said::Measured { measurement, .. } => {
            Some((json!(measurement.quantity), measurement.value))
        }
        _ => None,
    });
    assert_eq!(measured.collect::<Vec<(Value, f64)>>(), expected);
    let raised = heard.iter().filter_map(|said| match said {
        Said::FaultRaised { code, .. } => Some(code.as_str()),
        _ => None,
    });
    assert_eq!(raised.collect::<Vec<_>>(), ["coil 7", "discrete 8"]);
    hearing.stop().await;
    assert_eq!(peer.hear("written", LIMIT).await["coils"], json!({}), "refused at the end");
}
