//! The unit under systemd itself: ready when it serves, reloaded, fed, started again after a crash
//! and not after a faulty configuration.

use stencilward_tests::ledger_read;

use super::deb::debs;
use super::machine::Machine;

/// A machine with the package, not configured yet.
pub(crate) async fn installed() -> Option<Machine> {
    let debs = debs()?;
    let machine = Machine::start().await?;
    machine.copy_in(&debs.now, "/tmp/now.deb");
    machine.done("dpkg -i /tmp/now.deb");
    Some(machine)
}

/// Gives the site a name, which is all that the configuration lacks.
pub(crate) fn configure(machine: &Machine) {
    machine.done("sed -i 's/^site:$/site: Invented Works/' /etc/stencilward/plant.yaml");
}

/// Asks for a page as a shell can that has no program for it.
fn ask(path: &str) -> String {
    let request =
        format!("GET {path} HTTP/1.1\\r\\nHost: localhost\\r\\nConnection: close\\r\\n\\r\\n");
    format!("exec 3<>/dev/tcp/127.0.0.1/9464; printf '{request}' >&3; tr -d '\\r' <&3")
}

#[tokio::test]
async fn it_is_ready_when_it_serves_and_reads_its_configuration_anew() {
    let Some(machine) = installed().await else { return };
    configure(&machine);
    machine.done("systemctl enable --now stencilward");
    // At once: `systemctl start` waited for it.
    let ready = machine.done(&ask("/readyz"));
    assert!(ready.starts_with("HTTP/1.1 200"), "{ready}\n{}", machine.log());
    assert_eq!(machine.known("StatusText"), "serving 127.0.0.1:9464");
    let id = machine.known("MainPID");
    let owner = machine.done(&format!("stat -c %U /proc/{id}"));
    assert_eq!(owner.trim(), "stencilward");

    let file = "/etc/stencilward/plant.yaml";
    machine.done(&format!("echo 'stencils: [{{ code: ST-1, rated-strokes: 900 }}]' >>{file}"));
    machine.done("systemctl reload stencilward");
    let look = ask("/api/v1/stencils/ST-1");
    machine.until("the stencil is known", &look, "HTTP/1.1 200 OK").await;
    machine.done(&format!("echo 'nonsense: 1' >>{file}; systemctl reload stencilward"));
    let refused = "journalctl --no-pager -o cat -u stencilward | grep -c nonsense";
    machine.until("the fault is told", refused, "1").await;
    assert_eq!(machine.known("MainPID"), id, "it went on as it was");
    assert_eq!(machine.known("ActiveState"), "active");

    machine.done("systemctl stop stencilward");
    assert_eq!(machine.known("Result"), "success");
    assert!(machine.log().contains("stopped: everything taken in is durable"), "{}", machine.log());
    machine.done("systemd-analyze security --threshold=20 --no-pager stencilward");
}

#[tokio::test]
async fn what_is_killed_or_stuck_starts_again_and_a_faulty_configuration_does_not() {
    let Some(machine) = installed().await else { return };
    let failed = machine.shell("systemctl start stencilward");
    assert!(!failed.status.success());
    let log = machine.log();
    assert!(log.contains("plant.yaml:11: site: text is needed"), "{log}");
    assert_eq!(machine.known("ActiveState"), "failed");
    assert_eq!(
        (machine.known("ExecMainStatus"), machine.known("NRestarts")),
        ("2".into(), "0".into())
    );

    configure(&machine);
    let unit = "/etc/systemd/system/stencilward.service.d";
    machine.done(&format!("mkdir {unit}; printf '[Service]\\nWatchdogSec=2\\n' >{unit}/test.conf"));
    machine.done("systemctl daemon-reload; systemctl start stencilward");
    let restarts = "systemctl show -p NRestarts -p ActiveState stencilward | sort | xargs";
    machine.done(&format!("kill -KILL {}", machine.known("MainPID")));
    machine.until("it starts again", restarts, "ActiveState=active NRestarts=1").await;
    machine.done(&format!("kill -STOP {}", machine.known("MainPID")));
    machine.until("it is stuck", restarts, "ActiveState=active NRestarts=2").await;
    assert!(machine.log().contains("Watchdog timeout"), "{}", machine.log());
    machine.done("systemctl stop stencilward");

    let folder = tempfile::tempdir().unwrap();
    let ledger = folder.path().join("plant.db");
    machine.copy_out("/var/lib/stencilward/plant.db", &ledger);
    assert!(!ledger_read::events(&ledger).await.is_empty(), "and the chain is whole");
}
