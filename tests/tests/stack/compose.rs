//! `deploy/container/compose.yaml`, driven by Docker's compose with images that are here.

use std::path::PathBuf;
use std::process::{Command, Stdio};

use stencilward_tests::free_port::free_port;
use stencilward_tests::missing;
use tempfile::TempDir;

use crate::secrets::{deployed, script};
use crate::{image, succeeds};

/// Longest time that one of its commands may take, in seconds.
const PATIENCE: &str = "240";

/// The services that can be had here. Grafana's own image is left out, and said to be.
const SERVICES: [&str; 4] = ["gateway", "mosquitto", "prometheus", "alertmanager"];

/// The program: Docker's plugin, or the older one; none, said aloud, when there is neither.
pub(crate) fn program() -> Option<Vec<String>> {
    let plugin = Command::new("docker").args(["compose", "version"]).output();
    if plugin.is_ok_and(|output| output.status.success()) {
        return Some(["docker", "compose"].map(str::to_owned).to_vec());
    }
    let older = missing::program("docker-compose", "Debian package docker-compose")?;
    Some(vec![older.display().to_string()])
}

/// The stack, with secrets, volumes and ports of its own. Dropped, all of it is gone.
pub(crate) struct Stack {
    program: Vec<String>,
    folder: TempDir,
    project: String,
    /// Where the gateway is reached on loopback.
    pub(crate) port: u16,
    broker: u16,
}

impl Stack {
    /// Makes the secrets and starts it; none, said aloud, where that cannot be.
    pub(crate) async fn up() -> Option<Self> {
        let program = program()?;
        if !image::present().await {
            return None;
        }
        let folder = tempfile::tempdir().unwrap();
        succeeds(&mut script(&folder.path().join("secrets"), &["127.0.0.1"])?);
        let project = format!("stencilward-stack-{}", std::process::id());
        let (port, broker) = (free_port(), free_port());
        let stack = Self { program, folder, project, port, broker };
        stack.start(&[]);
        Some(stack)
    }

    /// Starts what does not run.
    pub(crate) fn start(&self, more: &[&str]) {
        println!("Grafana is left out: its image cannot be had everywhere");
        let up = ["up", "--detach", "--no-build"];
        succeeds(&mut self.compose(&[&up, more, &SERVICES].concat()));
    }

    /// A command of compose's.
    pub(crate) fn compose(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new("timeout");
        command.arg(PATIENCE).args(&self.program).arg("--file").arg(deployed("compose.yaml"));
        command.args(["--project-name", &self.project]).args(arguments);
        let services = format!("{}:{}", image::SERVICES, image::TAG);
        command
            .env("STENCILWARD_SECRETS", self.secrets())
            .env("STENCILWARD_IMAGE", format!("{}:{}", image::GATEWAY, image::TAG))
            .env("STENCILWARD_IMAGE_MOSQUITTO", &services)
            .env("STENCILWARD_IMAGE_PROMETHEUS", &services)
            .env("STENCILWARD_IMAGE_ALERTMANAGER", &services)
            .env("STENCILWARD_PORT", format!("127.0.0.1:{}", self.port))
            .env("STENCILWARD_PORT_MOSQUITTO", format!("127.0.0.1:{}", self.broker))
            .env_remove("STENCILWARD_PLANT")
            .stdin(Stdio::null());
        command
    }

    /// A command in the container of a service.
    pub(crate) fn inside(&self, service: &str, command: &[&str]) -> Command {
        self.compose(&[&["exec", "-T", service], command].concat())
    }

    /// The folder of the secrets.
    pub(crate) fn secrets(&self) -> PathBuf {
        self.folder.path().join("secrets")
    }

    /// The ids of its containers, by service.
    pub(crate) fn containers(&self) -> Vec<(&'static str, String)> {
        let id = |service| {
            let said = succeeds(&mut self.compose(&["ps", "--quiet", service]));
            (service, said.trim().to_owned())
        };
        SERVICES.into_iter().map(id).collect()
    }
}

impl Drop for Stack {
    fn drop(&mut self) {
        let down = ["down", "--volumes", "--remove-orphans", "--timeout", "10"];
        if let Err(why) = self.compose(&down).output() {
            eprintln!("{} is left behind: {why}", self.project);
        }
    }
}
