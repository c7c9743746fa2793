//! curl as a client with a jar of cookies, which trusts nobody but who it is told to.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use tempfile::TempDir;

use crate::missing;

/// Longest time that a request may take, in seconds.
const PATIENCE: &str = "20";

/// A client of one server.
#[derive(Debug)]
pub struct Client {
    curl: PathBuf,
    folder: TempDir,
    base: String,
    secured: bool,
    always: Vec<String>,
}

impl Client {
    /// Of the server at this base, trusting the certificate as it lies in this file now; none, said
    /// aloud, when there is no curl.
    ///
    /// # Panics
    /// When the certificate cannot be read; with `CI=true` when there is no curl.
    #[must_use]
    pub fn of(base: &str, trusted: Option<&Path>) -> Option<Self> {
        let curl = missing::program("curl", "Debian package curl")?;
        let folder = tempfile::tempdir().expect("a folder");
        if let Some(trusted) = trusted {
            std::fs::copy(trusted, folder.path().join("trusted.pem")).expect("a certificate");
        }
        let (base, secured) = (base.to_owned(), trusted.is_some());
        Some(Self { curl, folder, base, secured, always: Vec::new() })
    }

    /// Says these arguments with each request.
    pub fn always(&mut self, arguments: &[&str]) {
        self.always = arguments.iter().map(ToString::to_string).collect();
    }

    /// The answer's status, 0 without one, and its body.
    ///
    /// # Panics
    /// When curl cannot be run.
    #[must_use]
    pub fn ask(&self, arguments: &[&str], path: &str) -> (u16, String) {
        let jar = self.folder.path().join("jar");
        let mut curl = Command::new(&self.curl);
        curl.args(["-sS", "--noproxy", "*", "--max-time", PATIENCE, "-w", "\n%{http_code}"]);
        curl.arg("-b").arg(&jar).arg("-c").arg(&jar);
        if self.secured {
            curl.arg("--cacert").arg(self.folder.path().join("trusted.pem"));
        }
        curl.args(&self.always).args(arguments).arg(format!("{}{path}", self.base));
        let output = curl.output().expect("curl runs");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let (body, status) = text.rsplit_once('\n').expect("a status in the last line");
        (status.parse().expect("a status"), body.to_owned())
    }

    /// `GET path`.
    ///
    /// # Panics
    /// As [`Self::ask`].
    #[must_use]
    pub fn get(&self, path: &str) -> (u16, String) {
        self.ask(&[], path)
    }

    /// `POST path` with a JSON body.
    ///
    /// # Panics
    /// As [`Self::ask`].
    pub fn post(&self, path: &str, body: &Value) -> (u16, String) {
        let body = body.to_string();
        self.ask(&["-H", "Content-Type: application/json", "-d", &body], path)
    }

    /// The cookies it has.
    ///
    /// # Panics
    /// When it was given none.
    #[must_use]
    pub fn jar(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("jar")).expect("a jar")
    }
}
