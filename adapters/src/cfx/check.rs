//! What a schema cannot see in the CFX part of the configuration.

use std::net::SocketAddr;

use stencilward_domain::names::OutputName;

use super::settings::{AtBroker, Endpoint, Listen, Settings, Signal, StrokesFrom};
use crate::mqtt::host_and_port;
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
        if self.sources.is_empty() {
            fault(
                "sources",
                "empty; write the address of a durable queue, such as /amq/queue/NAME",
            );
        }
        for (index, source) in self.sources.iter().enumerate() {
            if source.trim().is_empty() || self.sources[..index].contains(source) {
                fault(&format!("sources[{index}]"), "empty, or listed before; write each once");
            }
        }
        if let Some(tls) = &self.tls {
            match (&tls.certificate, &tls.key) {
                (Some(_), None) => fault("tls.key", "missing: a certificate needs its key"),
                (None, Some(_)) => fault("tls.certificate", "missing: a key needs its certificate"),
                _ => {}
            }
        }
        let secrets = (&self.user, &self.password_file, &self.password_env);
        if let Some((key, wrong)) = secret_fault(secrets) {
            fault(key, wrong);
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
        for (index, output) in self.outputs.iter().enumerate() {
            let mut fault = |key: &str, wrong: String| {
                found.push((format!("outputs[{index}].{key}"), wrong));
            };
            if let Err(error) = OutputName::new(&output.name) {
                fault("name", error.to_string());
            }
            if output.drive != Drive::PrintPermit {
                fault("drive", "is print-permit: a machine asks for nothing else".to_owned());
            }
            if index > 0 {
                fault("by", "one output answers this question; drop the others".to_owned());
            }
        }
        found
    }
}
