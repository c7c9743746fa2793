//! `deploy/container/compose.yaml`, driven by the commands of `deploy/README.md` with images that
//! are here.

use std::path::PathBuf;
use std::process::{Command, Stdio};

use stencilward_tests::free_port::free_port;
use stencilward_tests::{missing, root};
use tempfile::TempDir;

use crate::secrets::deployed;
use crate::{image, succeeds};

/// Longest time that one of its commands may take, in seconds.
const PATIENCE: &str = "240";

/// The services that can be had here. Grafana's own image is left out, and said to be.
const SERVICES: [&str; 4] = ["gateway", "mosquitto", "prometheus", "alertmanager"];

/// Runs a command of the guide. What it says to Docker is said to compose with the test's images;
/// the image is built before, and whoever reads the log does so once the gateway is up.
const GUIDED: &str = r#"
docker() {
    local said=$1
    shift
    case $said in
    build) return ;;
    compose) ;;
    *) echo "the guide says docker $said" >&2; exit 1 ;;
    esac
    if [ "$1" = up ]; then
        $COMPOSE "$@" --no-build $SERVICES
        until $COMPOSE exec -T gateway stencilward ready https://127.0.0.1:9464; do sleep 1; done
    else
        $COMPOSE "$@"
    fi
}
"#;

/// The commands of the guide, in its first block about containers.
fn guide() -> Vec<String> {
    let text = std::fs::read_to_string(root().join("deploy/README.md")).unwrap();
    let section = text.split_once("\n## As a container\n").unwrap().1;
    let block = section.split("```").nth(1).unwrap().replace("\\\n", "");
    block.lines().filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

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
    /// Makes the secrets and starts it as the guide says; none, said aloud, where that cannot be.
    pub(crate) async fn up() -> Option<Self> {
        let program = program()?;
        if !image::present().await {
            return None;
        }
        missing::program("openssl", "Debian package openssl")?;
        let folder = tempfile::tempdir().unwrap();
        let project = format!("stencilward-stack-{}", std::process::id());
        let (port, broker) = (free_port(), free_port());
        let stack = Self { program, folder, project, port, broker };
        println!("Grafana is left out: its image cannot be had everywhere");
        let guide = guide();
        let (token, start) = guide.split_last().unwrap();
        assert!(token.contains("metrics-token"), "{token}");
        let said = stack.follow(&start.join("\n"));
        assert!(said.contains("with the password"), "the guide shows the first password: {said}");
        Some(stack)
    }

    /// Gives Prometheus its token as the guide says.
    pub(crate) fn admit_prometheus(&self) {
        let guide = guide();
        self.follow(&format!("cd deploy/container\n{}", guide.last().unwrap()));
    }

    fn follow(&self, commands: &str) -> String {
        let said = self.compose(&[]);
        let words: Vec<_> = said.get_args().map(|word| word.to_string_lossy()).collect();
        let mut bash = Command::new("timeout");
        bash.args([PATIENCE, "bash", "-euo", "pipefail", "-c", &format!("{GUIDED}\n{commands}")]);
        bash.current_dir(root()).stdin(Stdio::null());
        bash.envs(said.get_envs().filter_map(|(name, value)| Some((name, value?))));
        bash.env("COMPOSE", format!("timeout {}", words.join(" ")));
        bash.env("SERVICES", SERVICES.join(" "));
        succeeds(&mut bash)
    }

    /// Puts new containers in the place of the old ones.
    pub(crate) fn recreate(&self) {
        let up = ["up", "--detach", "--no-build", "--force-recreate"];
        succeeds(&mut self.compose(&[&up[..], &SERVICES].concat()));
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
