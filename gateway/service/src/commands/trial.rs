//! `stencilward trial FILE MACHINE`.

mod asking;

use std::io::BufRead;
use std::path::Path;
use std::process::ExitCode;

use serde_json::{Map, Value, json};

use asking::Gateway;

/// Shows what a machine on trial says to the running gateway. With `count` also compares how it
/// counts strokes with what a person counts meanwhile.
pub(super) fn trial(file: &Path, machine: &str, count: bool) -> ExitCode {
    let configuration = match super::load(file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    let gateway = Gateway { listen: configuration.listen };
    let outcome = if count { compare(&gateway, machine) } else { show(&gateway, machine) };
    match outcome {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn path(machine: &str, rest: &str) -> String {
    format!("/api/v1/machines/{}/trial{rest}", asking::escaped(machine))
}

fn show(gateway: &Gateway, machine: &str) -> Result<bool, String> {
    let trial = gateway.get(&path(machine, ""))?;
    if trial["since"].is_null() {
        return Err(format!("{machine} has said nothing yet: see in the log that its link is up"));
    }
    println!("{machine} is on trial: nothing is booked, no output is written but heartbeats");
    for (name, counter) in trial["counters"].as_object().into_iter().flatten() {
        println!("{}", counter_line(name, counter));
    }
    if let Some(told @ 1..) = trial["strokes_reported"].as_u64() {
        println!("told one by one: {told} strokes since the trial began");
    }
    for heard in trial["heard"].as_array().into_iter().flatten() {
        if heard["signal"] != "stroke-total" {
            println!("{}", heard_line(heard));
        }
    }
    if let Some(left @ 1..) = trial["left_out"].as_u64() {
        println!("{left} more were not kept: it tells of too many different things");
    }
    Ok(true)
}

fn counter_line(name: &str, counter: &Value) -> String {
    let (counts, raw, counted) = (text(&counter["counts"]), &counter["raw"], &counter["counted"]);
    let mut line = format!("counter {name}: shows {raw}; {counted} {counts} since the trial began");
    for (key, words) in [("doubted", "reads could not be"), ("restarts", "restarts at zero")] {
        if let Some(many @ 1..) = counter[key].as_u64() {
            line.push_str(&format!(", {many} {words}"));
        }
    }
    line
}

fn heard_line(heard: &Value) -> String {
    let about = heard["about"].as_str().map(|about| format!(" {about}")).unwrap_or_default();
    let nothing = Map::new();
    let last = heard["last"].as_object().unwrap_or(&nothing);
    let fields = last.iter().filter(|(key, value)| *key != "signal" && !value.is_null());
    let fields: Vec<String> = fields.map(|(key, value)| format!("{key} {}", text(value))).collect();
    let fields = if fields.is_empty() { "yes".to_owned() } else { fields.join(", ") };
    let times = match heard["count"].as_u64() {
        Some(1) | None => "said once".to_owned(),
        Some(many) => format!("said {many} times"),
    };
    format!("{}{about}: {fields} ({times})", text(&heard["signal"]))
}

/// A value as a person reads it. What a machine said must not steer the terminal.
fn text(value: &Value) -> String {
    let plain = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    plain.chars().map(|c| if c.is_control() { '?' } else { c }).collect()
}

/// Compares with what is counted by hand from now on; true when they agree.
fn compare(gateway: &Gateway, machine: &str) -> Result<bool, String> {
    let before = gateway.get(&path(machine, ""))?;
    if before["since"].is_null() {
        return Err(format!("{machine} has said nothing yet: see in the log that its link is up"));
    }
    println!("let {machine} print, count its strokes, and type their number:");
    let strokes = typed()?;
    let asked = json!({ "strokes": strokes, "since": before["mark"] });
    let answer = gateway.post(&path(machine, "/compare"), &asked)?;
    let compared = answer["compared"].as_array().map(Vec::as_slice).unwrap_or_default();
    for way in compared {
        let counter = way["counter"].as_str().unwrap_or("told one by one");
        println!("{counter}: {}", text(&way["words"]));
    }
    Ok(!compared.is_empty() && compared.iter().all(|way| way["agrees"] == true))
}

fn typed() -> Result<u64, String> {
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line).map_err(|error| error.to_string())?;
    let line = line.trim();
    line.parse().map_err(|_| {
        format!("{line:?} is no number of strokes: begin again, and type a whole number")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_heard_reads_well() {
        let heard = json!({
            "signal": "machine-state", "about": null, "count": 2,
            "last": { "signal": "machine-state", "state": "idle", "word": "0\u{1b}" },
        });
        assert_eq!(heard_line(&heard), "machine-state: state idle, word 0? (said 2 times)");
        let removed = json!({ "signal": "stencil-removed", "about": null, "count": 1,
            "last": { "signal": "stencil-removed" } });
        assert_eq!(heard_line(&removed), "stencil-removed: yes (said once)");
        let counter =
            json!({ "counts": "strokes", "raw": 7, "counted": 3, "doubted": 1, "restarts": 0 });
        let words =
            "counter strokes: shows 7; 3 strokes since the trial began, 1 reads could not be";
        assert_eq!(counter_line("strokes", &counter), words);
    }
}
