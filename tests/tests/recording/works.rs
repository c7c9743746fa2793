//! A folder with a configuration, and the program run on it.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;

use serde_json::Value;
use stencilward_tests::child::{Child, Signal};
use stencilward_tests::free_port::free_port;
use stencilward_tests::http;
use stencilward_tests::wait::eventually;

pub(crate) const LIMIT: Duration = Duration::from_secs(30);

pub(crate) struct Works {
    folder: tempfile::TempDir,
    address: SocketAddr,
    machines: String,
}

impl Works {
    /// With these machines and brokers in the file.
    pub(crate) fn new(machines: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let address = ([127, 0, 0, 1], free_port()).into();
        let works = Self { folder, address, machines: machines.to_owned() };
        works.write("plant.yaml", "", "");
        works
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a configuration in which one text stands for another.
    pub(crate) fn write(&self, name: &str, from: &str, to: &str) {
        assert!(self.machines.contains(from), "{from:?} is not in the file");
        let machines = self.machines.replacen(from, to, 1);
        let text = format!("site: Invented Works\nlisten: {}\n{machines}", self.address);
        std::fs::write(self.path(name), text).expect("written");
    }

    pub(crate) async fn run(&self) -> Child {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg("run").arg(self.path("plant.yaml"));
        let mut gateway = Child::start(&command);
        let running = |line: &str| line.contains("running").then_some(());
        gateway.line("that it runs", LIMIT, running).await;
        gateway
    }

    /// Has the program read its file anew, and waits until that is in force.
    pub(crate) async fn reload(&self, gateway: &mut Child) {
        gateway.signal(Signal::HUP);
        let done = |line: &str| line.contains("the new configuration is in force").then_some(());
        gateway.line("that it has reloaded", LIMIT, done).await;
    }

    /// Waits until `is` is true of what the gateway shows of a machine.
    pub(crate) async fn shows(&self, machine: &str, is: impl Fn(&Value) -> bool) {
        let path = format!("/api/v1/machines/{machine}");
        eventually(&format!("{machine} is shown so"), LIMIT, async || {
            let shown = http::get(self.address, &path).await.ok_or_else(String::new)?;
            if is(&shown.json()) { Ok(()) } else { Err(shown.body) }
        })
        .await;
    }

    /// Waits until a recording holds this.
    pub(crate) async fn recorded(&self, name: &str, what: &str) {
        eventually(&format!("{what} is recorded"), LIMIT, async || {
            let text = std::fs::read(self.path(name)).unwrap_or_default();
            let text = String::from_utf8_lossy(&text).into_owned();
            if text.contains(what) { Ok(()) } else { Err(text.len()) }
        })
        .await;
    }

    pub(crate) fn replay(&self, plant: &str, more: &[&str]) -> Replayed {
        replay(&self.path(plant), self.folder.path(), more)
    }
}

/// What a replay showed, and its exit status.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Replayed {
    pub(crate) status: i32,
    pub(crate) text: String,
}

impl Replayed {
    /// Checks the status and that all of this was shown.
    #[track_caller]
    pub(crate) fn is(&self, status: i32, parts: &[&str]) {
        assert_eq!(self.status, status, "{}", self.text);
        for part in parts {
            assert!(self.text.contains(part), "no {part:?} in:\n{}", self.text);
        }
    }
}

/// Replays with the program; what is in `more` that is no option lies in `folder`.
pub(crate) fn replay(plant: &Path, folder: &Path, more: &[&str]) -> Replayed {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.current_dir(folder).arg("replay").arg(plant).args(more);
    let Output { status, stdout, stderr } = command.output().expect("it runs");
    let text = String::from_utf8_lossy(&[stdout, stderr].concat()).into_owned();
    Replayed { status: status.code().expect("it ends by itself"), text }
}
