//! Outputs over Sparkplug: write by command what is wanted, compare with what data show: pure.
//!
//! Source: Sparkplug 3.0.0, 5.17: a command names a metric of the birth certificate, by its alias
//! where it was born with one, and gives a value of its type.

use std::time::Duration;

use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;

use super::host::{Host, Moment, Writable};
use super::payload::{Metric, Payload, Value, datatype};
use super::settings::{Output, Settings};
use super::topic::Topic;
use crate::link::{Observer, Trouble};
use crate::settings::Drive;

/// A machine that shows another state than was written has this long to follow.
const FOLLOWING: Duration = Duration::from_secs(2);

/// One output and what was last done about it.
struct Driven {
    machine: MachineName,
    name: OutputName,
    output: Output,
    written: Option<(bool, Duration)>,
    /// The birth it was found missing in is told once.
    missing: bool,
}

/// The outputs of all machines of a broker.
pub(super) struct Outputs {
    driven: Vec<Driven>,
    beat: u64,
}

/// What to send.
pub(super) type Command = (Topic, Vec<u8>);

impl Outputs {
    pub(super) fn new(machines: &[(MachineName, Settings)]) -> Self {
        let mut driven = Vec::new();
        for (machine, settings) in machines {
            for output in &settings.outputs {
                if let Ok(name) = OutputName::new(&output.name) {
                    let (machine, output) = (machine.clone(), output.clone());
                    driven.push(Driven { machine, name, output, written: None, missing: false });
                }
            }
        }
        Self { driven, beat: 0 }
    }

    /// A machine was born, or is gone: what was written to it before is forgotten.
    pub(super) fn forget(&mut self, machine: &MachineName) {
        for driven in self.driven.iter_mut().filter(|driven| driven.machine == *machine) {
            (driven.written, driven.missing) = (None, false);
        }
    }

    /// The commands that make the machines show what is wanted.
    pub(super) fn compare(
        &mut self,
        wanted: &Wanted,
        host: &Host,
        now: Moment,
        observer: &dyn Observer,
    ) -> Vec<Command> {
        let beats = wanted.beat != self.beat;
        self.beat = wanted.beat;
        let millis = u64::try_from(now.at.0).unwrap_or_default();
        let mut commands = Vec::new();
        for driven in &mut self.driven {
            let heartbeat = driven.output.drive == Drive::Heartbeat;
            let told = !heartbeat && !driven.settle(wanted, host, now, observer);
            if told || (heartbeat && !beats) {
                continue;
            }
            let value = if heartbeat {
                wanted.beat
            } else {
                u64::from(wanted.permits(&driven.machine, &driven.name))
            };
            if let Some(command) = driven.command(value, host, millis, observer) {
                driven.written = Some((value != 0, now.clock));
                commands.push(command);
            }
        }
        commands
    }
}

impl Driven {
    /// Tells the observer; true when it is to be written.
    fn settle(&self, wanted: &Wanted, host: &Host, now: Moment, observer: &dyn Observer) -> bool {
        let permits = wanted.permits(&self.machine, &self.name);
        let read_back = self.output.read_back.as_ref().unwrap_or(&self.output.metric);
        let shown = host.shown(&self.machine, read_back);
        observer.output(&self.machine, &self.name, permits, shown);
        match self.written {
            Some((written, at)) if written == permits => {
                let disobeyed = shown != Some(permits) && now.clock >= at + FOLLOWING;
                if disobeyed {
                    let word = if permits { "permit" } else { "refuse" };
                    let metric = &self.output.metric;
                    let why = format!(
                        "{metric} was told to {word} and {read_back} does not show it; written again"
                    );
                    observer.trouble(&self.machine, Trouble::Disobeyed, &why);
                }
                disobeyed
            }
            _ => true,
        }
    }

    fn command(
        &mut self,
        value: u64,
        host: &Host,
        millis: u64,
        observer: &dyn Observer,
    ) -> Option<Command> {
        let metric = &self.output.metric;
        let Some(writable) = host.writable(&self.machine, metric) else {
            if host.is_born(&self.machine) && !std::mem::replace(&mut self.missing, true) {
                let why = format!(
                    "{metric} is not in the birth certificate, so it cannot be written: compare \
                     the spelling"
                );
                observer.trouble(&self.machine, Trouble::Missing, &why);
            }
            return None;
        };
        let Some(metric) = written(metric, &writable, value, millis) else {
            if !std::mem::replace(&mut self.missing, true) {
                let why =
                    format!("{metric} is neither Boolean nor a whole number: map another one");
                observer.trouble(&self.machine, Trouble::Senseless, &why);
            }
            return None;
        };
        let payload = Payload { timestamp: Some(millis), metrics: vec![metric], seq: None };
        Some((writable.topic, payload.bytes()))
    }
}

/// The metric of a command; none when its type takes no such value.
fn written(name: &str, writable: &Writable, value: u64, millis: u64) -> Option<Metric> {
    let (datatype, value) = match writable.datatype {
        Some(datatype::BOOLEAN) => (datatype::BOOLEAN, Value::Boolean(value != 0)),
        Some(kind @ (datatype::INT64 | datatype::UINT64)) => (kind, Value::Long(value)),
        Some(kind @ datatype::INT8..=datatype::UINT64) => {
            (kind, Value::Int(u32::try_from(value % wraps(kind)).unwrap_or_default()))
        }
        _ => return None,
    };
    let mut metric = Metric::new(name, datatype, Some(value), millis);
    if let Some(alias) = writable.alias {
        (metric.name, metric.alias, metric.datatype) = (None, Some(alias), None);
    }
    Some(metric)
}

/// Where a heartbeat starts again, so that every whole number type can hold it.
fn wraps(kind: u32) -> u64 {
    match kind {
        datatype::INT8 => 1 << 7,
        datatype::UINT8 => 1 << 8,
        datatype::INT16 => 1 << 15,
        6 => 1 << 16,
        datatype::INT32 => 1 << 31,
        _ => 1 << 32,
    }
}
