//! What systemd hears of the gateway (sd_notify(3), sd_watchdog_enabled(3)).
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use stencilward_tests::child::{Child, Signal};
use stencilward_tests::free_port::free_port;
use tempfile::TempDir;

const LIMIT: Duration = Duration::from_secs(30);

/// Waits until it is told this.
fn hear(socket: &UnixDatagram, wanted: &str) -> String {
    let begun = Instant::now();
    let mut bytes = [0; 4_096];
    while begun.elapsed() < LIMIT {
        let Ok(length) = socket.recv(&mut bytes) else { continue };
        let told = String::from_utf8_lossy(&bytes[..length]).into_owned();
        if told.lines().any(|line| line == wanted) {
            return told;
        }
    }
    panic!("nobody said {wanted}");
}

/// A gateway in a folder, and where systemd would listen.
fn gateway(folder: &Path) -> (Child, UnixDatagram) {
    let (file, path) = (folder.join("plant.yaml"), folder.join("notify"));
    let _ = std::fs::remove_file(&path);
    let socket = UnixDatagram::bind(&path).unwrap();
    socket.set_read_timeout(Some(Duration::from_secs(1))).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(&file).env("NOTIFY_SOCKET", &path).env("WATCHDOG_USEC", "1000000");
    (Child::start(&command), socket)
}

fn plant() -> (TempDir, u16) {
    let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
    let text = format!("site: Invented Works\nlisten: 127.0.0.1:{port}\nledger: plant.db\n");
    std::fs::write(folder.path().join("plant.yaml"), text).unwrap();
    (folder, port)
}

#[tokio::test]
async fn systemd_hears_that_it_is_ready_moves_and_stops() {
    let (folder, port) = plant();
    let (mut gateway, socket) = gateway(folder.path());
    let told = hear(&socket, "READY=1");
    assert!(told.contains(&format!("STATUS=serving 127.0.0.1:{port}")), "{told}");
    for _ in 0..3 {
        hear(&socket, "WATCHDOG=1");
    }
    gateway.signal(Signal::TERM);
    hear(&socket, "STOPPING=1");
    assert!(gateway.exit(LIMIT).await.success());
}

/// As long as it reads, systemd waits (EXTEND_TIMEOUT_USEC) and shows how far it is.
#[tokio::test]
async fn systemd_hears_how_far_a_start_is() {
    let (folder, _) = plant();
    let (mut first, socket) = gateway(folder.path());
    hear(&socket, "READY=1");
    first.stop();
    std::fs::remove_file(folder.path().join("plant.db.snapshot")).unwrap();
    let (mut again, socket) = gateway(folder.path());
    let told = hear(&socket, "EXTEND_TIMEOUT_USEC=60000000");
    assert!(told.contains("STATUS=read 3 of 3 events"), "{told}");
    hear(&socket, "READY=1");
    again.stop();
}
