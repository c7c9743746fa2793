//! What is wrong with the way to a machine, by itself and beside those that share it.

use std::time::Duration;

use super::super::plan::Rounds;
use super::super::rtu::{Pace, TURNAROUND};
use super::super::settings::{Endpoint, Serial, Settings, has_port};
use super::super::wiring::Wiring;
use super::Found;

/// The wait for an answer, unless set.
const LONGEST_DEFAULT: Duration = Duration::from_secs(1);
/// Units of a serial line; 0 is all of them and answers nothing, those above are reserved
/// (MODBUS over Serial Line V1.02, 2.2).
const UNITS: std::ops::RangeInclusive<u8> = 1..=247;
/// Characters of a read request, and of its answer without data.
const REQUEST: usize = 8;
const ANSWER: usize = 5;

/// The wait for an answer of each machine of one place: as set, or a second, or so little that one
/// without power keeps none of the others waiting for half of its poll.
pub(in crate::modbus) fn time_outs(machines: &[&Settings]) -> Vec<Duration> {
    let limit = |settings: &&Settings| match (settings.timeout, shortest_other(machines, settings))
    {
        (Some(limit), _) => limit.0,
        (None, None) => LONGEST_DEFAULT,
        (None, Some(poll)) => (poll / 2).clamp(super::SHORTEST_TIMEOUT, LONGEST_DEFAULT),
    };
    machines.iter().map(limit).collect()
}

/// The shortest poll of other units; machines that are parts of one unit fall silent together.
fn shortest_other(machines: &[&Settings], than: &Settings) -> Option<Duration> {
    let others = machines.iter().filter(|other| other.unit != than.unit);
    others.map(|other| other.poll.0).min()
}

pub(super) fn check(settings: &Settings, found: &mut Found) {
    match (&settings.address, &settings.serial) {
        (None, None) => found.tell(
            "address",
            "nothing says where the machine is; write an address, or serial with a port",
        ),
        (Some(_), Some(_)) => found.tell(
            "serial",
            "a machine is reached by an address or on a serial line; drop one of the two",
        ),
        (Some(address), None) => check_address(address, settings.tls.is_some(), found),
        (None, Some(serial)) => check_serial(serial, found),
    }
    let Some(endpoint) = settings.endpoint() else { return };
    if settings.tls.is_some() && endpoint.is_rtu() {
        found.tell("tls", "secures Modbus TCP only; a serial line or converter has none, drop it");
    }
    if settings.quiet.is_some() && !endpoint.is_rtu() {
        found.tell("quiet", "belongs to a serial line or framing: rtu; drop it");
    }
    if endpoint.is_rtu() && !UNITS.contains(&settings.unit) {
        found.tell("unit", "on a serial line units are 1 to 247");
    }
}

fn check_serial(serial: &Serial, found: &mut Found) {
    if serial.port.as_os_str().is_empty() {
        found.tell("serial.port", "write the port's device file, such as /dev/ttyUSB0");
    }
    if !(1_200..=115_200).contains(&serial.baud) {
        found.tell("serial.baud", "must lie between 1200 and 115200 bits a second");
    }
}

fn check_address(address: &str, secured: bool, found: &mut Found) {
    let allowed = "host:port, such as 192.0.2.10:502 or printer-1.example:502";
    let address = address.trim();
    let (host, port) = match address.rsplit_once(':') {
        Some((host, port)) if has_port(address) => (host, Some(port)),
        _ => (address, None),
    };
    let bare_v6 = host.contains(':') && !(host.starts_with('[') && host.ends_with(']'));
    if host.is_empty() || host.contains(char::is_whitespace) || host.contains('/') {
        found.tell("address", format!("{host:?} is no host name or address; write {allowed}"));
    } else if bare_v6 {
        let example = "such as [2001:db8::10]:502";
        found.tell("address", format!("an IPv6 address stands in brackets, {example}"));
    } else if let Some(port) = port {
        if !port.parse::<u16>().is_ok_and(|port| port > 0) {
            found.tell("address", format!("{port:?} is no port; write {allowed}"));
        }
    } else if !secured {
        found.tell("address", format!("{address:?} has no port; write {allowed}"));
    }
}

/// What is wrong with the connection of machines that share it: which, the key, and the fault.
pub(super) fn check_shared(machines: &[(&str, &Settings)]) -> Vec<(usize, String, String)> {
    let mut told = Vec::new();
    let Some((first, settings)) = machines.first() else { return told };
    for (at, (_, other)) in machines.iter().enumerate().skip(1) {
        let differ = disagreements(settings, other);
        told.extend(differ.into_iter().map(|(key, is, was)| {
            let wrong = format!(
                "{is}, but {first} on the same line has {was}; a line has one way to speak, so \
                 write the same for both"
            );
            (at, key.to_owned(), wrong)
        }));
    }
    told.extend(too_patient(machines));
    told.extend(overloaded(machines));
    told
}

/// Keys of the connection that are not the same: the key, the value there, and here.
fn disagreements(one: &Settings, other: &Settings) -> Vec<(&'static str, String, String)> {
    let serial = |settings: &Settings| {
        settings.serial.clone().map(|serial| (serial.baud.to_string(), serde_word(&serial.frame)))
    };
    let mut all = vec![
        ("framing", serde_word(&other.framing), serde_word(&one.framing)),
        ("tls", serde_word(&other.tls), serde_word(&one.tls)),
        ("quiet", serde_word(&other.quiet), serde_word(&one.quiet)),
    ];
    if let (Some(one), Some(other)) = (serial(one), serial(other)) {
        all.push(("serial.baud", other.0, one.0));
        all.push(("serial.frame", other.1, one.1));
    }
    all.retain(|(_, is, was)| is != was);
    all
}

/// A value as it stands in a file.
fn serde_word<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_value(value)
        .map(|value| match value {
            serde_json::Value::String(word) => word,
            serde_json::Value::Null => "none".to_owned(),
            other => other.to_string(),
        })
        .unwrap_or_default()
}

/// A machine without power must not make another one late.
fn too_patient(machines: &[(&str, &Settings)]) -> Vec<(usize, String, String)> {
    let all: Vec<&Settings> = machines.iter().map(|(_, settings)| *settings).collect();
    let patient = |(at, settings): (usize, &&Settings)| {
        let (limit, poll) = (settings.timeout?.0, shortest_other(&all, settings)?);
        let is_rtu = settings.endpoint()?.is_rtu();
        let most = if is_rtu { poll.saturating_sub(TURNAROUND) } else { poll };
        let most = most.max(super::SHORTEST_TIMEOUT);
        (limit > most).then(|| {
            let most = humantime::format_duration(most);
            let wrong = format!(
                "while it does not answer, another machine on the same line would be late by more \
                 than its poll; write {most} or less, or let the others be polled less often"
            );
            (at, "timeout".to_owned(), wrong)
        })
    };
    all.iter().enumerate().filter_map(patient).collect()
}

/// A line carries only so many characters a second.
fn overloaded(machines: &[(&str, &Settings)]) -> Option<(usize, String, String)> {
    let Some(Endpoint::Serial { serial, quiet }) = machines.first()?.1.endpoint() else {
        return None;
    };
    let pace = Pace::of(&serial, quiet.map(|span| span.0).unwrap_or_default());
    let share = |(_, settings): &(&str, &Settings)| {
        round(settings, &pace).as_secs_f64() / settings.poll.0.as_secs_f64().max(0.001)
    };
    let shares: Vec<f64> = machines.iter().map(share).collect();
    let sum: f64 = shares.iter().sum();
    let (most, _) =
        shares.iter().enumerate().max_by(|(_, one), (_, other)| one.total_cmp(other))?;
    (sum > 1.0).then(|| {
        let wrong = format!(
            "at {} bits a second the line would need {sum:.1} times the time there is, most of it \
             for this machine; write a longer poll, read less, or choose a higher speed",
            serial.baud
        );
        (most, "poll".to_owned(), wrong)
    })
}

/// The least time that one round of a machine takes on its line.
fn round(settings: &Settings, pace: &Pace) -> Duration {
    let mut rounds = Rounds::of(&Wiring::of(settings));
    // The first round reads everything, the second only what is read in each.
    rounds.done();
    let plan = rounds.due();
    let bits = plan.bits.iter().map(|reach| usize::from(reach.count).div_ceil(8));
    let words = plan.words.iter().map(|reach| usize::from(reach.count) * 2);
    let one = |data: usize| pace.characters(REQUEST + ANSWER + data) + pace.silence * 2;
    bits.chain(words).map(one).sum()
}

#[cfg(test)]
mod tests;
