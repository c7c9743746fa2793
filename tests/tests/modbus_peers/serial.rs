//! mbpoll as master on a serial line, at whose end our simulated machine is.

use std::path::PathBuf;
use std::process::Command;

use serde_json::json;
use stencilward_adapters::modbus::{Machine, Pty, Settings};
use stencilward_adapters::simulated::Simulated;
use stencilward_domain::names::CounterName;
use stencilward_domain::signal::{Reading, Said, Width};
use stencilward_tests::missing;

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
