//! A plant of one stencil, its gateway, and curl as its client.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::Command;

use rcgen::{CertificateParams, KeyPair};
use serde_json::Value;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::missing;
use tempfile::TempDir;

use super::LIMIT;

/// A plant in a folder of its own.
pub(crate) struct Plant {
    folder: TempDir,
    port: u16,
    secured: bool,
}

impl Plant {
    /// Listening there, with more lines in its file.
    pub(crate) fn new(listen: &str, more: &str) -> Self {
        let secured = more.contains("tls:");
        let plant = Self { folder: tempfile::tempdir().unwrap(), port: free_port(), secured };
        let text = format!(
            "site: Invented Works\nlisten: {listen}:{}\nledger: plant.db\n{more}\
             stencils:\n  - {{ code: ST-1, rated-strokes: 1000, clean: true }}\n",
            plant.port
        );
        std::fs::write(plant.path("plant.yaml"), text).unwrap();
        plant
    }

    /// With a certificate and people.
    pub(crate) fn secured(listen: &str) -> Self {
        let more = "tls: { certificate: own.pem, key: own.key }\nsign-in: {}\n";
        let plant = Self::new(listen, more);
        plant.certify();
        plant
    }

    /// Gives it a certificate that vouches for itself.
    pub(crate) fn certify(&self) {
        let key = KeyPair::generate().unwrap();
        let params = CertificateParams::new(vec!["127.0.0.1".to_owned()]).unwrap();
        let own = params.self_signed(&key).unwrap();
        std::fs::write(self.path("own.pem"), own.pem()).unwrap();
        std::fs::write(self.path("own.key"), key.serialize_pem()).unwrap();
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Where it is reached.
    pub(crate) fn address(&self) -> SocketAddr {
        ([127, 0, 0, 1], self.port).into()
    }

    pub(crate) fn command(&self, name: &str, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg(name).arg(self.path("plant.yaml")).args(more);
        command
    }

    pub(crate) async fn run(&self) -> Child {
        let mut gateway = Child::start(&self.command("run", &[]));
        gateway.line("that it runs", LIMIT, |line| line.contains("running").then_some(())).await;
        gateway
    }
}

/// The word after these.
pub(crate) fn after(text: &str, words: &str) -> String {
    let rest = text.split_once(words).unwrap_or_else(|| panic!("no {words:?} in {text}")).1;
    rest.split([',', '\n', ' ']).next().unwrap().to_owned()
}

/// curl with a jar of cookies, which trusts the certificate of the moment.
pub(crate) struct Client {
    curl: PathBuf,
    folder: TempDir,
    base: String,
}

impl Client {
    /// None, said aloud, when there is no curl.
    pub(crate) fn of(plant: &Plant) -> Option<Self> {
        let curl = missing::program("curl", "Debian package curl")?;
        let folder = tempfile::tempdir().unwrap();
        let scheme = if plant.secured { "https" } else { "http" };
        if plant.secured {
            std::fs::copy(plant.path("own.pem"), folder.path().join("trusted.pem")).unwrap();
        }
        Some(Self { curl, folder, base: format!("{scheme}://{}", plant.address()) })
    }

    /// The answer's status, 0 without one, and its body.
    pub(crate) fn ask(&self, arguments: &[&str], path: &str) -> (u16, String) {
        let jar = self.folder.path().join("jar");
        let mut curl = Command::new(&self.curl);
        curl.args(["-sS", "--noproxy", "*", "--max-time", "20", "-w", "\n%{http_code}"]);
        curl.arg("-b").arg(&jar).arg("-c").arg(&jar);
        if self.base.starts_with("https") {
            curl.arg("--cacert").arg(self.folder.path().join("trusted.pem"));
        }
        let output = curl.args(arguments).arg(format!("{}{path}", self.base)).output().unwrap();
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let (body, status) = text.rsplit_once('\n').unwrap();
        (status.parse().unwrap(), body.to_owned())
    }

    pub(crate) fn get(&self, path: &str) -> (u16, String) {
        self.ask(&[], path)
    }

    pub(crate) fn post(&self, path: &str, body: &Value) -> (u16, String) {
        let body = body.to_string();
        self.ask(&["-H", "Content-Type: application/json", "-d", &body], path)
    }

    /// The cookies it has.
    pub(crate) fn jar(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("jar")).unwrap()
    }
}
