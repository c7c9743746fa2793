//! What a schema cannot see in the MQTT part of the configuration.

mod never;
mod outputs;

use std::collections::HashMap;

use stencilward_domain::names::CounterName;

use super::settings::{Broker, Message, Settings, Signal};
use super::topic::{covers, filter, name_fault, names, overlap, settings_fault};
use crate::settings::unit_fault;
pub use outputs::commanded_alike;

type Found = Vec<(String, String)>;

impl Broker {
    /// Everything wrong with it: the key's path below it, and what is wrong and allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Found::new();
        let mut fault = |key: &str, wrong: &str| found.push((key.to_owned(), wrong.to_owned()));
        if host_and_port(&self.address).is_none() {
            fault("address", "is no host with a port; write such as 127.0.0.1:1883");
        }
        if self.client.is_empty() || self.client.len() > 60 {
            fault("client", "must have between 1 and 60 bytes");
        }
        if self.keep_alive.0.as_secs() == 0 || self.keep_alive.0.as_secs() > 65_535 {
            fault("keep-alive", "must lie between 1s and 65535s");
        }
        if self.receive_maximum == 0 {
            fault("receive-maximum", "lies between 1 and 65535");
        }
        if self.session_expiry.0.as_secs() == 0 {
            fault("session-expiry", "is at least 1s: messages that come meanwhile would be lost");
        }
        if let Some(tls) = &self.tls {
            match (&tls.certificate, &tls.key) {
                (Some(_), None) => fault("tls.key", "missing: a certificate needs its key"),
                (None, Some(_)) => fault("tls.certificate", "missing: a key needs its certificate"),
                _ => {}
            }
        }
        match (&self.user, &self.password_file, &self.password_env) {
            (_, Some(_), Some(_)) => fault("password-env", "give a file or a variable, not both"),
            (None, Some(_), None) => fault("user", "missing: a password needs a user"),
            (None, None, Some(_)) => fault("user", "missing: a password needs a user"),
            _ => {}
        }
        if let Some(publish) = &self.publish
            && let Some(wrong) = under_fault(&publish.under)
        {
            fault("publish.under", wrong);
        }
        found
    }
}

/// What is wrong with the topic under which the gateway tells, if anything.
fn under_fault(under: &str) -> Option<&'static str> {
    if under.starts_with('$') {
        return Some("begins with $, which is the broker's own: begin with a word of the plant");
    }
    if under.ends_with('/') || under.len() > 1_024 {
        return Some(
            "is a topic of at most 1024 bytes without a / at its end, such as works/gateway",
        );
    }
    name_fault(under)
}

/// Splits an address into host and port.
pub(crate) fn host_and_port(address: &str) -> Option<(String, u16)> {
    let (host, port) = address.rsplit_once(':')?;
    let host = host.trim_start_matches('[').trim_end_matches(']');
    let port = port.parse().ok().filter(|port| *port != 0)?;
    let is_name =
        !host.is_empty() && !host.contains(['/', '@']) && !host.contains(char::is_whitespace);
    is_name.then(|| (host.to_owned(), port))
}

impl Settings {
    /// Everything wrong with it: the key's path below `mqtt`, and what is wrong and allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Found::new();
        for (index, message) in self.messages.iter().enumerate() {
            message.check(&format!("messages[{index}]"), &mut found);
        }
        self.check_counters(&mut found);
        never::check(self, &mut found);
        let mut seen = HashMap::new();
        for (index, output) in self.outputs.iter().enumerate() {
            let path = format!("outputs[{index}]");
            output.check(&path, &mut found);
            if let Some(first) = seen.insert(output.name.trim(), path.clone()) {
                found.push((
                    format!("{path}.name"),
                    format!("{:?} is used before, at {first}; rename one of the two", output.name),
                ));
            }
        }
        found
    }

    /// One counter counts one thing.
    fn check_counters(&self, found: &mut Found) {
        let mut counted = HashMap::new();
        for (index, message) in self.messages.iter().enumerate() {
            if let Some((counter, counts)) = message.counter()
                && message.machine.is_none()
                && *counted.entry(counter.clone()).or_insert(counts) != counts
            {
                found.push((
                    format!("messages[{index}].counter"),
                    format!("{counter} is told as a total of strokes and of wipes; rename one"),
                ));
            }
        }
    }
}

/// Entries of a broker's machines that a broker may hear a message for twice, without anything by
/// which the second is known (MQTT 3.1.1, 3.3.5): their filters overlap with others of this
/// broker, and neither covers the other. Each machine comes with its place in the configuration.
#[must_use]
pub fn told_twice(machines: &[(String, &Settings)]) -> Vec<(String, String)> {
    let entries = machines.iter().flat_map(|(place, settings)| {
        let messages = settings.messages.iter().enumerate();
        messages.map(move |(at, message)| (format!("{place}.messages[{at}].topic"), message))
    });
    let entries: Vec<(String, &Message)> = entries.collect();
    let filters: Vec<String> = entries.iter().map(|(_, entry)| filter(&entry.topic)).collect();
    let partly =
        |one: &str, other: &str| overlap(one, other) && !covers(one, other) && !covers(other, one);
    let mut found = Found::new();
    for ((path, entry), own) in entries.iter().zip(&filters) {
        if entry.signal.adds_up()
            && entry.identity.is_none()
            && let Some(other) = filters.iter().find(|other| partly(own, other))
        {
            found.push((
                path.clone(),
                format!(
                    "overlaps with {other}: the broker may send a message once for each, and it \
                     would count twice; give an identity, or write topics without + and #"
                ),
            ));
        }
    }
    found
}

/// Keys a signal must and may have beside the ones that every message may have.
fn keys(signal: Signal) -> (&'static [&'static str], &'static [&'static str]) {
    match signal {
        Signal::StrokeTotal | Signal::WipeTotal => (&["width"], &["value", "counter"]),
        Signal::StrokesDone | Signal::WipesDone | Signal::BoardsCounted => (&["count"], &[]),
        Signal::StencilSeated => (&["stencil"], &[]),
        Signal::StencilRemoved => (&[], &[]),
        Signal::WashBegan => (&[], &["stencil", "programme"]),
        Signal::WashEnded => (&["outcome", "outcomes"], &["stencil", "programme", "measured"]),
        Signal::SlotOccupied | Signal::SlotEmptied => (&["slot"], &["stencil"]),
        Signal::StoreAsked => (&["stencil"], &["slot", "answer"]),
        Signal::TakeAsked => (&["stencil"], &["order", "destination", "answer"]),
        Signal::MachineState => (&["states"], &["value"]),
        Signal::Fault => (&["code", "active"], &["text"]),
        Signal::Link => (&["up", "lost"], &["value"]),
        Signal::Measured => (&["quantity", "unit"], &["value", "stencil", "scale", "offset"]),
        Signal::OrderReleased | Signal::OrderStarted => (
            &["order"],
            &[
                "product",
                "side",
                "revision",
                "boards",
                "panels-per-stroke",
                "strokes-per-panel",
                "setup-strokes",
                "stencils",
            ],
        ),
        Signal::OrderFinished => (&["order"], &["made"]),
    }
}

impl Message {
    fn check(&self, path: &str, found: &mut Found) {
        let mut fault = |key: &str, wrong: String| found.push((format!("{path}.{key}"), wrong));
        if let Some(wrong) = settings_fault(&self.topic) {
            fault("topic", wrong.to_owned());
        }
        let (must, may) = keys(self.signal);
        let given = self.given();
        for key in must.iter().filter(|key| !given.contains(key)) {
            fault(key, format!("missing: this signal needs {key}"));
        }
        for key in given.iter().filter(|key| !must.contains(key) && !may.contains(key)) {
            let allowed = [must, may].concat().join(", ");
            fault(key, format!("does not belong to this signal; it takes: {allowed}"));
        }
        for (key, pointer) in self.pointers() {
            if let Some(wrong) = self.pointer_fault(pointer) {
                fault(key, wrong);
            }
        }
        if self.width.is_some_and(|width| ![16, 32, 64].contains(&width)) {
            fault("width", "a counter wraps at 16, 32 or 64 bits".to_owned());
        }
        if let Some(Err(error)) = self.counter.as_deref().map(CounterName::new) {
            fault("counter", error.to_string());
        }
        if let Some(wrong) = self.answer.as_deref().and_then(name_fault) {
            fault("answer", wrong.to_owned());
        }
        if let (Some(quantity), Some(unit)) = (&self.quantity, &self.unit)
            && let Some(wrong) = unit_fault(quantity, unit)
        {
            fault("unit", wrong.to_owned());
        }
        let no_scale =
            |scale: Option<f64>| scale.is_some_and(|scale| scale == 0.0 || !scale.is_finite());
        if no_scale(self.scale) {
            fault("scale", "is no number other than 0".to_owned());
        }
        for (index, measures) in self.measured.iter().enumerate() {
            if no_scale(measures.scale) {
                fault(&format!("measured[{index}].scale"), "is no number other than 0".to_owned());
            }
            if let Some(wrong) = unit_fault(&measures.quantity, &measures.unit) {
                fault(&format!("measured[{index}].unit"), wrong.to_owned());
            }
        }
        if self.signal.adds_up() && self.qos > 0 && self.identity.is_none() {
            fault(
                "identity",
                "missing: the broker may send a message twice; without an identity what it tells \
                 would count twice. Point to the message's own number, or tell a total \
                 (stroke-total, wipe-total)"
                    .to_owned(),
            );
        }
    }

    fn pointer_fault(&self, pointer: &str) -> Option<String> {
        match pointer.strip_prefix('{').map(|rest| rest.strip_suffix('}')) {
            None if pointer.is_empty() || pointer.starts_with('/') => None,
            None => Some(format!(
                "{pointer:?} is no pointer; it begins with / and points into the payload, such as \
                 /code, or names a level of the topic, such as {{slot}}"
            )),
            Some(Some(name)) if names(&self.topic).any(|known| known == name) => None,
            Some(_) => {
                let known: Vec<&str> = names(&self.topic).collect();
                let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
                Some(format!("{pointer:?} is no level of the topic; named levels: {known}"))
            }
        }
    }

    /// The keys set, of those that belong to some signals only.
    fn given(&self) -> Vec<&'static str> {
        let set = [
            ("value", self.value.is_some()),
            ("counter", self.counter.is_some()),
            ("width", self.width.is_some()),
            ("count", self.count.is_some()),
            ("stencil", self.stencil.is_some()),
            ("slot", self.slot.is_some()),
            ("order", self.order.is_some()),
            ("destination", self.destination.is_some()),
            ("programme", self.programme.is_some()),
            ("outcome", self.outcome.is_some()),
            ("outcomes", !self.outcomes.is_empty()),
            ("measured", !self.measured.is_empty()),
            ("states", !self.states.is_empty()),
            ("code", self.code.is_some()),
            ("text", self.text.is_some()),
            ("active", self.active.is_some()),
            ("up", !self.up.is_empty()),
            ("lost", !self.lost.is_empty()),
            ("quantity", self.quantity.is_some()),
            ("unit", self.unit.is_some()),
            ("scale", self.scale.is_some()),
            ("offset", self.offset.is_some()),
            ("product", self.product.is_some()),
            ("side", self.side.is_some()),
            ("revision", self.revision.is_some()),
            ("boards", self.boards.is_some()),
            ("panels-per-stroke", self.panels_per_stroke.is_some()),
            ("strokes-per-panel", self.strokes_per_panel.is_some()),
            ("setup-strokes", self.setup_strokes.is_some()),
            ("stencils", self.stencils.is_some()),
            ("made", self.made.is_some()),
            ("answer", self.answer.is_some()),
        ];
        set.into_iter().filter_map(|(key, given)| given.then_some(key)).collect()
    }

    fn pointers(&self) -> Vec<(&'static str, &str)> {
        let named = [
            ("identity", &self.identity),
            ("sequence", &self.sequence),
            ("time", &self.time),
            ("machine", &self.machine),
            ("value", &self.value),
            ("count", &self.count),
            ("stencil", &self.stencil),
            ("slot", &self.slot),
            ("order", &self.order),
            ("destination", &self.destination),
            ("programme", &self.programme),
            ("outcome", &self.outcome),
            ("code", &self.code),
            ("text", &self.text),
            ("active", &self.active),
            ("product", &self.product),
            ("side", &self.side),
            ("revision", &self.revision),
            ("boards", &self.boards),
            ("panels-per-stroke", &self.panels_per_stroke),
            ("strokes-per-panel", &self.strokes_per_panel),
            ("setup-strokes", &self.setup_strokes),
            ("stencils", &self.stencils),
            ("made", &self.made),
        ];
        let named = named.into_iter().filter_map(|(key, p)| Some((key, p.as_deref()?)));
        let when = self.when.keys().map(|pointer| ("when", pointer.as_str()));
        let measured = self.measured.iter().map(|measures| ("measured", measures.at.as_str()));
        named.chain(when).chain(measured).collect()
    }
}
