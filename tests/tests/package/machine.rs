//! A bare Debian of debootstrap that systemd runs, in a container without a network.

use std::path::Path;
use std::process::{Command, Output};
use std::sync::{Mutex, PoisonError};

use stencilward_tests::wait::eventually;
use stencilward_tests::{missing, root};

use super::LIMIT;

const IMAGE: &str = "stencilward-tests/systemd:local";

/// A running machine. Dropping it ends it.
pub(crate) struct Machine(String);

impl Machine {
    /// Starts a fresh one; none, said aloud, where there is no Docker engine, or no debootstrap to
    /// make its image with.
    pub(crate) async fn start() -> Option<Self> {
        let docker = missing::program("docker", "Debian package docker.io")?;
        if !ran(Command::new(docker).args(["version"])) {
            missing::skip("no Docker engine answers");
            return None;
        }
        image()?;
        // What systemd needs to set services apart from one another, and no more.
        let run = "run --detach --network none --cap-add SYS_ADMIN --cap-add SYS_PTRACE \
                   --security-opt seccomp=unconfined --security-opt apparmor=unconfined \
                   --cgroupns private --tmpfs /run --tmpfs /run/lock --env container=docker";
        let mut arguments: Vec<&str> = run.split_whitespace().collect();
        arguments.extend([IMAGE, "/sbin/init"]);
        let output = docker_with(&arguments).output().unwrap();
        assert!(output.status.success(), "{}", told(&output));
        let machine = Self(String::from_utf8(output.stdout).unwrap().trim().to_owned());
        machine.until("systemd runs", "systemctl is-system-running", "running").await;
        Some(machine)
    }

    /// Has its shell carry this out.
    pub(crate) fn shell(&self, script: &str) -> Output {
        docker_with(&["exec", &self.0, "bash", "-c", script]).output().unwrap()
    }

    /// The same, which must succeed; gives what it wrote.
    pub(crate) fn done(&self, script: &str) -> String {
        let output = self.shell(script);
        assert!(output.status.success(), "{script}: {}\n{}", told(&output), self.log());
        told(&output)
    }

    /// Waits until this writes that line.
    pub(crate) async fn until(&self, what: &str, script: &str, line: &str) {
        eventually(what, LIMIT, async || {
            let seen = told(&self.shell(script));
            if seen.lines().any(|seen| seen == line) { Ok(()) } else { Err(seen) }
        })
        .await;
    }

    /// What systemd knows of the service by this name, such as `MainPID`.
    pub(crate) fn known(&self, property: &str) -> String {
        self.done(&format!("systemctl show -P {property} stencilward")).trim().to_owned()
    }

    /// What the service said.
    pub(crate) fn log(&self) -> String {
        told(&self.shell("journalctl --no-pager -o cat -u stencilward"))
    }

    pub(crate) fn copy_in(&self, from: &Path, to: &str) {
        self.copy(&from.display().to_string(), &format!("{}:{to}", self.0));
    }

    pub(crate) fn copy_out(&self, from: &str, to: &Path) {
        self.copy(&format!("{}:{from}", self.0), &to.display().to_string());
    }

    fn copy(&self, from: &str, to: &str) {
        let output = docker_with(&["cp", from, to]).output().unwrap();
        assert!(output.status.success(), "{}", told(&output));
    }
}

impl Drop for Machine {
    fn drop(&mut self) {
        docker_with(&["rm", "--force", "--volumes", &self.0]).output().ok();
    }
}

/// Makes the image if there is none yet, once for all tests that wait for it.
fn image() -> Option<()> {
    static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
    let _turn = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
    if ran(&mut docker_with(&["image", "inspect", IMAGE])) {
        return Some(());
    }
    missing::program("debootstrap", "Debian package debootstrap")?;
    let mut script = Command::new(root().join("tests/images/debian.sh"));
    let output = script.args([IMAGE, "systemd-sysv,adduser"]).output().unwrap();
    assert!(output.status.success(), "{}", told(&output));
    Some(())
}

fn docker_with(arguments: &[&str]) -> Command {
    let mut docker = Command::new("docker");
    docker.args(arguments);
    docker
}

fn ran(command: &mut Command) -> bool {
    command.output().is_ok_and(|output| output.status.success())
}

pub(crate) fn told(output: &Output) -> String {
    [&*output.stdout, &*output.stderr].map(String::from_utf8_lossy).concat()
}
