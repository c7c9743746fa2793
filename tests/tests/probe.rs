//! `stencilward probe` at a simulated machine: who it is, and each point in every plausible reading.

use std::net::SocketAddr;
use std::process::Command;

use stencilward_adapters::modbus::Machine;
use stencilward_adapters::simulated::Simulated;
use stencilward_domain::names::CounterName;
use stencilward_domain::signal::{Reading, Said, Width};
use stencilward_tests::free_port::free_port;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;

fn configuration(address: SocketAddr) -> String {
    format!(
        "site: Invented Works
machines:
  - name: printer
    kind: printer
    fastest-cycle: 8s
    modbus:
      address: {address}
      points:
        - {{ signal: stroke-total, table: input, at: 10, type: u32, words: high-first }}
        - {{ signal: stencil-seated, table: holding, at: 0, type: text, registers: 4 }}
        - {{ signal: fault, table: coil, at: 5, code: E-1, text: lid open }}
"
    )
}

fn probe(text: &str, machine: &str) -> (bool, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plant.yaml");
    std::fs::write(&file, text).expect("a file");
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    let output = command.arg("probe").arg(&file).arg(machine).output().expect("it runs");
    let said = [output.stdout, output.stderr].concat();
    (output.status.success(), String::from_utf8_lossy(&said).into_owned())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_point_is_shown_as_configured_and_as_it_might_be() {
    let text = configuration(SocketAddr::from(([127, 0, 0, 1], 1)));
    let configuration_of = stencilward_config::parse("plant.yaml", &text).expect("a plant");
    let settings = configuration_of.machines[0].modbus.clone().expect("Modbus");
    let anywhere = SocketAddr::from(([127, 0, 0, 1], 0));
    let machine = Machine::start(settings, anywhere).await.expect("a machine");
    machine.identify(&[(0, "Invented Works"), (1, "P-1"), (2, "2.11")]);
    let counter = CounterName::new("strokes").expect("a name");
    let (width, reading) = (Width::Bits32, Reading::Polled);
    let total = Said::CounterRead { counter, raw: 70_000, width, reading };
    machine.say(&total, None).await.expect("it says");
    let text = configuration(machine.local_addr());
    let (worked, said) =
        tokio::task::spawn_blocking(move || probe(&text, "printer")).await.expect("the probe ends");
    assert!(worked, "{said}");
    for part in [
        "maker \"Invented Works\" product code \"P-1\" revision \"2.11\"",
        "stroke-total strokes: input 10 = 70000 as u32 (0001 1170)",
        "words low-first: u32 292552705",
        "fault E-1: coil 5 = off",
    ] {
        assert!(said.contains(part), "no {part:?} in:\n{said}");
    }
}

#[test]
fn a_machine_that_is_not_there_is_told_with_what_to_check() {
    let text = configuration(SocketAddr::from(([127, 0, 0, 1], free_port())));
    let (worked, said) = probe(&text, "printer");
    assert!(!worked && said.contains("refused"), "{said}");
    let (worked, said) = probe(&text, "washer");
    assert!(!worked && said.contains("it has: printer"), "{said}");
}

/// A machine of few words: silent at a function it does not know, and gone at a place it has not.
async fn of_few_words() -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("an address");
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            let mut request = [0; 12];
            // MBAP header, function, address and count (MODBUS Application Protocol V1.1b3, 6.4).
            while stream.read_exact(&mut request).await.is_ok() {
                let answer = match request[7..] {
                    [4, 0, 10, 0, 2] => [4, 4, 0x00, 0x01, 0x11, 0x70],
                    [0x2B, ..] => continue,
                    _ => break,
                };
                let head = [&request[..4], &[0, 7], &request[6..7]].concat();
                stream.write_all(&[&head, &answer[..]].concat()).await.expect("it listens");
            }
        }
    });
    address
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_of_few_words_still_shows_what_was_named() {
    let address = of_few_words().await;
    let text = configuration(address);
    let (first, _) = text.split_once("        - { signal: stencil-seated").expect("points");
    let text = first.to_owned();
    let (worked, said) =
        tokio::task::spawn_blocking(move || probe(&text, "printer")).await.expect("it ends");
    assert!(worked, "{said}");
    assert!(said.contains("it does not answer when asked what it is"), "{said}");
    assert!(said.contains("input 10 = 70000 as u32 (0001 1170)"), "{said}");
}
