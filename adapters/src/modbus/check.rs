//! What is wrong with settings although each key by itself is well-formed.

mod connection;
mod points;
mod twice;

use std::collections::HashMap;
use std::time::Duration;

use stencilward_domain::names::{BadName, OutputName};

pub(super) use connection::time_outs;
pub(super) use points::spot;

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

/// What is wrong with machines that are all at one [`Settings::place`], named: which of them, the
/// path of the key below `modbus`, and what is wrong and allowed.
#[must_use]
pub fn check_shared(machines: &[(&str, &Settings)]) -> Vec<(usize, String, String)> {
    let mut told = connection::check_shared(machines);
    told.extend(twice::check_shared(machines));
    told
}

impl Settings {
    /// All faults that a schema cannot see: the path of the key below `modbus`, such as
    /// `points[2].words`, and what is wrong and what is allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Found::default();
        connection::check(self, &mut found);
        self.check_spans(&mut found);
        if self.points.is_empty() && self.outputs.is_empty() {
            found.tell("points", "nothing is read or written; set up a point or an output");
        }
        points::check(self, &mut found);
        twice::check(self, &mut found);
        self.check_outputs(&mut found);
        found.0
    }

    fn check_spans(&self, found: &mut Found) {
        if self.poll.0 < SHORTEST_POLL {
            found.tell("poll", "must be 10ms or longer");
        }
        let allowed = SHORTEST_TIMEOUT..=LONGEST_TIMEOUT;
        if self.timeout.is_some_and(|timeout| !allowed.contains(&timeout.0)) {
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

#[cfg(test)]
mod tests;
