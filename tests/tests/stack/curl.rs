//! curl as a client that trusts one authority only.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use stencilward_tests::missing;
use tempfile::TempDir;

/// A client with a jar of cookies.
pub(crate) struct Client {
    curl: PathBuf,
    jar: TempDir,
    ca: PathBuf,
    base: String,
    always: Vec<String>,
}

impl Client {
    /// Of the server at this base; none, said aloud, when there is no curl.
    pub(crate) fn of(base: &str, ca: &Path) -> Option<Self> {
        let curl = missing::program("curl", "Debian package curl")?;
        let (jar, ca) = (tempfile::tempdir().unwrap(), ca.to_owned());
        Some(Self { curl, jar, ca, base: base.to_owned(), always: Vec::new() })
    }

    /// Says these arguments with each request.
    pub(crate) fn always(&mut self, arguments: &[&str]) {
        self.always = arguments.iter().map(ToString::to_string).collect();
    }

    /// The answer's status, 0 without one within four seconds, and its body.
    pub(crate) fn ask(&self, arguments: &[&str], path: &str) -> (u16, String) {
        let jar = self.jar.path().join("jar");
        let mut curl = Command::new(&self.curl);
        curl.args(["-sS", "--noproxy", "*", "--max-time", "4", "-w", "\n%{http_code}"]);
        curl.arg("-b").arg(&jar).arg("-c").arg(&jar).arg("--cacert").arg(&self.ca);
        curl.args(&self.always).args(arguments).arg(format!("{}{path}", self.base));
        let output = curl.output().unwrap();
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
}
