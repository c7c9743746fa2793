//! Starts from a snapshot: the same state as after reading everything, from whatever the last run
//! left; and a snapshot that is none, or a wrong one, leads nobody astray for long.
//!
//! The ledger is one that an earlier version wrote in an invented plant, with every machine there.
#![allow(clippy::unwrap_used, reason = "a helper that cannot go on fails the test")]

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, root};
use tempfile::TempDir;

const LIMIT: Duration = Duration::from_secs(30);

/// What a gateway says once it has read the ledger again and found the same.
const CHECKED: &str = "the snapshot says what the ledger says";

const PASSED_OVER: &str = "the snapshot is passed over";

/// Counters of what one run does.
const OF_THIS_RUN: [&str; 4] = [
    "stencilward_ledger_",
    "stencilward_link_troubles_total",
    "stencilward_rounds_total",
    "stencilward_signals_",
];

struct Plant {
    folder: TempDir,
    address: SocketAddr,
}

impl Plant {
    fn new() -> Self {
        let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
        let old = root().join("tests/tests/upgrade/ledgers");
        let text = std::fs::read_to_string(old.join("plant.yaml")).unwrap();
        let text = text.replace("PORT", &port.to_string());
        std::fs::write(folder.path().join("plant.yaml"), text).unwrap();
        std::fs::copy(old.join("last.ledger"), folder.path().join("plant.db")).unwrap();
        Self { folder, address: ([127, 0, 0, 1], port).into() }
    }

    /// One whose gateway ran once and left a snapshot.
    async fn with_snapshot() -> Self {
        let plant = Self::new();
        plant.run().await.stop();
        assert!(plant.snapshot().is_file());
        plant
    }

    fn snapshot(&self) -> PathBuf {
        self.folder.path().join("plant.db.snapshot")
    }

    /// The line that says of what the snapshot is, and the rest.
    fn read_snapshot(&self) -> (Value, String) {
        let text = std::fs::read_to_string(self.snapshot()).unwrap();
        let (line, rest) = text.split_once('\n').unwrap();
        (serde_json::from_str(line).unwrap(), rest.to_owned())
    }

    fn write_snapshot(&self, mut line: Value, rest: &str) {
        let hash: String = Sha256::digest(rest).iter().map(|byte| format!("{byte:02x}")).collect();
        line["sha256"] = json!(hash);
        std::fs::write(self.snapshot(), format!("{line}\n{rest}")).unwrap();
    }

    fn start(&self) -> Child {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg("run").arg(self.folder.path().join("plant.yaml"));
        Child::start(&command)
    }

    async fn run(&self) -> Child {
        let mut gateway = self.start();
        gateway.line("that it runs", LIMIT, says("running")).await;
        gateway
    }

    async fn hold(&self) {
        let hold = json!({ "by": "Invented Person", "why": "to look at it" });
        let held = http::post(self.address, "/api/v1/stencils/ST-202/hold", &hold).await.unwrap();
        assert_eq!(held.status, 200, "{}", held.body);
    }

    /// The stencils, and what was counted in the gateway's whole life.
    async fn shown(&self) -> (Value, Vec<String>) {
        let stencils = http::get(self.address, "/api/v1/stencils").await.unwrap().json();
        let metrics = http::get(self.address, "/metrics").await.unwrap().body;
        let lifetime = |line: &&str| {
            line.split(['{', ' ']).next().is_some_and(|name| name.ends_with("_total"))
                && !OF_THIS_RUN.iter().any(|of| line.starts_with(of))
        };
        (
            stencils["stencils"].clone(),
            metrics.lines().filter(lifetime).map(str::to_owned).collect(),
        )
    }
}

/// It may say so before it says that it runs, or after.
async fn checked(gateway: &Child) {
    eventually("it checked", LIMIT, async || {
        let said = gateway.transcript();
        if said.contains(CHECKED) { Ok(()) } else { Err(said) }
    })
    .await;
}

fn says(what: &str) -> impl Fn(&str) -> Option<()> {
    move |line| line.contains(what).then_some(())
}

#[tokio::test]
async fn a_start_from_a_snapshot_is_a_start_from_the_whole_ledger() {
    let plant = Plant::new();
    let mut whole = plant.run().await;
    let before = plant.shown().await;
    assert!(before.1.iter().any(|line| line.contains("printer-2")), "{:?}", before.1);
    assert!(whole.stop().success());

    let mut from_the_end = plant.run().await;
    assert!(!from_the_end.transcript().contains("read "), "{}", from_the_end.transcript());
    assert_eq!(plant.shown().await, before);
    checked(&from_the_end).await;
    plant.hold().await;
    let held = plant.shown().await;
    assert_ne!(held, before);
    from_the_end.kill();

    // A kill while the next was being written.
    std::fs::write(plant.folder.path().join("plant.db.unfinished"), "{").unwrap();
    let mut from_the_middle = plant.run().await;
    assert_eq!(plant.shown().await, held, "what came after the snapshot is read");
    checked(&from_the_middle).await;
    from_the_middle.kill();

    std::fs::remove_file(plant.snapshot()).unwrap();
    let mut again = plant.run().await;
    assert_eq!(plant.shown().await, held, "as without it");
    again.stop();
    assert!(
        plant.snapshot().is_file() && !plant.folder.path().join("plant.db.unfinished").exists()
    );
}

#[tokio::test]
async fn what_is_no_snapshot_of_this_ledger_is_passed_over() {
    let plant = Plant::with_snapshot().await;
    let (line, rest) = plant.read_snapshot();
    let otherwise = |key: &str, value: Value| {
        let mut line = line.clone();
        line[key] = value;
        plant.write_snapshot(line, &rest);
    };
    let content = std::fs::read(plant.snapshot()).unwrap();
    let spoils: [(&str, &dyn Fn()); 7] = [
        ("empty", &|| std::fs::write(plant.snapshot(), "").unwrap()),
        ("cut short", &|| std::fs::write(plant.snapshot(), &content[..content.len() / 2]).unwrap()),
        ("one bit", &|| {
            let mut content = content.clone();
            let last = content.len() - 3;
            content[last] ^= 1;
            std::fs::write(plant.snapshot(), content).unwrap();
        }),
        ("other rules", &|| {
            let mut line = line.clone();
            line["rules"] = json!("0");
            plant.write_snapshot(line, r#"{"of":"another shape"}"#);
        }),
        ("another ledger", &|| otherwise("hash", json!("00"))),
        ("of the future", &|| {
            let rest = rest.replace("\"head\":", "\"head\":9");
            let position: u64 = format!("9{}", line["position"]).parse().unwrap();
            let mut line = line.clone();
            line["position"] = json!(position);
            plant.write_snapshot(line, &rest);
        }),
        ("a folder", &|| {
            std::fs::remove_file(plant.snapshot()).unwrap();
            std::fs::create_dir(plant.snapshot()).unwrap();
        }),
    ];
    let mut shown = None;
    for (what, spoil) in spoils {
        spoil();
        let mut gateway = plant.run().await;
        let said = gateway.transcript();
        assert!(said.contains(PASSED_OVER) && said.contains("read "), "{what}: {said}");
        let told = what != "other rules" || said.contains("another version's rules");
        assert!(told, "{said}");
        let now = plant.shown().await;
        assert_eq!(shown.get_or_insert_with(|| now.clone()), &now, "{what}");
        // Without an orderly end, so that the next is spoilt in its turn.
        gateway.kill();
    }
    let mut gateway = plant.run().await;
    assert!(gateway.stop().success());
    let said = gateway.transcript();
    assert!(said.contains("no snapshot is taken"), "the folder is in the way: {said}");
}

/// Somebody changed what it says, and the check value with it.
#[tokio::test]
async fn a_wrong_snapshot_is_found_and_ends_the_gateway() {
    let plant = Plant::with_snapshot().await;
    let right = plant.run().await;
    let before = plant.shown().await;
    drop(right);
    let (line, rest) = plant.read_snapshot();
    let mut changed: Value = serde_json::from_str(&rest).unwrap();
    let strokes = &mut changed["state"]["stencils"]["ST-101"]["strokes"];
    assert!(strokes.as_u64().is_some_and(|strokes| strokes > 0), "{strokes}");
    *strokes = json!(0);
    plant.write_snapshot(line, &changed.to_string());

    let mut misled = plant.start();
    let status = misled.exit(LIMIT).await;
    assert!(!status.success());
    let said = misled.transcript();
    assert!(said.contains("did not say what the ledger says"), "{said}");
    assert!(!plant.snapshot().exists());
    let mut right = plant.run().await;
    assert_eq!(plant.shown().await, before);
    right.stop();
}
