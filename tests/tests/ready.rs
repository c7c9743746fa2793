//! `stencilward ready` asks the gateway on this computer, over TLS and without, and tells the truth.

use std::net::SocketAddr;
use std::process::{Command, Output};
use std::time::Duration;

use stencilward_tests::certificates::Authority;
use stencilward_tests::child::{Child, Signal};
use stencilward_tests::free_port::free_port;

const LIMIT: Duration = Duration::from_secs(30);

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"))
}

fn ready(place: &str) -> Output {
    program().args(["ready", place]).output().expect("it runs")
}

fn said(output: &Output) -> String {
    let streams = [&output.stdout, &output.stderr];
    streams.map(|bytes| String::from_utf8_lossy(bytes).into_owned()).concat()
}

async fn run(folder: &std::path::Path, address: SocketAddr, more: &str) -> Child {
    let file = folder.join("plant.yaml");
    let text = format!("site: Invented Works\nlisten: {address}\nledger: plant.db\n{more}");
    std::fs::write(&file, text).expect("a file");
    let mut command = program();
    command.arg("run").arg(&file);
    let mut gateway = Child::start(&command);
    gateway.line("that it runs", LIMIT, |line| line.contains("running").then_some(())).await;
    gateway
}

async fn tells_the_truth(scheme: &str, more: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let place = format!("{scheme}://{address}");
    let nobody = ready(&place);
    assert_eq!(nobody.status.code(), Some(1));
    assert!(said(&nobody).contains("no gateway answers"), "{nobody:?}");

    let mut gateway = run(folder.path(), address, more).await;
    let output = ready(&place);
    assert!(output.status.success(), "{output:?}");
    assert_eq!(said(&output), "ready\n");

    gateway.signal(Signal::STOP);
    let frozen = ready(&place);
    assert_eq!(frozen.status.code(), Some(1));
    assert!(said(&frozen).contains("no answer within 5 s"), "{frozen:?}");
    gateway.signal(Signal::CONT);
    assert!(ready(&place).status.success());

    let other = if scheme == "https" { "http" } else { "https" };
    let wrong = ready(&format!("{other}://{address}"));
    assert_eq!(wrong.status.code(), Some(1), "{wrong:?}");
    assert!(said(&wrong).contains(&format!("ask {scheme}://")), "{wrong:?}");
    gateway.stop();
}

#[tokio::test]
async fn of_a_gateway_without_tls() {
    tells_the_truth("http", "").await;
}

/// Its certificate names another host, as those of a plant do.
#[tokio::test]
async fn of_a_gateway_with_tls() {
    let authority = Authority::new("Invented CA");
    let shown = authority.issue("gateway.plant.example");
    let (certificate, key) = (shown.certificate.display(), shown.key.display());
    tells_the_truth("https", &format!("tls: {{ certificate: {certificate}, key: {key} }}\n")).await;
}

#[test]
fn another_computer_is_not_asked() {
    let output = ready("https://192.0.2.1:9464");
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("on this computer only"), "{output:?}");
}
