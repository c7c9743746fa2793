//! Carries out `config/first-printer.md`, as its reader would.
//!
//! The printer is a server of pymodbus with the guide's register map. In the guide's source
//!
//! - `<!-- plant.yaml -->` stands before a block that is the file (`yaml`) or changes it (`diff`);
//! - a `console` block has commands after `$ `, then the lines that each shows; a line after `< `
//!   is typed once the line before it is shown; `…` is any part of a line, and alone any lines;
//! - `<!-- machine: {..} made 3 -->` has the printer do something and compares how many strokes it
//!   made; `<!-- machine: permit off -->` waits for its release. Where the next command asks for
//!   something, it is done once the command has asked.
//!
//! The guide's addresses become free ports, and its 8 s for a stroke a tenth of one, so that
//! nobody waits. What only looks is asked again until it shows what the guide shows.

mod guide;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use guide::{Step, alike, edited, steps};
use serde_json::{Value, json};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, missing, root};

const LIMIT: Duration = Duration::from_secs(30);

/// The reader: a shell in a folder of its own, and somebody at the printer.
struct Reader {
    shell: Child,
    folder: tempfile::TempDir,
    printer: Peer,
    gateway: SocketAddr,
    /// What the guide has, and what stands for it here.
    stands_for: [(String, String); 3],
    asked: usize,
}

impl Reader {
    async fn start() -> Option<Self> {
        let args = ["--low-first", "--total", "70000", "--watch", "5"];
        let printer = Peer::start("modbus_printer.py", &args).await?;
        let folder = tempfile::tempdir().expect("a folder");
        let bin = folder.path().join("bin");
        std::fs::create_dir(&bin).expect("a folder");
        let program = env!("CARGO_BIN_EXE_stencilward-under-test");
        std::os::unix::fs::symlink(program, bin.join("stencilward")).expect("a link");
        let path = std::env::var("PATH").unwrap_or_default();
        let mut command = Command::new("bash");
        command.current_dir(folder.path()).env("PATH", format!("{}:{path}", bin.display()));
        let mut shell = Child::start(&command);
        shell.tell("exec 2>&1");
        let gateway = SocketAddr::from(([127, 0, 0, 1], free_port()));
        let stands_for = [
            ("192.0.2.10:502".to_owned(), format!("127.0.0.1:{}", printer.ready()["port"])),
            ("127.0.0.1:9464".to_owned(), gateway.to_string()),
            ("fastest-cycle: 8s".to_owned(), "fastest-cycle: 100ms".to_owned()),
        ];
        Some(Self { shell, folder, printer, gateway, stands_for, asked: 0 })
    }

    fn here(&self, text: &str) -> String {
        let all = self.stands_for.iter();
        all.fold(text.to_owned(), |text, (guide, here)| text.replace(guide, here))
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("plant.yaml")
    }

    /// Begins a command; the number of its last line.
    fn begin(&mut self, line: &str) -> usize {
        self.asked += 1;
        let (at, quoted) = (self.asked, line.replace('\'', r"'\''"));
        self.shell.tell(&format!("echo begin-{at}; eval '{quoted}'; echo; echo end-{at}"));
        at
    }

    /// What the command said, once it has ended.
    async fn said(&mut self, at: usize) -> Vec<String> {
        let end = format!("end-{at}");
        self.shell.line(&end, LIMIT, |line| (line == end).then_some(())).await;
        let transcript = self.shell.transcript();
        let begin = format!("begin-{at}");
        let lines = transcript.lines().skip_while(|line| *line != begin).skip(1);
        let mut said: Vec<String> =
            lines.take_while(|line| *line != end).map(str::to_owned).collect();
        while said.last().is_some_and(String::is_empty) {
            said.pop();
        }
        said
    }

    async fn command(
        &mut self,
        line: &str,
        shows: &[String],
        typed: Option<&str>,
        acts: &[String],
    ) {
        let line = self.here(line);
        let shows: Vec<String> = shows.iter().map(|shown| self.here(shown)).collect();
        if let Some(typed) = typed {
            let at = self.begin(&line);
            let question = &shows[0];
            self.shell.line(question, LIMIT, |line| (line == question).then_some(())).await;
            for act in acts {
                self.act(act).await;
            }
            self.has_seen_the_total().await;
            self.shell.tell(typed);
            let said = self.said(at).await;
            assert!(alike(&shows, &said), "{line}\n{}", said.join("\n"));
            return;
        }
        for act in acts {
            self.act(act).await;
        }
        let looks = line.starts_with("curl -s http")
            || line.starts_with("tail ")
            || line.starts_with("stencilward trial");
        let started = std::time::Instant::now();
        loop {
            let at = self.begin(&line);
            let said = self.said(at).await;
            if alike(&shows, &said) {
                return;
            }
            let over = !looks || started.elapsed() > LIMIT;
            assert!(!over, "{line}\nshows\n{}\nsaid\n{}", shows.join("\n"), said.join("\n"));
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }

    /// Does something at the machine.
    async fn act(&mut self, act: &str) {
        if let Some(permit) = act.strip_prefix("permit ") {
            let started = std::time::Instant::now();
            while self.tally().await["permit"] != (permit == "on") {
                assert!(started.elapsed() < LIMIT, "the permit does not become {permit}");
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            return;
        }
        let (order, made) = match act.rsplit_once("} made ") {
            Some((order, made)) => (format!("{order}}}"), Some(made)),
            None => (act.to_owned(), None),
        };
        let order: Value = serde_json::from_str(&order).expect("a command of the printer");
        let answer = match order["do"].as_str() {
            Some("print") => "printed",
            Some("seat") => "seated",
            _ => "set",
        };
        let answer = self.printer.ask(order, answer, LIMIT).await;
        if let Some(made) = made {
            assert_eq!(answer["made"].to_string(), made, "{act}");
        }
    }

    async fn tally(&mut self) -> Value {
        self.printer.ask(json!({ "do": "tally" }), "tally", LIMIT).await
    }

    /// A person types later than the next poll.
    async fn has_seen_the_total(&mut self) {
        let total = self.tally().await["total"].clone();
        let gateway = self.gateway;
        eventually("the gateway has read the total", LIMIT, async || {
            let path = "/api/v1/machines/printer-1/trial";
            let trial = http::get(gateway, path).await.expect("an answer").json();
            let raw = trial["counters"]["strokes"]["raw"].clone();
            if raw == total { Ok(()) } else { Err(raw) }
        })
        .await;
    }
}

#[tokio::test]
async fn the_guide_can_be_followed_to_the_letter() {
    let programs = ["bash", "curl"].map(|name| missing::program(name, "the Debian package"));
    if programs.iter().any(Option::is_none) {
        return;
    }
    let Some(mut reader) = Reader::start().await else {
        return;
    };
    let text = std::fs::read_to_string(root().join("config/first-printer.md")).expect("the guide");
    let (mut acts, mut commands) = (Vec::new(), 0);
    for step in steps(&text) {
        match step {
            Step::Write(text) => {
                std::fs::write(reader.file(), reader.here(&text)).expect("written");
            }
            Step::Edit { from, to } => {
                let here = |lines: Vec<String>| -> Vec<String> {
                    lines.iter().map(|line| reader.here(line)).collect()
                };
                let file = std::fs::read_to_string(reader.file()).expect("read");
                let file = edited(&file, &here(from), &here(to));
                std::fs::write(reader.file(), file).expect("written");
            }
            Step::Machine(act) => acts.push(act),
            Step::Command { line, shows, typed } => {
                reader.command(&line, &shows, typed.as_deref(), &acts).await;
                acts.clear();
                commands += 1;
            }
        }
    }
    assert!(commands > 20, "only {commands} commands: is the guide read?");
    assert_eq!(acts, Vec::<String>::new(), "done at the machine after the last command");
}
