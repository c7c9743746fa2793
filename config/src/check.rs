//! What a schema cannot see: names used twice, keys that need each other, what does not fit.

mod cfx;
mod counting;
mod places;
mod sound;
mod sparkplug;

use std::collections::HashMap;
use std::net::SocketAddr;
use std::path::{Component, Path, PathBuf};

use jiff::tz::TimeZone;
use stencilward_adapters::mqtt;
use stencilward_adapters::settings::Drive;
use stencilward_domain::names::{BadName, MachineName, ProductName, StencilCode};

use crate::configuration::{Configuration, Kind, MachineSettings, WearSettings};
use crate::read::wording::{did_you_mean, near};

use places::check_places;
pub(crate) use sound::with_sound_entries;

/// The faults found so far: path of the key, and what is wrong and allowed.
pub(crate) type Found = Vec<(String, String)>;

impl Configuration {
    /// Everything that is wrong although each key by itself is well-formed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = self.check_entries();
        self.check_counting(&mut found);
        found
    }

    /// All but who counts for whom, which every machine must be known for.
    fn check_entries(&self) -> Found {
        let mut found = Found::new();
        check_listen(&self.listen, self.tls.is_some(), &mut found);
        if let Some(sign_in) = &self.sign_in {
            found.extend(below("sign-in", sign_in.check()));
        }
        if let Some(archive) = &self.archive {
            found.extend(below("archive", archive.check()));
        }
        if let Some(zone) = self.zone.as_deref().filter(|zone| TimeZone::get(zone).is_err()) {
            let wrong = format!("{zone:?} is no zone of the IANA database; such as Europe/Vienna");
            found.push(("zone".to_owned(), wrong));
        }
        if let Some(wear) = self.policy.wear {
            check_wear("policy.wear", wear, &mut found);
        }
        found.extend(below("policy.alarms", self.policy.alarms.check()));
        self.check_products(&mut found);
        self.check_stencils(&mut found);
        self.check_costs(&mut found);
        self.check_brokers(&mut found);
        self.check_sparkplug(&mut found);
        self.check_cfx(&mut found);
        self.check_machines(&mut found);
        check_places(&self.machines, &mut found);
        self.check_brokers_machines(&mut found);
        found
    }

    fn check_products(&self, found: &mut Found) {
        let mut seen = HashMap::new();
        for (index, product) in self.products.iter().enumerate() {
            let path = format!("products[{index}]");
            name(&format!("{path}.name"), &product.name, ProductName::new, &mut seen, found);
            check_wear(&format!("{path}.wear"), product.wear, found);
        }
    }

    fn check_stencils(&self, found: &mut Found) {
        let mut seen = HashMap::new();
        for (index, stencil) in self.stencils.iter().enumerate() {
            let path = format!("stencils[{index}]");
            name(&format!("{path}.code"), &stencil.code, StencilCode::new, &mut seen, found);
            if let Some(product) = &stencil.product
                && let Err(error) = ProductName::new(product)
            {
                found.push((format!("{path}.product"), error.to_string()));
            }
            if let Some(wear) = stencil.wear {
                check_wear(&format!("{path}.wear"), wear, found);
            }
        }
    }

    fn check_brokers(&self, found: &mut Found) {
        let mut seen = HashMap::new();
        for (index, broker) in self.brokers.iter().enumerate() {
            let path = format!("brokers[{index}]");
            once(&format!("{path}.name"), &broker.name, &mut seen, found);
            found.extend(below(&path, broker.check()));
        }
    }

    fn check_machines(&self, found: &mut Found) {
        let (mut seen, mut folders) = (HashMap::new(), HashMap::new());
        let mut recordings = HashMap::new();
        for (index, machine) in self.machines.iter().enumerate() {
            let path = format!("machines[{index}]");
            name(&format!("{path}.name"), &machine.name, MachineName::new, &mut seen, found);
            if let Some(files) = &machine.files {
                let folder = files.folder.to_string_lossy();
                once(&format!("{path}.files.folder"), &folder, &mut folders, found);
            }
            if let Some(record) = &machine.record {
                let to = plain(&record.to);
                once(&format!("{path}.record.to"), &to, &mut recordings, found);
            }
            self.check_machine(&path, machine, found);
        }
    }

    fn check_machine(&self, path: &str, machine: &MachineSettings, found: &mut Found) {
        check_protocol(path, machine, found);
        if let Some(modbus) = &machine.modbus {
            found.extend(below(&format!("{path}.modbus"), modbus.check()));
        }
        if let Some(mqtt) = &machine.mqtt {
            found.extend(below(&format!("{path}.mqtt"), mqtt.check()));
            self.check_broker(&format!("{path}.mqtt.broker"), &mqtt.broker, found);
        }
        if let Some(sparkplug) = &machine.sparkplug {
            found.extend(below(&format!("{path}.sparkplug"), sparkplug.check()));
            self.check_broker(&format!("{path}.sparkplug.broker"), &sparkplug.broker, found);
        }
        if let Some(cfx) = &machine.cfx {
            found.extend(below(&format!("{path}.cfx"), cfx.check()));
        }
        if let Some(files) = &machine.files {
            found.extend(below(&format!("{path}.files"), files.check()));
        }
        check_record(path, machine, found);
        check_cycle(path, machine, found);
        check_drives(path, machine, found);
    }

    /// What machines of one broker do to each other.
    fn check_brokers_machines(&self, found: &mut Found) {
        for broker in &self.brokers {
            let speaking = self.machines.iter().enumerate().filter_map(|(index, machine)| {
                let mqtt = machine.mqtt.as_ref().filter(|mqtt| mqtt.broker == broker.name)?;
                Some((format!("machines[{index}].mqtt"), mqtt))
            });
            let speaking: Vec<_> = speaking.collect();
            found.extend(mqtt::told_twice(&speaking));
            found.extend(mqtt::commanded_alike(broker.version, &speaking));
        }
    }

    fn check_broker(&self, path: &str, broker: &str, found: &mut Found) {
        if !self.brokers.iter().any(|known| known.name == broker) {
            let names = || self.brokers.iter().map(|known| known.name.as_str());
            let known: Vec<&str> = names().collect();
            let known = if known.is_empty() { "none yet".to_owned() } else { known.join(", ") };
            found.push((
                path.to_owned(),
                format!(
                    "no broker is named {broker:?}{}; write one of those under brokers: {known}",
                    did_you_mean(near(broker, names()))
                ),
            ));
        }
    }
}

fn check_protocol(path: &str, machine: &MachineSettings, found: &mut Found) {
    let sections = [
        ("modbus", machine.modbus.is_some()),
        ("mqtt", machine.mqtt.is_some()),
        ("sparkplug", machine.sparkplug.is_some()),
        ("cfx", machine.cfx.is_some()),
        ("files", machine.files.is_some()),
    ];
    let mut spoken = sections.into_iter().filter_map(|(name, there)| there.then_some(name));
    match (spoken.next(), spoken.next()) {
        // The strokes of a printer may come from elsewhere: `check_counting` looks.
        (None, _) if machine.is_printer() => {}
        (None, _) => found.push((
            path.to_owned(),
            "it speaks no protocol; add a modbus, an mqtt, a sparkplug, a cfx or a files section"
                .to_owned(),
        )),
        (Some(_), Some(second)) => found.push((
            format!("{path}.{second}"),
            "a machine speaks one protocol; make two machines of it, or drop one section"
                .to_owned(),
        )),
        (Some(_), None) => {}
    }
    if machine.files.is_some() && machine.kind != Kind::Other {
        let wrong = "a folder of orders is of kind other; make a machine of its own of it";
        found.push((format!("{path}.kind"), wrong.to_owned()));
    }
    if machine.files.is_some() && machine.trial {
        let wrong = "a folder of orders cannot be on trial: its files would be moved away and not \
                     taken in; try it with another folder and ledger";
        found.push((format!("{path}.trial"), wrong.to_owned()));
    }
}

fn check_record(path: &str, machine: &MachineSettings, found: &mut Found) {
    let Some(record) = &machine.record else { return };
    found.extend(below(&format!("{path}.record"), record.check()));
    if machine.modbus.is_none() && machine.mqtt.is_none() && machine.files.is_none() {
        let wrong = match (&machine.sparkplug, &machine.cfx) {
            (Some(_), _) => "what comes over Sparkplug cannot be recorded; drop this",
            (None, Some(_)) => "what comes over CFX cannot be recorded; drop this",
            (None, None) => "the machine has no protocol: nothing that it says could be recorded",
        };
        found.push((format!("{path}.record"), wrong.to_owned()));
    }
}

/// A path without its detours through the folder it is in.
fn plain(path: &Path) -> String {
    let parts = path.components().filter(|part| *part != Component::CurDir);
    parts.collect::<PathBuf>().to_string_lossy().into_owned()
}

fn check_cycle(path: &str, machine: &MachineSettings, found: &mut Found) {
    if machine.fastest_cycle.is_some_and(|span| span.0.is_zero()) {
        let wrong = "must be longer than nothing, such as 8s";
        found.push((format!("{path}.fastest-cycle"), wrong.to_owned()));
    }
}

fn check_drives(path: &str, machine: &MachineSettings, found: &mut Found) {
    let section = match (&machine.modbus, &machine.mqtt, &machine.sparkplug) {
        (Some(_), ..) => "modbus",
        (_, Some(_), _) => "mqtt",
        (.., Some(_)) => "sparkplug",
        _ => "cfx",
    };
    for (index, (_, drive)) in machine.outputs().into_iter().enumerate() {
        let (needed, follows) = match drive {
            Drive::PrintPermit => (
                Kind::Printer,
                "print-permit belongs on a printer; set kind: printer, or drop this output",
            ),
            Drive::DoorRelease => {
                (Kind::Rack, "door-release belongs on a rack; set kind: rack, or drop this output")
            }
            Drive::Heartbeat => continue,
        };
        if machine.kind != needed {
            found.push((format!("{path}.{section}.outputs[{index}].drive"), follows.to_owned()));
        }
    }
}

fn check_listen(listen: &str, secured: bool, found: &mut Found) {
    let key = "listen".to_owned();
    let named = listen.strip_prefix("localhost:").and_then(|port| port.parse::<u16>().ok());
    match listen.parse::<SocketAddr>() {
        Ok(address) if address.ip().is_loopback() || secured => {}
        Ok(_) => found.push((
            key,
            "not a loopback address: without TLS the gateway serves this machine only; add tls \
             with a certificate and its key, or use 127.0.0.1:9464 or [::1]:9464"
                .to_owned(),
        )),
        Err(_) if named.is_some() => {}
        Err(_) => found
            .push((key, format!("{listen:?} is no address with a port; such as 127.0.0.1:9464"))),
    }
}

fn check_wear(path: &str, wear: WearSettings, found: &mut Found) {
    let limits = wear.limits();
    if limits.reorder >= limits.stop {
        found.push((
            format!("{path}.reorder"),
            format!(
                "{} is not below stop, {} (per cent of rated life), and the warning must come \
                 first; 80 and 99 are common practice",
                wear.reorder, wear.stop
            ),
        ));
    }
}

fn name<T>(
    path: &str,
    text: &str,
    new: fn(&str) -> Result<T, BadName>,
    seen: &mut HashMap<String, String>,
    found: &mut Found,
) {
    match new(text) {
        Ok(_) => once(path, text, seen, found),
        Err(error) => found.push((path.to_owned(), error.to_string())),
    }
}

fn once(path: &str, text: &str, seen: &mut HashMap<String, String>, found: &mut Found) {
    if let Some(first) = seen.insert(text.trim().to_owned(), path.to_owned()) {
        found.push((
            path.to_owned(),
            format!("{text:?} is used before, at {first}; rename one of the two"),
        ));
    }
}

fn below(path: &str, faults: Vec<(String, String)>) -> impl Iterator<Item = (String, String)> {
    faults.into_iter().map(move |(key, wrong)| {
        let dot = if key.is_empty() || key.starts_with('[') { "" } else { "." };
        (format!("{path}{dot}{key}"), wrong)
    })
}
