//! A serial line at 19,200 baud: how much of what the line allows is used.
//!
//! The line is a pair of pseudo-terminals, which knows no speed; the machine at its end lets
//! characters take their time, and counts requests that come too early.

use std::sync::Arc;
use std::time::Duration;

use serde_json::json;
use stencilward_adapters::modbus::{Machine, Pty, RegisterTable};
use tokio::time::sleep;

use super::ours::{Count, Links, POINTS};
use super::servers::REGISTERS;
use super::{RUNS, figure, script};

const BAUD: f64 = 19_200.0;
/// Start, eight data bits, parity, stop (MODBUS over Serial Line V1.02, 2.5.1).
const CHARACTER_BITS: f64 = 11.0;
/// Silence before a frame, in characters (MODBUS over Serial Line V1.02, 2.5.1.1).
const SILENCE: f64 = 3.5;
/// Unit, function, address, count, check sum.
const QUESTION: f64 = 8.0;
/// Unit, function, length, ten registers, check sum.
const ANSWER: f64 = 25.0;
const WARM_UP: Duration = Duration::from_millis(500);
const MEASURED: Duration = Duration::from_secs(10);

const SCRIPT: &str = r#"
import sys, time
from pymodbus.client import ModbusSerialClient
client = ModbusSerialClient(sys.argv[1], baudrate=19200, bytesize=8, parity="N", stopbits=1)
client.connect()
end, count = time.monotonic() + float(sys.argv[2]), 0
while time.monotonic() < end:
    if client.read_input_registers(0, count=10, device_id=1).isError():
        sys.exit("an error for an answer")
    count += 1
print(count / float(sys.argv[2]))
"#;

pub(crate) async fn bench() {
    let theoretical = BAUD / CHARACTER_BITS / (QUESTION + ANSWER + 2.0 * SILENCE);
    println!("figure modbus.rtu.theoretical {theoretical:.3} reads/s");
    let (mut ours, mut hasty) = (vec![], 0);
    for _ in 0..RUNS {
        let (machine, port) = line();
        ours.push(through_us(&port).await);
        hasty += machine.hasty_requests();
    }
    let ratios = ours.iter().map(|rate| rate / theoretical).collect();
    figure("modbus.rtu.ours", ours, "reads/s");
    figure("modbus.rtu.ours_beside_theoretical", ratios, "times");
    println!("figure modbus.rtu.hasty_requests {hasty} requests");
    let (machine, port) = line();
    if let Some(rate) = script(SCRIPT, port, MEASURED).await {
        println!("figure modbus.rtu.script {rate:.3} reads/s");
        println!("figure modbus.rtu.script_hasty_requests {} requests", machine.hasty_requests());
    }
}

/// A machine at one end of a line, and the port at the other.
fn line() -> (Machine, String) {
    let line = Pty::open().unwrap();
    let port = line.port().to_str().unwrap().to_owned();
    let settings = json!({ "serial": { "port": port }, "points": [] });
    let machine = Machine::on_line(&serde_json::from_value(settings).unwrap(), line);
    machine.set_registers(RegisterTable::Input, 0, &REGISTERS);
    (machine, port)
}

async fn through_us(port: &str) -> f64 {
    let machine = format!(
        "  - {{ name: printer-0, kind: printer, fastest-cycle: 1s, modbus: {{ serial: {{ port: \
         {port}, baud: 19200 }}, points: {POINTS} }} }}\n"
    );
    let count = Arc::new(Count::default());
    let links = Links::to(&machine, Duration::from_micros(1), Arc::clone(&count) as _);
    sleep(WARM_UP).await;
    let before = count.rounds();
    sleep(MEASURED).await;
    let made = count.rounds() - before;
    links.stop().await;
    made as f64 / MEASURED.as_secs_f64()
}
