//! Lists through the program itself: imported, exported and imported again, on a ledger that
//! nobody has and beside a running gateway.
#![allow(clippy::unwrap_used, reason = "a helper that cannot go on fails the test")]

use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;

use stencilward_domain::event::Event;
use stencilward_exchange::stencils::{self, Entry};
use stencilward_exchange::{Form, MOST_ROWS};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read, missing};
use tempfile::TempDir;

const LIMIT: Duration = Duration::from_secs(30);
const ROWS: usize = 10_000;

/// A plant of one stencil in a folder of its own.
struct Plant {
    folder: TempDir,
    address: SocketAddr,
}

impl Plant {
    fn new() -> Self {
        let plant = Self {
            folder: tempfile::tempdir().unwrap(),
            address: ([127, 0, 0, 1], free_port()).into(),
        };
        let text = format!(
            "site: Invented Works\nlisten: {}\nledger: plant.db\n\
             stencils:\n  - {{ code: ST-C, rated-strokes: 1000, clean: true }}\n",
            plant.address
        );
        std::fs::write(plant.path("plant.yaml"), text).unwrap();
        plant
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn list(&self, name: &str, text: &str) -> String {
        std::fs::write(self.path(name), text).unwrap();
        self.path(name).display().to_string()
    }

    fn command(&self, name: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg(name).arg(self.path("plant.yaml"));
        command
    }

    fn import(&self, list: &str, more: &[&str]) -> Output {
        self.command("import").arg(list).args(more).output().unwrap()
    }

    fn export(&self, more: &[&str]) -> String {
        let output = self.command("export").args(more).output().unwrap();
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).unwrap()
    }

    async fn run(&self) -> Child {
        let gateway = Child::start(&self.command("run"));
        eventually("the gateway is ready", LIMIT, async || {
            let answer = http::get(self.address, "/readyz").await;
            if answer.is_some_and(|answer| answer.status == 200) { Ok(()) } else { Err("not yet") }
        })
        .await;
        gateway
    }

    async fn events(&self) -> Vec<Event> {
        ledger_read::events(&self.path("plant.db")).await
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A good list: some cells quoted, some empty.
fn good() -> String {
    let mut list =
        "stencil,product,side,rated_strokes,price,strokes_so_far,source,clean\r\n".to_owned();
    for row in 0..ROWS {
        let side = ["top", "bottom", ""][row % 3];
        let source = if row % 2 == 0 { "\"old book, page 3\"" } else { "" };
        let (rated, price) = (1_000 + row, row % 500);
        list.push_str(&format!(
            "ST-{row:05},\"Product \"\"{}\"\"\",{side},{rated},{price}.50,{},{source},true\r\n",
            row % 40,
            row % 700,
        ));
    }
    list
}

/// Every row with one fault or two.
fn bad() -> (String, usize) {
    let mut list = "stencil,side,rated_strokes,price\n".to_owned();
    let mut faults = 0;
    for row in 0..ROWS {
        let (cells, told) = match row % 5 {
            0 => (format!("ST-{row},left,1000,1"), 1),
            1 => (format!("ST-{row},top,-1,1"), 1),
            2 => (format!("ST-{row},,NaN,1;5"), 2),
            3 => (format!("ST-{row},top,,1"), 1),
            _ => ("ST-C,top,1000,1".to_owned(), 1),
        };
        list.push_str(&cells);
        list.push('\n');
        faults += told;
    }
    (list, faults)
}

#[tokio::test]
async fn ten_thousand_rows_come_in_whole_or_not_at_all() {
    let plant = Plant::new();
    let (bad, faults) = bad();
    let list = plant.list("bad.csv", &bad);
    let dry = plant.import(&list, &["--dry-run"]);
    let told = text(&dry.stderr);
    assert_eq!(dry.status.code(), Some(1), "{told}");
    assert_eq!(told.lines().filter(|line| line.starts_with(&list)).count(), faults);
    let lines: BTreeSet<usize> = told
        .lines()
        .filter_map(|line| line.strip_prefix(&list)?.strip_prefix(": line "))
        .filter_map(|rest| rest.split([',', ':']).next()?.parse().ok())
        .collect();
    assert_eq!(lines, (2..ROWS + 2).collect(), "a fault of every row");
    assert!(told.contains("write digits only, such as 50000"), "with what to do");
    let real = plant.import(&list, &[]);
    assert_eq!((real.status.code(), text(&real.stderr)), (Some(1), told));

    let list = plant.list("good.csv", &good());
    let dry = plant.import(&list, &["--dry-run"]);
    assert!(dry.status.success(), "{dry:?}");
    assert!(text(&dry.stdout).contains("would take in: 10000 new, 0 changed"), "{dry:?}");
    assert!(!plant.path("plant.db").exists(), "nothing was written so far");

    let real = plant.import(&list, &["--by", "the planner"]);
    assert!(text(&real.stdout).contains("taken in: 10000 new, 0 changed, 0 known"), "{real:?}");
    let events = plant.events().await;
    let sources = |wanted: &str| {
        let registered = events.iter().filter(
            |event| matches!(event, Event::StencilRegistered { source, .. } if source == wanted),
        );
        registered.count()
    };
    assert_eq!(sources("old book, page 3"), ROWS / 2);
    assert_eq!(sources("imported by the planner"), ROWS / 2);

    let again = plant.import(&list, &[]);
    assert!(text(&again.stdout).contains("0 new, 0 changed, 10000 known just so"), "{again:?}");
    assert_eq!(plant.events().await.len(), events.len(), "nothing to do leaves no event");
}

/// The entries of a list, apart from where their counts come from.
fn entries(form: Form, list: &str) -> Vec<Entry> {
    let list = stencils::read(form, list.as_bytes());
    assert_eq!(list.faults, []);
    let entries = list.entries.into_iter();
    entries.map(|(_, entry)| Entry { source: None, ..entry }).collect()
}

#[tokio::test]
async fn what_one_ledger_exports_another_takes_in_and_exports_the_same() {
    let first = Plant::new();
    assert!(first.import(&first.list("good.csv", &good()), &[]).status.success());
    let expected = entries(Form::Csv, &first.export(&[]));
    assert_eq!(expected.len(), ROWS + 1);
    for (form, name, word) in
        [(Form::Csv, "list.csv", "csv"), (Form::JsonLines, "list.jsonl", "jsonl")]
    {
        let list = first.path(name).display().to_string();
        first.export(&["--form", word, "--out", &list]);
        let second = Plant::new();
        let taken = second.import(&list, &[]);
        assert!(text(&taken.stdout).contains("10000 new, 0 changed, 1 known"), "{taken:?}");
        assert_eq!(entries(form, &second.export(&["--form", word])), expected);
    }
}

#[tokio::test]
async fn beside_a_running_gateway_lists_go_through_it() {
    let plant = Plant::new();
    let mut gateway = plant.run().await;
    let list = plant.list("list.csv", "stencil,rated_strokes\nST-1,1000\nST-2,2000\n");
    let dry = plant.import(&list, &["--dry-run"]);
    assert!(text(&dry.stdout).contains("would take in: 2 new"), "{dry:?}");
    let real = plant.import(&list, &["--by", "Ünal & co"]);
    assert!(text(&real.stdout).contains("taken in: 2 new, 0 changed"), "{real:?}");
    let view = http::get(plant.address, "/api/v1/stencils/ST-2").await.expect("an answer");
    assert_eq!(view.json()["rated_strokes"], 2_000);

    let list = plant.list("list.jsonl", "{\"stencil\":\"ST-2\",\"price\":99.9}\n");
    let dry = plant.import(&list, &["--dry-run"]);
    let change = "line 1: ST-2: price 99.90, not known before";
    assert!(text(&dry.stdout).contains(change), "{dry:?}");
    assert!(plant.import(&list, &[]).status.success());
    let list = plant.list("bad.csv", "stencil,strokes_so_far\nST-2,77\n");
    let refused = plant.import(&list, &[]);
    let fault = "line 2, strokes_so_far: ST-2 has 0 strokes here, not 77";
    assert!(text(&refused.stderr).contains(fault), "{refused:?}");
    assert_eq!(refused.status.code(), Some(1));

    let exported = entries(Form::Csv, &plant.export(&[]));
    assert_eq!(exported.len(), 3, "what the gateway has just taken in is there");
    assert!(gateway.stop().success());
    let events = plant.events().await;
    let by = "imported by Ünal & co";
    assert!(
        events.iter().any(|event| {
            matches!(event, Event::StencilRegistered { source, .. } if source == by)
        })
    );
}

/// Shares no code with the gateway: recomputes each hash from an export of the events.
const VERIFY: &str = r#"
import csv, hashlib, json, sys
def number(n): return n.to_bytes(8, "big")
def text(b): return number(len(b)) + b
last, count = bytes(32), 0
def check(position, stream, version, batch, hash, body):
    global last, count
    count += 1
    data = last + number(position) + text(stream.encode()) + number(version)
    last = hashlib.sha256(data + bytes.fromhex(batch) + text(body.encode())).digest()
    assert position == count and last.hex() == hash, position
if sys.argv[1].endswith(".csv"):
    for row in csv.DictReader(open(sys.argv[1], newline="", encoding="utf-8")):
        check(int(row["position"]), row["stream"], int(row["version"]), row["batch"], row["hash"], row["body"])
else:
    for line in open(sys.argv[1], encoding="utf-8"):
        event = json.loads(line)
        body = line.rstrip("\n").split(',"fact":', 1)[1][:-1]
        assert json.loads(body) == event["fact"]
        check(event["position"], event["stream"], event["version"], event["batch"], event["hash"], body)
print(count)
"#;

fn python(script: &str, arguments: &[&Path]) -> Option<String> {
    let python = missing::program("python3", "Debian package python3")?;
    let output = Command::new(python).args(["-c", script]).args(arguments).output().unwrap();
    assert!(output.status.success(), "{}", text(&output.stderr));
    Some(text(&output.stdout))
}

/// Python's hashlib, csv and json (standard library) as independent readers.
#[tokio::test]
async fn exported_events_can_be_verified_without_the_gateway() {
    let plant = Plant::new();
    let list =
        plant.list("list.csv", "stencil,product,rated_strokes\n\"ST,\"\"ü\",\"a \"\"b\",9\n");
    assert!(plant.import(&list, &[]).status.success());
    let count = plant.events().await.len();
    for (form, name) in [("csv", "events.csv"), ("jsonl", "events.jsonl")] {
        let out = plant.path(name);
        plant.export(&["--events", "--form", form, "--out", &out.display().to_string()]);
        let Some(said) = python(VERIFY, &[&out]) else { return };
        assert_eq!(said.trim(), count.to_string(), "{form}");
    }
}

/// Reads our list with Python's csv and json, prints the cells, and writes them its own way.
const REWRITE: &str = r#"
import csv, json, sys
source, target = sys.argv[1:]
rows = list(csv.reader(open(source, newline="", encoding="utf-8"), strict=True))
with open(target, "w", newline="", encoding="utf-8") as out:
    csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(rows)
print(json.dumps(rows))
"#;

/// Python's csv module (standard library) as a second opinion on quoting.
#[test]
fn pythons_csv_reads_the_same_cells_and_is_read_by_us() {
    let plant = Plant::new();
    let odd = ["a,b", "\"", "a\"b\"", "=1+1", "a;b", "漢字", "a  b", "'", "😀,\""];
    let mut rows = vec!["stencil,product,revision,rated_strokes".to_owned()];
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    for (at, text) in odd.iter().enumerate() {
        rows.push(format!("{},{},{},{}", quoted(text), quoted(text), quoted(text), at + 1));
    }
    let list = plant.list("odd.csv", &rows.join("\r\n"));
    let taken = plant.import(&list, &[]);
    assert!(taken.status.success(), "{taken:?}");
    let ours = plant.export(&[]);
    std::fs::write(plant.path("ours.csv"), &ours).unwrap();
    let theirs = plant.path("theirs.csv");
    let Some(said) = python(REWRITE, &[&plant.path("ours.csv"), &theirs]) else { return };
    let cells: Vec<Vec<String>> = serde_json::from_str(&said).unwrap();
    assert_eq!(cells[0], stencils::COLUMNS);
    let named: BTreeSet<&str> = cells[1..].iter().map(|row| row[0].as_str()).collect();
    assert_eq!(named, odd.into_iter().chain(["ST-C"]).collect());
    for row in cells[1..].iter().filter(|row| row[0] != "ST-C") {
        assert_eq!((&row[1], &row[3]), (&row[0], &row[0]));
    }
    let theirs = std::fs::read_to_string(theirs).unwrap();
    assert_ne!(theirs, ours, "written another way");
    assert_eq!(entries(Form::Csv, &theirs), entries(Form::Csv, &ours));
}

#[test]
fn what_cannot_be_read_is_told_and_nothing_is_made() {
    let plant = Plant::new();
    let gone = plant.import("no-such-list.csv", &[]);
    assert!(text(&gone.stderr).contains("cannot read no-such-list.csv"), "{gone:?}");
    let output = plant.command("export").output().unwrap();
    let told = text(&output.stderr);
    assert!(told.contains("there is no ledger") && told.contains("run the gateway"), "{told}");
    assert_eq!(output.status.code(), Some(1));
    let long: String = (0..=MOST_ROWS).map(|row| format!("S{row}\n")).collect();
    let refused = plant.import(&plant.list("long.csv", &format!("stencil\n{long}")), &[]);
    assert!(text(&refused.stderr).contains("more than 100000 rows: split the list"));
    assert!(!plant.path("plant.db").exists());
}
