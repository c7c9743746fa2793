//! Installed, upgraded, removed, purged, installed again: what must stay stays, and nothing else.

use std::collections::BTreeSet;

use rusqlite::Connection;
use stencilward_tests::{ledger_read, root};
use tempfile::TempDir;

use super::deb::{NEWER, debs};
use super::machine::{Machine, told};
use super::unit::{configure, installed};

const CONFIGURATION: &str = "/etc/stencilward/plant.yaml";
const STATE: &str = "/var/lib/stencilward";

/// Every file of the machine, without those that every installation changes.
fn files(machine: &Machine) -> BTreeSet<String> {
    let apart =
        "/proc /sys /dev /run /tmp /var/cache /var/log /var/lib/dpkg /var/lib/systemd/random-seed";
    let apart: Vec<String> =
        apart.split(' ').map(|path| format!("-path {path} -prune -o")).collect();
    let found = machine.done(&format!("find / {} -print", apart.join(" ")));
    found.lines().map(str::to_owned).collect()
}

/// The hashes of the ledger's events, in order; the gateway is stopped.
async fn hashes(machine: &Machine) -> Vec<Vec<u8>> {
    let folder = TempDir::new().unwrap();
    let copy = folder.path().join("plant.db");
    machine.copy_out(&format!("{STATE}/plant.db"), &copy);
    ledger_read::recorded(&copy).await;
    let file = Connection::open(&copy).unwrap();
    let mut query = file.prepare("SELECT hash FROM event ORDER BY position").unwrap();
    query.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
}

#[tokio::test]
async fn a_first_installation_starts_nothing_and_says_how_to_go_on() {
    let Some(machine) = installed().await else { return };
    let modes = format!("stat -c '%a %U:%G %n' /etc/stencilward {CONFIGURATION} {STATE}");
    let modes = machine.done(&modes);
    let wanted = format!(
        "750 root:stencilward /etc/stencilward\n640 root:stencilward {CONFIGURATION}\n\
         750 stencilward:stencilward {STATE}\n"
    );
    assert_eq!(modes, wanted);
    assert_eq!(
        (machine.known("ActiveState"), machine.known("UnitFileState")),
        ("inactive".into(), "disabled".into())
    );
    let check = format!("runuser -u stencilward -- stencilward check {CONFIGURATION}");
    let output = machine.shell(&check);
    assert_eq!(output.status.code(), Some(2), "{}", told(&output));
    configure(&machine);
    assert!(machine.done(&check).contains("no fault"));

    // What root left there the gateway could not use.
    let people = format!(
        "stencilward people {CONFIGURATION} admit Anna --role manager --by test --why 'to see'"
    );
    let refused = told(&machine.shell(&people));
    assert!(refused.contains("runuser -u stencilward"), "{refused}");
    machine.done(&format!("runuser -u stencilward -- {people}"));
    machine.done("systemctl start stencilward");
}

/// A plant's whole life with the package: an old ledger, upgrades, a backup, removals.
#[tokio::test]
async fn upgrades_and_removals_keep_the_ledger_and_what_was_configured() {
    let Some(machine) = installed().await else { return };
    let Some(debs) = debs() else { return };
    configure(&machine);
    let old = root().join("tests/tests/upgrade/ledgers/first.ledger");
    machine.copy_in(&old, "/tmp/plant.db");
    machine.done(&format!("install -o stencilward -m 600 /tmp/plant.db {STATE}/plant.db"));
    let before = hashes(&machine).await;
    machine.done("systemctl enable --now stencilward");
    let first = machine.known("MainPID");

    // The newer package brings another configuration: the plant's own stays, the other lies beside.
    machine.copy_in(&debs.later, "/tmp/later.deb");
    machine.done("dpkg --force-confold -i /tmp/later.deb");
    assert_eq!(
        machine.done("dpkg-query -W -f '${Version} ${Status}' stencilward"),
        "99.0.0-1 install ok installed"
    );
    assert_eq!(machine.known("ActiveState"), "active");
    assert_ne!(machine.known("MainPID"), first, "the new program runs");
    let kept = machine.done(&format!("cat {CONFIGURATION}"));
    assert!(kept.contains("site: Invented Works") && !kept.contains(NEWER), "{kept}");
    assert!(machine.done(&format!("cat {CONFIGURATION}.dpkg-dist")).contains(NEWER));
    assert_eq!(machine.known("UnitFileState"), "enabled");

    let backups = "/var/backups/stencilward";
    machine.done(&format!("install -d -o stencilward -m 700 {backups}"));
    machine
        .done(&format!("runuser -u stencilward -- stencilward backup {CONFIGURATION} {backups}"));
    machine.done("systemctl stop stencilward");
    let upgraded = hashes(&machine).await;
    assert_eq!(upgraded[..before.len()], before[..]);
    let restore = format!("stencilward restore {CONFIGURATION} {backups}/*.db --replace");
    let refused = told(&machine.shell(&restore));
    assert!(refused.contains("runuser -u stencilward"), "{refused}");
    machine.done(&format!("runuser -u stencilward -- {restore}"));
    machine.done("systemctl start stencilward");

    machine.done("dpkg --remove stencilward");
    machine.done(&format!("test ! -e /usr/bin/stencilward && test -e {CONFIGURATION}"));
    assert!(!machine.shell("systemctl is-active stencilward").status.success());
    machine.done("dpkg -i /tmp/later.deb && systemctl start stencilward");
    assert_eq!(machine.known("UnitFileState"), "enabled", "as it was");
    machine.done("systemctl stop stencilward");

    let told = machine.done("dpkg --purge stencilward");
    assert!(told.contains("the ledger stays in /var/lib/stencilward"), "{told}");
    machine.done(&format!("test ! -e /etc/stencilward && test -e {STATE}/plant.db"));
    machine.done("dpkg -i /tmp/now.deb");
    configure(&machine);
    assert_eq!(machine.known("UnitFileState"), "disabled", "a new beginning");
    machine.done("systemctl start stencilward && systemctl stop stencilward");
    let last = hashes(&machine).await;
    assert_eq!(last[..before.len()], before[..]);
    assert!(last.len() > before.len(), "and it goes on");
}

#[tokio::test]
async fn a_purge_leaves_nothing_but_a_ledger_and_its_owner() {
    let Some(debs) = debs() else { return };
    let Some(machine) = Machine::start().await else { return };
    let before = files(&machine);
    machine.copy_in(&debs.now, "/tmp/now.deb");
    machine.done("dpkg -i /tmp/now.deb");
    machine.done("systemctl enable stencilward; dpkg --purge stencilward");
    let left: Vec<_> = files(&machine).difference(&before).cloned().collect();
    // The copies of the lists of users before the last change belong to Debian.
    let users = ["/etc/group-", "/etc/gshadow-", "/etc/passwd-", "/etc/shadow-"];
    let left: Vec<_> = left.into_iter().filter(|path| !users.contains(&path.as_str())).collect();
    assert_eq!(left, Vec::<String>::new());
    machine.done("getent passwd stencilward");

    machine.done("dpkg -i /tmp/now.deb");
    configure(&machine);
    machine.done("systemctl start stencilward; dpkg --purge stencilward");
    let left: Vec<_> = files(&machine).difference(&before).cloned().collect();
    let ledger = |path: &&String| path.starts_with(STATE) || users.contains(&path.as_str());
    assert_eq!(left.iter().find(|path| !ledger(path)), None, "{left:?}");
    assert!(left.contains(&format!("{STATE}/plant.db")), "{left:?}");
}
