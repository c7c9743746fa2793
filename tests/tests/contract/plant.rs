//! A plant of two printers that nobody wired, its gateway, and what happened in it.

use std::net::SocketAddr;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http::{self, Answer};
use tempfile::TempDir;

use crate::LIMIT;

/// A plant in a folder of its own.
pub(crate) struct Plant {
    folder: TempDir,
    port: u16,
}

impl Plant {
    pub(crate) fn new() -> Self {
        let plant = Self { folder: tempfile::tempdir().expect("a folder"), port: free_port() };
        let text = format!(
            "site: Invented Works\nlisten: 127.0.0.1:{}\nledger: plant.db\nsign-in: {{}}\n\
             policy: {{ wash: {{ by-hand: true }} }}\n\
             stencils:\n  - {{ code: ST-1, rated-strokes: 1000, clean: true }}\n  \
             - {{ code: ST-2, rated-strokes: 1000, product: A, side: top }}\n\
             machines:\n  - {{ name: press, kind: printer, strokes: {{ book: order }} }}\n  \
             - {{ name: printer, kind: printer, strokes: {{ book: hand }} }}\n",
            plant.port
        );
        std::fs::write(plant.folder().join("plant.yaml"), text).expect("it can be written");
        plant
    }

    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Where it is reached.
    pub(crate) fn address(&self) -> SocketAddr {
        ([127, 0, 0, 1], self.port).into()
    }

    fn command(&self, name: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg(name).arg(self.folder().join("plant.yaml"));
        command
    }

    /// The token of a program with this role.
    pub(crate) fn program(&self, role: &str) -> String {
        let mut command = self.command("people");
        command.args(["admit", &format!("a {role}'s program"), "--role", role, "--program"]);
        let output =
            command.args(["--by", "the test", "--why", "to see"]).output().expect("it runs");
        let told = String::from_utf8_lossy(&output.stdout).into_owned();
        let (_, token) = told.split_once("token, not shown again: ").expect("a token");
        token.trim().to_owned()
    }

    /// Lets that program in no more.
    pub(crate) fn dismiss(&self, role: &str) {
        let mut command = self.command("people");
        command.args(["dismiss", &format!("a {role}'s program")]);
        let output =
            command.args(["--by", "the test", "--why", "to see"]).output().expect("it runs");
        assert!(output.status.success(), "{output:?}");
    }

    pub(crate) async fn run(&self) -> Child {
        let mut gateway = Child::start(&self.command("run"));
        gateway.line("that it runs", LIMIT, |line| line.contains("running").then_some(())).await;
        gateway
    }

    pub(crate) async fn post(&self, token: &str, path: &str, body: &Value) -> Answer {
        self.send(token, "POST", path, "", &body.to_string()).await
    }

    /// Sends this, with more lines in its head.
    pub(crate) async fn send(
        &self,
        token: &str,
        method: &str,
        path: &str,
        head: &str,
        body: &str,
    ) -> Answer {
        let request = format!(
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\
             Authorization: Bearer {token}\r\nContent-Type: application/json\r\n{head}\
             Content-Length: {}\r\n\r\n{body}",
            self.address(),
            body.len()
        );
        http::send(self.address(), &request).await.expect("an answer")
    }

    /// Gives each list something to tell of: an order ends at a printer without a stencil, so its
    /// strokes are nobody's and an alarm stands; another order runs.
    pub(crate) async fn work(&self, token: &str) {
        for (path, body) in [
            ("/api/v1/orders", json!({ "order": "WO-1", "quantity": 10 })),
            ("/api/v1/machines/press/start", json!({ "order": "WO-1" })),
            ("/api/v1/machines/press/finish", json!({ "order": "WO-1", "made": 10 })),
            ("/api/v1/orders", json!({ "order": "WO-2", "quantity": 10 })),
            ("/api/v1/machines/printer/seat", json!({ "stencil": "ST-1" })),
            ("/api/v1/machines/printer/start", json!({ "order": "WO-2" })),
        ] {
            let answer = self.post(token, path, &body).await;
            assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        }
    }
}
