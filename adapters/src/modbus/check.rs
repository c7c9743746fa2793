//! What is wrong with settings although each key by itself is well-formed.

mod points;

use std::collections::HashMap;
use std::time::Duration;

use stencilward_domain::names::{BadName, OutputName};

use super::settings::{Output, Settings};

/// Shortest time between two rounds.
const SHORTEST_POLL: Duration = Duration::from_millis(10);
/// Limits of the wait for an answer. A machine that needs longer would hold up its interlock.
const SHORTEST_TIMEOUT: Duration = Duration::from_millis(10);
const LONGEST_TIMEOUT: Duration = Duration::from_secs(30);

/// The faults found so far: path of the key below `modbus`, and what is wrong and allowed.
#[derive(Debug, Default)]
struct Found(Vec<(String, String)>);

impl Found {
    fn tell(&mut self, path: impl Into<String>, wrong: impl Into<String>) {
        self.0.push((path.into(), wrong.into()));
    }

    fn name<T>(&mut self, path: &str, text: &str, new: fn(&str) -> Result<T, BadName>) {
        if let Err(bad) = new(text) {
            self.tell(path, bad.to_string());
        }
    }
}

/// Things that may be there once, and where each was first.
#[derive(Debug, Default)]
struct Once(HashMap<String, String>);

impl Once {
    fn see(&mut self, what: String, path: &str, found: &mut Found) {
        if let Some(first) = self.0.get(&what) {
            found.tell(path, format!("{what} is set up before, at {first}; once is allowed"));
        } else {
            self.0.insert(what, path.to_owned());
        }
    }
}

impl Settings {
    /// All faults that a schema cannot see: the path of the key below `modbus`, such as
    /// `points[2].words`, and what is wrong and what is allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Found::default();
        check_address(&self.address, &mut found);
        self.check_spans(&mut found);
        if self.points.is_empty() && self.outputs.is_empty() {
            found.tell("points", "nothing is read or written; set up a point or an output");
        }
        points::check(&self.points, &mut found);
        self.check_outputs(&mut found);
        found.0
    }

    fn check_spans(&self, found: &mut Found) {
        if self.poll.0 < SHORTEST_POLL {
            found.tell("poll", "must be 10ms or longer");
        }
        if self.timeout.0 < SHORTEST_TIMEOUT || self.timeout.0 > LONGEST_TIMEOUT {
            found.tell("timeout", "must lie between 10ms and 30s");
        }
    }

    fn check_outputs(&self, found: &mut Found) {
        let mut once = Once::default();
        for (index, output) in self.outputs.iter().enumerate() {
            let path = |key: &str| format!("outputs[{index}].{key}");
            found.name(&path("name"), output.name(), OutputName::new);
            let name = output.name().trim();
            once.see(format!("the output {name:?}"), &path("name"), found);
            let place = match output {
                Output::PrintPermit(permit) | Output::DoorRelease(permit) => {
                    format!("coil {}", permit.at)
                }
                Output::Heartbeat(heartbeat) => format!("holding register {}", heartbeat.at),
            };
            once.see(place, &path("at"), found);
        }
    }
}

fn check_address(address: &str, found: &mut Found) {
    let allowed = "host:port, such as 192.0.2.10:502 or printer-1.example:502";
    let Some((host, port)) = address.rsplit_once(':') else {
        return found.tell("address", format!("{address:?} has no port; write {allowed}"));
    };
    let bare_v6 = host.contains(':') && !(host.starts_with('[') && host.ends_with(']'));
    if host.is_empty() || host.contains(char::is_whitespace) || host.contains('/') {
        found.tell("address", format!("{host:?} is no host name or address; write {allowed}"));
    } else if bare_v6 {
        let example = "such as [2001:db8::10]:502";
        found.tell("address", format!("an IPv6 address stands in brackets, {example}"));
    } else if !port.parse::<u16>().is_ok_and(|port| port > 0) {
        found.tell("address", format!("{port:?} is no port; write {allowed}"));
    }
}

#[cfg(test)]
mod tests;
