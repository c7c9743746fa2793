//! What the gateway tells everybody at a broker: read by paho, judged by Python's `jsonschema`.
//!
//! Sources: MQTT 3.1.1 (OASIS), 3.1.2.5 (will) and 3.3.1.3 (retained); JSON Schema 2020-12;
//! paho-mqtt 2.2 and jsonschema 4 (PyPI), Mosquitto 2 (Debian).

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_tests::child::{Child, Signal};
use stencilward_tests::free_port::free_port;
use stencilward_tests::mosquitto::{Mosquitto, Persistence};
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, root};

const LIMIT: Duration = Duration::from_secs(30);

fn file(folder: &Path, broker: &Mosquitto, address: SocketAddr) -> PathBuf {
    written(folder, &format!("{}:{}", broker.host(), broker.port()), address)
}

fn written(folder: &Path, broker: &str, address: SocketAddr) -> PathBuf {
    let text = format!(
        "site: Invented Works\nlisten: {address}\nledger: notices.db\n\
         stencils:\n\
         \x20 - {{ code: ST-1, rated-strokes: 1000, clean: true }}\n\
         \x20 - {{ code: ST/2, rated-strokes: 1000, product: P-7 }}\n\
         brokers:\n\
         \x20 - {{ name: floor, address: \"{broker}\", client: gateway, \
         publish: {{ under: works/stencils }} }}\n"
    );
    let file = folder.join("notices.yaml");
    std::fs::write(&file, text).expect("the folder takes a file");
    file
}

fn run(file: &Path) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(file);
    Child::start(&command)
}

async fn reader(broker: &Mosquitto) -> Option<Peer> {
    let port = broker.port().to_string();
    let schema = root().join("gateway/service/notices.schema.json");
    let schema = schema.to_string_lossy();
    let place = ["--host", broker.host(), "--port", &port];
    let what = ["--under", "works/stencils", "--schema", &schema];
    Peer::start("notice_reader.py", &[place, what].concat()).await
}

/// The next notice about this for which a field has this value.
async fn told(reader: &mut Peer, about: &str, field: &str, value: Value) -> Value {
    loop {
        let notice = reader.hear("notice", LIMIT).await;
        if notice["about"] == about && notice["body"][field] == value {
            return notice;
        }
    }
}

async fn ask(address: SocketAddr, action: &str) {
    let path = format!("/api/v1/stencils/ST-1/{action}");
    let body = json!({"by": "a technician", "why": "an aperture is torn"});
    eventually(&format!("the gateway takes {action}"), LIMIT, async || {
        match http::post(address, &path, &body).await {
            Some(answer) if answer.status == 200 => Ok(()),
            other => Err(other.map_or_else(String::new, |answer| answer.body)),
        }
    })
    .await;
}

/// What happened while the broker was away, and the gateway was killed meanwhile, is told later;
/// a broker that forgot everything is told everything anew.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn everybody_at_a_broker_is_told_however_it_ends() {
    let Some(mut broker) = Mosquitto::start(Persistence::Off).await else { return };
    let Some(mut early) = reader(&broker).await else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let file = file(folder.path(), &broker, address);
    let mut gateway = run(&file);
    told(&mut early, "gateway", "online", json!(true)).await;
    told(&mut early, "stencils/ST%2F2", "product", json!("P-7")).await;
    ask(address, "hold").await;
    told(&mut early, "stencils/ST-1", "standing", json!("on-hold")).await;

    let mut late = reader(&broker).await.expect("a second reader");
    let kept = told(&mut late, "stencils/ST-1", "standing", json!("on-hold")).await;
    assert_eq!(kept["retained"], true, "whoever comes later is told, too");

    broker.kill().await;
    ask(address, "release").await;
    gateway.signal(Signal::KILL);
    drop(gateway);
    gateway = run(&file);
    broker.again().await;
    let mut after = reader(&broker).await.expect("a third reader");
    told(&mut after, "stencils/ST-1", "standing", json!("released")).await;
    told(&mut late, "stencils/ST%2F2", "cleanliness", json!("unknown")).await;

    gateway.signal(Signal::KILL);
    told(&mut after, "gateway", "online", json!(false)).await;
    drop(gateway);
}

/// A broker that is out of reach, and then out of the file, is owed nothing any more: at a reload
/// and at a start.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_is_taken_out_is_owed_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let nowhere = format!("127.0.0.1:{}", free_port());
    let file = written(folder.path(), &nowhere, address);
    let with = std::fs::read_to_string(&file).expect("the file");
    let without = with.split("brokers:").next().expect("what stands before").to_owned();
    let mut gateway = run(&file);
    ask(address, "hold").await;
    assert!(owed(folder.path()) > 0, "it cannot be told");
    std::fs::write(&file, &without).expect("the file");
    let answer = http::post(address, "/api/v1/reload", &json!({"by": "a technician"})).await;
    assert_eq!(answer.map(|answer| answer.status), Some(200));
    let gone = "what it was owed is dropped";
    gateway.line(gone, LIMIT, |line| line.contains(gone).then_some(())).await;
    assert_eq!(owed(folder.path()), 0);

    gateway.signal(Signal::KILL);
    std::fs::write(&file, &with).expect("the file");
    gateway = run(&file);
    ask(address, "release").await;
    assert!(owed(folder.path()) > 0, "it cannot be told");
    gateway.signal(Signal::KILL);
    std::fs::write(&file, &without).expect("the file");
    gateway = run(&file);
    gateway.line(gone, LIMIT, |line| line.contains(gone).then_some(())).await;
    assert_eq!(owed(folder.path()), 0);
}

/// How many messages lie in the ledger's file as owed.
fn owed(folder: &Path) -> u32 {
    let ledger = rusqlite::Connection::open(folder.join("notices.db")).expect("the ledger");
    ledger.query_row("SELECT count(*) FROM owed", [], |row| row.get(0)).expect("a number")
}
