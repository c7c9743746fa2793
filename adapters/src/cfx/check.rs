//! What a schema cannot see in the CFX part of the configuration.

use std::net::SocketAddr;

use stencilward_domain::names::OutputName;

use super::settings::{
    AtBroker, By, Endpoint, Listen, Output, Publish, Requests, Settings, Signal, StrokesFrom,
};
use crate::mqtt::{Tls, host_and_port};
use crate::settings::Drive;

type Found = Vec<(String, String)>;

impl Endpoint {
    /// Everything wrong with it: the key's path below it, and what is wrong and allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Found::new();
        let mut fault = |key: &str, wrong: &str| found.push((key.to_owned(), wrong.to_owned()));
        if let Some(wrong) = handle_fault(&self.handle) {
            fault("handle", wrong);
        }
        if self.broker.is_none() && self.listen.is_none() {
            fault("", "it hears nobody; add a broker, a listen, or both");
        }
        if self.idle_time_out.0.as_secs() < 1 || self.idle_time_out.0.as_secs() > 600 {
            fault("idle-time-out", "lies between 1s and 10min");
        }
        if let Some(broker) = &self.broker {
            broker.check(&mut found);
        }
        if let Some(listen) = &self.listen {
            listen.check(&mut found);
        }
        found
    }
}

/// What is wrong with a handle, if anything. The standard gives it no grammar.
fn handle_fault(handle: &str) -> Option<&'static str> {
    let fits = (1..=200).contains(&handle.len()) && !handle.contains(char::is_control);
    let fits = fits && handle.trim() == handle;
    (!fits).then_some("has between 1 and 200 bytes, with no space around it")
}

impl AtBroker {
    fn check(&self, found: &mut Found) {
        let mut fault =
            |key: &str, wrong: &str| found.push((format!("broker.{key}"), wrong.into()));
        if host_and_port(&self.address).is_none() {
            fault("address", "is no host with a port; write such as 127.0.0.1:5672");
        }
        if self.sources.is_empty() && self.publish.is_none() {
            fault(
                "sources",
                "empty; write the address of a durable queue, such as /amq/queue/NAME, or what is \
                 said there under publish",
            );
        }
        for (index, source) in self.sources.iter().enumerate() {
            if source.trim().is_empty() || self.sources[..index].contains(source) {
                fault(&format!("sources[{index}]"), "empty, or listed before; write each once");
            }
        }
        if let Some((key, wrong)) = self.tls.as_ref().and_then(tls_fault) {
            fault(key, wrong);
        }
        let secrets = (&self.user, &self.password_file, &self.password_env);
        if let Some((key, wrong)) = secret_fault(secrets) {
            fault(key, wrong);
        }
        if let Some(publish) = &self.publish {
            if self.sources.contains(&publish.at) {
                fault("publish.at", "is read under sources, too: the gateway would hear itself");
            }
            publish.check("broker", found);
        }
    }
}

fn tls_fault(tls: &Tls) -> Option<(&'static str, &'static str)> {
    match (&tls.certificate, &tls.key) {
        (Some(_), None) => Some(("tls.key", "missing: a certificate needs its key")),
        (None, Some(_)) => Some(("tls.certificate", "missing: a key needs its certificate")),
        _ => None,
    }
}

impl Publish {
    fn check(&self, way: &str, found: &mut Found) {
        let mut fault = |key: &str, wrong: &str| {
            found.push((format!("{way}.publish.{key}"), wrong.to_owned()));
        };
        if self.at.trim().is_empty() {
            fault("at", "empty; write the address where it is said, such as /exchange/NAME");
        }
        let second = std::time::Duration::from_secs(1);
        // CFX/Heartbeat.cs: from one second to five minutes.
        if !(second..=300 * second).contains(&self.heartbeat.0) {
            fault("heartbeat", "lies between 1s and 5min");
        }
        if !(second..=3_600 * second).contains(&self.pace.0) {
            fault("pace", "lies between 1s and 1h");
        }
    }
}

type Secrets<'a> = (&'a Option<String>, &'a Option<String>, &'a Option<String>);

fn secret_fault(secrets: Secrets<'_>) -> Option<(&'static str, &'static str)> {
    match secrets {
        (_, Some(_), Some(_)) => Some(("password-env", "give a file or a variable, not both")),
        (None, Some(_), None) | (None, None, Some(_)) => {
            Some(("user", "missing: a password needs a user"))
        }
        _ => None,
    }
}

impl Listen {
    fn check(&self, found: &mut Found) {
        let mut fault =
            |key: &str, wrong: &str| found.push((format!("listen.{key}"), wrong.into()));
        match self.address.parse::<SocketAddr>() {
            Err(_) => fault("address", "is no IP address with a port; such as 127.0.0.1:5672"),
            Ok(address) if address.ip().is_loopback() => {}
            Ok(_) if self.tls.is_none() => fault(
                "tls",
                "missing: what other computers can reach is secured; give a certificate and its \
                 key, or listen on 127.0.0.1",
            ),
            Ok(_) if self.user.is_none() && self.tls.as_ref().is_some_and(|t| t.ca.is_none()) => {
                fault(
                    "user",
                    "missing: else anybody could say anything for a machine; give a user with a \
                     password, or ask machines for certificates with tls: { ca: .. }",
                );
            }
            Ok(_) => {}
        }
        let secrets = (&self.user, &self.password_file, &self.password_env);
        if let Some((key, wrong)) = secret_fault(secrets) {
            fault(key, wrong);
        } else if self.user.is_some() && self.password_file.is_none() && self.password_env.is_none()
        {
            fault("password-file", "missing: a user needs a password-file or a password-env");
        }
        if let Some(publish) = &self.publish {
            publish.check("listen", found);
        }
    }
}

impl Requests {
    fn check(&self, found: &mut Found) {
        let mut fault =
            |key: &str, wrong: &str| found.push((format!("requests.{key}"), wrong.into()));
        if host_and_port(&self.address).is_none() {
            fault("address", "is no host with a port; write such as 192.0.2.10:5672");
        }
        if self.target.as_deref().is_some_and(|target| target.trim().is_empty()) {
            fault("target", "empty; drop it where requests go to the machine's handle");
        }
        if let Some((key, wrong)) = self.tls.as_ref().and_then(tls_fault) {
            fault(key, wrong);
        }
        if let Some((key, wrong)) =
            secret_fault((&self.user, &self.password_file, &self.password_env))
        {
            fault(key, wrong);
        }
        if self.within.0.as_secs() < 1 || self.within.0.as_secs() > 300 {
            fault("within", "lies between 1s and 5min");
        }
    }
}

impl Settings {
    /// Everything wrong with it: the key's path below `cfx`, and what is wrong and allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Found::new();
        let mut fault = |key: &str, wrong: &str| found.push((key.to_owned(), wrong.to_owned()));
        if let Some(wrong) = handle_fault(&self.handle) {
            fault("handle", wrong);
        }
        for (index, signal) in self.signals.iter().enumerate() {
            if self.signals[..index].contains(signal) {
                fault(&format!("signals[{index}]"), "is listed before; once is allowed");
            }
        }
        let by_work = self.strokes_from == StrokesFrom::WorkCompleted;
        match (by_work, self.strokes_per_panel) {
            (true, None) => fault(
                "strokes-per-panel",
                "missing: WorkCompleted tells no strokes; say how many each panel takes, such as 2",
            ),
            (false, Some(_)) => fault(
                "strokes-per-panel",
                "only strokes-from: work-completed needs it; what else counts tells its strokes \
                 itself: drop this",
            ),
            _ => {}
        }
        if self.strokes_from != StrokesFrom::default() && !self.reads(Signal::StrokesDone) {
            fault("strokes-from", "counts nothing unless signals has strokes-done; add it there");
        }
        if self.stencil_prefix.as_deref().is_some_and(|prefix| prefix.trim().is_empty()) {
            fault("stencil-prefix", "empty: every tool would be a stencil; write such as ST-");
        }
        if let Some(requests) = &self.requests {
            requests.check(&mut found);
        }
        self.check_outputs(&mut found);
        found
    }

    fn check_outputs(&self, found: &mut Found) {
        let locks = || self.outputs.iter().filter(|output| output.by == By::LockStation);
        if self.requests.is_some() && locks().next().is_none() {
            let wrong = "nothing is asked of it; add an output by: lock-station, or drop this";
            found.push(("requests".to_owned(), wrong.to_owned()));
        }
        for (index, output) in self.outputs.iter().enumerate() {
            let mut fault = |key: &str, wrong: String| {
                found.push((format!("outputs[{index}].{key}"), wrong));
            };
            if let Err(error) = OutputName::new(&output.name) {
                fault("name", error.to_string());
            }
            let before = &self.outputs[..index];
            if before.iter().any(|known| known.name.trim() == output.name.trim()) {
                fault("name", format!("{:?} is used before; rename one of the two", output.name));
            }
            if output.drive != Drive::PrintPermit {
                fault("drive", "is print-permit: a machine asks for nothing else".to_owned());
            }
            match output.by {
                By::UnitValidation => {
                    if before.iter().any(|known| known.by == output.by) {
                        fault("by", "one output answers this question; drop the others".to_owned());
                    }
                    for (key, there) in
                        [("lane", output.lane.is_some()), ("stage", output.stage.is_some())]
                    {
                        if there {
                            let wrong = "only by: lock-station knows it; drop this".to_owned();
                            fault(key, wrong);
                        }
                    }
                }
                By::LockStation => {
                    if self.requests.is_none() {
                        let wrong = "the machine is asked at its own listener; say where that is \
                                     under requests: { address: .. }";
                        fault("by", wrong.to_owned());
                    }
                    if let Some(other) = before.iter().find(|known| known.locks_with(output)) {
                        let wrong = format!(
                            "{} locks the same already; give each a lane or stage of its own, or \
                             drop one",
                            other.name
                        );
                        fault("by", wrong);
                    }
                    if output.stage.as_ref().is_some_and(|stage| stage.name.trim().is_empty()) {
                        let wrong = "empty; write the stage as the machine names it, or drop it";
                        fault("stage.name", wrong.to_owned());
                    }
                }
            }
        }
    }
}

impl Output {
    /// True when both lock something that is in the other.
    fn locks_with(&self, other: &Self) -> bool {
        let lanes = self.lane.is_none() || other.lane.is_none() || self.lane == other.lane;
        let stages = self.stage.is_none() || other.stage.is_none() || self.stage == other.stage;
        self.by == By::LockStation && lanes && stages
    }
}
