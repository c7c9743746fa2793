//! How long a stencil list of 10,000 rows takes to come in, durably, beside the barest loop that
//! writes the same bytes and the script one would write instead. `cargo bench -p
//! stencilward-tests --bench import`. Prints figures, each the median of some runs; asserts no
//! time.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on has no figure")]

use std::collections::HashMap;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use rusqlite::Connection;
use stencilward_domain::event::Recorded;
use stencilward_domain::plant::Plant;
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;
use stencilward_exchange::{Form, stencils};
use stencilward_ledger::{Append, BatchId, Ledger, SqliteLedger};
use stencilward_tests::missing::on_path;

const ROWS: usize = 10_000;
const RUNS: usize = 7;
const NOW: Timestamp = Timestamp(1_000_000);

/// The script one would write: the same list into a table, in one durable transaction.
const SCRIPT: &str = r#"
import csv, json, sqlite3, sys
base = sqlite3.connect(sys.argv[2])
base.execute("PRAGMA journal_mode = WAL")
base.execute("PRAGMA synchronous = FULL")
base.execute("CREATE TABLE event (position INTEGER PRIMARY KEY, body TEXT NOT NULL)")
with open(sys.argv[1], newline="", encoding="utf-8") as file, base:
    for row in csv.DictReader(file):
        base.execute("INSERT INTO event (body) VALUES (?)", (json.dumps(row),))
base.close()
"#;

fn main() {
    let list = list();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let (mut parse, mut plan, mut write, mut ours) = (vec![], vec![], vec![], vec![]);
    let (mut raw, mut script) = (vec![], vec![]);
    for _ in 0..RUNS {
        let folder = tempfile::tempdir().unwrap();
        let took = runtime.block_on(through_us(&list, folder.path()));
        ours.push(took.parse + took.plan + took.write);
        parse.push(took.parse);
        plan.push(took.plan);
        write.push(took.write);
        raw.push(raw_loop(&list, &took.bodies, folder.path()));
        script.extend(by_script(&list, folder.path()));
    }
    println!("figure import.rows {ROWS} rows");
    println!("figure import.list {} bytes", list.len());
    let whole = figure("import.ours", ours);
    figure("import.ours.parse", parse);
    figure("import.ours.plan_and_take_in", plan);
    figure("import.ours.durable_write", write);
    println!("figure import.ours.rate {:.0} rows/s", ROWS as f64 / whole);
    let raw = figure("import.raw_loop", raw);
    println!("figure import.ours_beside_raw_loop {:.2} times", whole / raw);
    if script.is_empty() {
        println!("SKIPPED import.script: python3 is not installed (Debian package python3)");
        return;
    }
    let script = figure("import.script", script);
    println!("figure import.ours_beside_script {:.2} times", whole / script);
}

/// Prints the median and gives it, in seconds.
fn figure(name: &str, mut times: Vec<Duration>) -> f64 {
    times.sort();
    let median = times[times.len() / 2].as_secs_f64();
    println!("figure {name} {median:.6} s");
    median
}

fn list() -> String {
    let mut list = "stencil,product,side,revision,rated_strokes,rated_washes,reorder_percent,\
                    stop_percent,price,lead_days,strokes_so_far,source,clean\r\n"
        .to_owned();
    for row in 0..ROWS {
        let side = if row % 2 == 0 { "top" } else { "bottom" };
        list.push_str(&format!(
            "ST-{row:05},Product {},{side},B,50000,400,80,99,{}.50,21,{},\"old book, page {}\",\
             true\r\n",
            row % 400,
            row % 900,
            row % 30_000,
            row % 60,
        ));
    }
    list
}

/// What one run through our path took, and the bodies it wrote.
struct Took {
    parse: Duration,
    plan: Duration,
    write: Duration,
    bodies: Vec<String>,
}

async fn through_us(list: &str, folder: &Path) -> Took {
    let ledger = SqliteLedger::open(&folder.join("ours.db")).unwrap();
    let mut site = Site::new(Plant::default());
    let begun = Instant::now();
    let read = stencils::read(Form::Csv, list.as_bytes());
    let parse = begun.elapsed();
    let plan = stencils::plan(&read, &site, "the bench");
    site.ask(&plan.request().unwrap(), NOW);
    let events = site.take_fresh();
    let planned = begun.elapsed();
    let answers = ledger.append(appends(&events)).await.unwrap();
    let whole = begun.elapsed();
    assert!(answers.iter().all(Result::is_ok) && plan.new.len() == ROWS);
    ledger.close().await;
    let bodies = events.iter().map(|recorded| serde_json::to_string(&recorded.fact).unwrap());
    Took { parse, plan: planned - parse, write: whole - planned, bodies: bodies.collect() }
}

/// One append for each run of events of one stream, as the gateway does.
fn appends(events: &[Recorded]) -> Vec<Append> {
    let mut versions = HashMap::new();
    let mut appends: Vec<Append> = Vec::new();
    for recorded in events {
        let stream = recorded.fact.event.stream();
        let version: &mut u64 = versions.entry(stream.clone()).or_default();
        let expected = *version;
        *version += 1;
        match appends.last_mut().filter(|append| append.stream == stream) {
            Some(append) => append.facts.push(recorded.fact.clone()),
            None => {
                let batch = BatchId(u128::from(recorded.position.0).to_be_bytes());
                appends.push(Append {
                    stream,
                    expected,
                    batch,
                    facts: vec![recorded.fact.clone()],
                });
            }
        }
    }
    appends
}

/// Reads every cell, then writes the same bodies: nothing is checked, nothing can be told.
fn raw_loop(list: &str, bodies: &[String], folder: &Path) -> Duration {
    let mut base = Connection::open(folder.join("raw.db")).unwrap();
    base.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(())).unwrap();
    base.execute_batch(
        "PRAGMA synchronous = FULL;
         CREATE TABLE event (position INTEGER PRIMARY KEY, body TEXT NOT NULL) STRICT;",
    )
    .unwrap();
    let begun = Instant::now();
    let cells: usize = csv::Reader::from_reader(list.as_bytes())
        .records()
        .map(|record| record.unwrap().iter().map(str::len).sum::<usize>())
        .sum();
    let transaction = base.transaction().unwrap();
    let mut insert = transaction.prepare("INSERT INTO event (body) VALUES (?1)").unwrap();
    for body in bodies {
        insert.execute([body]).unwrap();
    }
    drop(insert);
    transaction.commit().unwrap();
    let took = begun.elapsed();
    assert!(cells > ROWS);
    took
}

fn by_script(list: &str, folder: &Path) -> Option<Duration> {
    let python = on_path("python3")?;
    let file = folder.join("list.csv");
    std::fs::write(&file, list).unwrap();
    let mut command = Command::new(python);
    command.args(["-c", SCRIPT]).arg(&file).arg(folder.join("script.db"));
    let begun = Instant::now();
    let status = command.status().unwrap();
    assert!(status.success());
    Some(begun.elapsed())
}
