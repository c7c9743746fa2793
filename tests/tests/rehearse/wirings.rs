//! Every way to be wired, and nothing real.

use std::net::TcpListener;
use std::path::Path;
use std::time::Duration;

use stencilward_adapters::modbus::Pty;
use stencilward_tests::root;
use tokio::io::AsyncReadExt as _;

use crate::files::{HALL, PROFILES};
use crate::{LIMIT, compared, rehearse, rehearse_text};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_shipped_example_is_rehearsed() {
    let file = root().join("config/examples/demo.yaml");
    let mut child = rehearse(&file, &["--for", "25s"]);
    child.close_input();
    let status = child.exit(LIMIT).await;
    let told = child.transcript();
    assert!(status.success(), "{told}");
    assert!(told.contains("Differences: 0"), "{told}");
    for printer in ["printer-1", "printer-2"] {
        let (made, booked) = compared(&told, &format!("{printer} strokes"));
        assert!(made > 0 && made == booked, "{told}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_wiring_is_rehearsed_and_nothing_real_is_touched() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut text = HALL.to_owned();
    let ports = ["$RTU", "$MODULE", "$RACK", "$OVEN", "$BROKER"].map(|name| {
        let real = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
        real.set_nonblocking(true).expect("a socket");
        let port = real.local_addr().expect("an address").port();
        text = text.replace(name, &port.to_string());
        real
    });
    let mut serial = Pty::open().expect("a serial line");
    text = text.replace("$SERIAL", &serial.port().display().to_string());
    let orders = folder.path().join("orders");
    std::fs::create_dir(&orders).expect("a folder");
    std::fs::write(orders.join("monday.jsonl"), "{\"order\": \"REAL-1\"}").expect("a file");

    let mut child = rehearse_text(folder.path(), &text, &["--for", "50s", "--speed", "2"]);
    child.close_input();
    let status = child.exit(LIMIT).await;
    let told = child.transcript();

    assert!(status.success(), "{told}");
    assert!(told.contains("Differences: 0"), "{told}");
    for printer in ["printer-1", "printer-2", "printer-3", "bench"] {
        let (made, booked) = compared(&told, &format!("{printer} strokes"));
        assert!(made > 0 && made == booked, "{printer}: {told}");
    }
    assert!(!told.contains("printer-4 strokes"), "what is on trial counts nothing: {told}");
    for part in [
        "Modbus RTU over TCP, unit 3",
        "Modbus RTU, serial, unit 17",
        "Modbus/TCP Security, unit 1",
        "lock (print-permit)",
        "(on trial)",
        "washer-2   ST-",
        "rack-1     ST-1 is stored in A2",
        "orders     9000 is released",
        "printer-3  has finished order 900",
        "oven       tells of fault E-1: the door is open",
        "oven: order-quantity, order",
    ] {
        assert!(told.contains(part), "no {part:?} in:\n{told}");
    }
    assert!(!told.contains("cannot say"), "{told}");

    for real in &ports {
        let nobody = real.accept().expect_err("a real address was contacted");
        assert_eq!(nobody.kind(), std::io::ErrorKind::WouldBlock);
    }
    let mut byte = [0];
    let read = tokio::time::timeout(Duration::from_millis(100), serial.read(&mut byte));
    assert!(read.await.is_err(), "something came over the real serial line");
    assert_eq!(names(&orders), ["monday.jsonl"], "the real folder is as it was");
    assert_eq!(names(folder.path()), ["orders", "plant.yaml"], "nothing new lies there");
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("a folder");
    let names = entries.map(|entry| entry.expect("an entry").file_name());
    let mut names: Vec<String> = names.map(|name| name.to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_shipped_profile_is_rehearsed() {
    let used = PROFILES.matches("profile: ").count();
    let shipped = names(&root().join("config/profiles"));
    for profile in &shipped {
        let name = profile.trim_end_matches(".yaml");
        assert!(PROFILES.contains(&format!("profile: {name}")), "{name} is not rehearsed");
    }
    assert_eq!(used, shipped.len());
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = rehearse_text(folder.path(), PROFILES, &["--for", "40s"]);
    child.close_input();
    let status = child.exit(LIMIT).await;
    let told = child.transcript();
    assert!(status.success(), "{told}");
    assert!(told.contains("added: INVENTED-1, INVENTED-2, INVENTED-3"), "{told}");
    for printer in ["printer-1", "printer-2", "printer-3"] {
        let (made, booked) = compared(&told, &format!("{printer} strokes"));
        assert!(made > 0 && made == booked, "{told}");
    }
    assert!(!told.contains("Not rehearsed"), "{told}");
}
