//! Mosquitto as a process of its own.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use tempfile::TempDir;

use super::{Limits, configuration};
use crate::child::Child;

#[derive(Debug)]
pub(super) struct Installed {
    program: PathBuf,
    // Before the folder, so that the broker has ended when the folder is removed.
    child: Child,
    folder: TempDir,
}

impl Installed {
    pub(super) fn start(program: &Path, port: u16, limits: Limits) -> Self {
        let folder = folder_with_configuration(port, limits)
            .unwrap_or_else(|why| panic!("no folder for mosquitto: {why}"));
        Self { program: program.to_path_buf(), child: run(program, folder.path()), folder }
    }

    /// False when it ended because another program has its port.
    pub(super) async fn listens(&mut self) -> bool {
        let limit = Duration::from_secs(20);
        self.child
            .line("whether it listens", limit, |line| {
                if line.contains("Address already in use") {
                    return Some(false);
                }
                line.contains(" running").then_some(true)
            })
            .await
    }

    pub(super) fn stop(&mut self) {
        self.child.stop();
    }

    pub(super) fn kill(&mut self) {
        self.child.kill();
    }

    pub(super) fn again(&mut self) {
        self.child = run(&self.program, self.folder.path());
    }
}

fn folder_with_configuration(port: u16, limits: Limits) -> std::io::Result<TempDir> {
    let folder = tempfile::tempdir()?;
    let kept = folder.path().to_string_lossy();
    let text = configuration(&format!("{port} 127.0.0.1"), &kept, limits);
    std::fs::write(folder.path().join("mosquitto.conf"), text)?;
    Ok(folder)
}

fn run(program: &Path, folder: &Path) -> Child {
    let mut command = Command::new(program);
    command.arg("-c").arg(folder.join("mosquitto.conf"));
    Child::start(&command)
}
