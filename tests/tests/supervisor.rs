//! What systemd hears of the gateway (sd_notify(3), sd_watchdog_enabled(3)).
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

use std::os::unix::net::UnixDatagram;
use std::process::Command;
use std::time::{Duration, Instant};

use stencilward_tests::child::{Child, Signal};
use stencilward_tests::free_port::free_port;

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

#[tokio::test]
async fn systemd_hears_that_it_is_ready_moves_and_stops() {
    let folder = tempfile::tempdir().unwrap();
    let (file, path) = (folder.path().join("plant.yaml"), folder.path().join("notify"));
    let port = free_port();
    std::fs::write(&file, format!("site: Invented Works\nlisten: 127.0.0.1:{port}\n")).unwrap();
    let socket = UnixDatagram::bind(&path).unwrap();
    socket.set_read_timeout(Some(Duration::from_secs(1))).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(&file).env("NOTIFY_SOCKET", &path).env("WATCHDOG_USEC", "1000000");
    let mut gateway = Child::start(&command);
    let told = hear(&socket, "READY=1");
    assert!(told.contains(&format!("STATUS=serving 127.0.0.1:{port}")), "{told}");
    for _ in 0..3 {
        hear(&socket, "WATCHDOG=1");
    }
    gateway.signal(Signal::TERM);
    hear(&socket, "STOPPING=1");
    assert!(gateway.exit(LIMIT).await.success());
}
