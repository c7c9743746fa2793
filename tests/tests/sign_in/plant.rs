//! A plant of one stencil, its gateway, and a client of it.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::Command;

use rcgen::{CertificateParams, KeyPair};
use stencilward_tests::child::Child;
use stencilward_tests::curl::Client;
use stencilward_tests::free_port::free_port;
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

    /// A client that trusts the certificate of the moment; none, said aloud, when there is no curl.
    pub(crate) fn client(&self) -> Option<Client> {
        let scheme = if self.secured { "https" } else { "http" };
        let own = self.path("own.pem");
        Client::of(&format!("{scheme}://{}", self.address()), self.secured.then_some(&own))
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
