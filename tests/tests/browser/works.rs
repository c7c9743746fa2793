//! A plant with a past, its simulated machines, and the real program that looks after it.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::Command;

use serde_json::{Value, json};
use stencilward_adapters::link::now;
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Said;
use stencilward_service::plant::Plant;
use stencilward_tests::browser::{Browser, LIMIT, Setup};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http::{self, Answer};
use stencilward_tests::wait::eventually;
use tempfile::TempDir;

use super::past;

/// A plant at work.
pub(crate) struct Works {
    pub(crate) plant: Plant,
    gateway: Option<Child>,
    /// What the tests' own questions show where people sign in.
    token: Option<String>,
    address: SocketAddr,
    folder: TempDir,
}

impl Works {
    /// With all its machines heard.
    pub(crate) async fn start() -> Self {
        Self::with("").await
    }

    /// The same with more lines in its file.
    pub(crate) async fn with(more: &str) -> Self {
        Box::pin(Self::of(&format!("{}{more}", include_str!("plant.yaml")))).await
    }

    /// One that has nothing yet.
    pub(crate) async fn empty() -> Self {
        Box::pin(Self::of("site: Invented Works\n")).await
    }

    async fn of(text: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        let mut configuration = stencilward_config::parse("plant.yaml", text).unwrap();
        configuration.listen = address.to_string();
        configuration.ledger = folder.path().join("plant.db");
        let plant = Plant::start(configuration).await.unwrap();
        if !plant.configuration.machines.is_empty() {
            past::write(&plant.configuration, now()).await;
        }
        let written = serde_yaml::to_string(&plant.configuration).unwrap();
        std::fs::write(folder.path().join("plant.yaml"), written).unwrap();
        let mut works = Self { plant, gateway: None, token: None, address, folder };
        if works.plant.configuration.sign_in.is_some() {
            let said = works.admit("the test", "manager", &["--program"]);
            works.token = said["token"].as_str().map(str::to_owned);
        }
        works.run().await;
        works.up().await;
        works
    }

    /// A browser that looks at it; none, said aloud, where there is none.
    pub(crate) async fn browser(&self, setup: Setup) -> Option<Browser> {
        Browser::open(self.address, setup).await
    }

    /// Starts the gateway.
    pub(crate) async fn run(&mut self) {
        let mut gateway = Child::start(&self.command("run", &[]));
        gateway.line("that it runs", LIMIT, |line| line.contains("running").then_some(())).await;
        self.gateway = Some(gateway);
    }

    /// Ends the gateway.
    pub(crate) fn stop(&mut self) {
        if let Some(mut gateway) = self.gateway.take() {
            gateway.stop();
        }
    }

    pub(crate) fn command(&self, name: &str, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg(name).arg(self.file()).args(more);
        command
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("plant.yaml")
    }

    /// A machine says something.
    pub(crate) async fn says(&self, machine: &str, said: &Said) {
        let identity = format!("{:?}", std::time::Instant::now());
        let (_, simulated) = self.plant.machine(machine).unwrap();
        simulated.say(said, Some(&identity)).await.unwrap();
    }

    /// A printer prints with what somebody puts in.
    pub(crate) async fn prints(&self, printer: &str, stencil: &str, count: u64) {
        let code = StencilCode::new(stencil).unwrap();
        self.says(printer, &Said::Seated { code }).await;
        let path = format!("/api/v1/machines/{printer}");
        self.until("it is in there", &path, |machine| machine["stencil"] == stencil).await;
        self.says(printer, &Said::StrokesDone { count }).await;
        let path = format!("/api/v1/stencils/{stencil}");
        self.until("it printed", &path, |stencil| stencil["cleanliness"] == "printed").await;
    }

    /// A machine has a fault, or has it no more.
    pub(crate) async fn fault(&self, machine: &str, code: &str, text: &str, has: bool) {
        let (code, text) = (code.to_owned(), text.to_owned());
        let said = if has { Said::FaultRaised { code, text } } else { Said::FaultEnded { code } };
        self.says(machine, &said).await;
    }

    /// Lets somebody in who may sign in; gives the secrets that were told.
    pub(crate) fn admit(&self, name: &str, role: &str, more: &[&str]) -> Value {
        let admit = ["admit", name, "--role", role, "--by", "the test", "--why", "to see"];
        let output = self.command("people", &[&admit, more].concat()).output().unwrap();
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
        let secrets = said.lines().filter_map(|line| line.split_once(", not shown again: "));
        secrets.map(|(what, secret)| (what.to_owned(), json!(secret))).collect()
    }

    /// Somebody else does something by the API.
    pub(crate) async fn post(&self, path: &str, body: Value) -> Value {
        let answer = self.ask("POST", path, &body.to_string()).await.expect("an answer");
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        answer.json()
    }

    async fn ask(&self, method: &str, path: &str, body: &str) -> Option<Answer> {
        let token = self.token.as_ref().map(|token| format!("Authorization: Bearer {token}\r\n"));
        let request = format!(
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n{}\
             Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            self.address,
            token.unwrap_or_default(),
            body.len()
        );
        http::send(self.address, &request).await
    }

    /// Somebody wants to store a stencil that may not be.
    pub(crate) async fn refused(&self, stencil: &str) {
        let asked = json!({ "rack": "rack-1", "slot": "A1", "by": "L. Example" });
        let decision = self.post(&format!("/api/v1/stencils/{stencil}/store"), asked).await;
        assert_eq!(decision["permitted"], false, "{decision}");
    }

    /// Waits until the API says so.
    pub(crate) async fn until(&self, what: &str, path: &str, holds: impl Fn(&Value) -> bool) {
        eventually(what, LIMIT, async || {
            let seen = self.ask("GET", path, "").await.map(|answer| answer.json());
            let seen = seen.unwrap_or_default();
            if holds(&seen) { Ok(()) } else { Err(seen.to_string()) }
        })
        .await;
    }

    async fn up(&self) {
        // A broker keeps nothing for a gateway it has never seen.
        self.until("all links are up", "/api/v1/machines", |seen| {
            let list = seen["machines"].as_array();
            list.is_some_and(|list| list.iter().all(|machine| machine["link"] == "up"))
        })
        .await;
    }

    /// Releases an order for the Heron controller's top side.
    pub(crate) async fn release(&self, order: &str) {
        let order = json!({
            "order": order, "product": "Heron controller", "side": "top", "revision": "B",
            "quantity": 200, "by": "planning",
        });
        self.post("/api/v1/orders", order).await;
    }
}
