//! Where points and outputs lie, what is never read, and how often each point is.

use std::collections::BTreeSet;
use std::time::Duration;

use super::{At, Found};
use crate::modbus::plan::length;
use crate::modbus::settings::{Layout, Output, Place, Point, Settings, Table};

/// Most different spans from one read of a point to the next, of one machine.
const MOST_CLASSES: usize = 8;

/// Some places of one table, by the protocol's addresses.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Range {
    table: Table,
    first: u16,
    last: u16,
}

impl Range {
    fn meets(&self, other: &Self) -> bool {
        self.table == other.table && self.first <= other.last && other.first <= self.last
    }
}

/// A place with its address in the protocol and, where that is another, as printed.
pub(in crate::modbus) fn spot(settings: &Settings, table: Table, address: u16) -> String {
    let printed = settings.addresses.printed(table, address, false);
    let table = table.as_str();
    if printed == address.to_string() {
        format!("{table} {address}")
    } else {
        format!("{table} {address} (printed {printed})")
    }
}

pub(super) fn check_limits(settings: &Settings, found: &mut Found) {
    if settings.gap > 125 {
        found.tell("gap", "must be 0 to 125: a longer gap fits no request");
    }
    if !(1..=125).contains(&settings.most_registers) {
        found.tell("most-registers", "must be 1 to 125, the most that the protocol allows");
    }
    for (index, range) in settings.forbidden.iter().enumerate() {
        for (key, at) in [("from", range.from), ("to", range.to)] {
            if let Err(wrong) = settings.addresses.protocol(range.table, at) {
                found.tell(format!("forbidden[{index}].{key}"), wrong);
            }
        }
        if range.to < range.from {
            found.tell(format!("forbidden[{index}].to"), "lies before from; swap the two");
        }
    }
}

pub(super) fn check(settings: &Settings, point: &Point, at: &mut At<'_>) {
    let place = point.place();
    let address = match settings.addresses.protocol(place.table, place.at) {
        Ok(address) => address,
        Err(wrong) => return at.tell("at", wrong),
    };
    let length = length(&place);
    let from = spot(settings, place.table, address);
    let Some(last) = address.checked_add(length.saturating_sub(1)) else {
        return at.tell(
            "at",
            format!("{length} registers from {from} run past 65535, the protocol's last address"),
        );
    };
    let too_long = (settings.most_registers + 1..=125).contains(&length);
    if too_long && place.table.registers().is_some() {
        let is_text = matches!(place.layout, Layout::Value { registers: Some(_), .. });
        let key = if is_text { "registers" } else { "type" };
        let most = settings.most_registers;
        at.tell(key, format!("takes {length} registers, and most-registers allows {most}"));
    }
    let own = Range { table: place.table, first: address, last };
    if let Some(index) = forbidding(settings, &own) {
        at.tell("at", format!("{from} is within forbidden[{index}], which is never read"));
    }
}

/// The forbidden range that some places meet.
fn forbidding(settings: &Settings, own: &Range) -> Option<usize> {
    settings.forbidden.iter().position(|range| {
        let address = |at| settings.addresses.protocol(range.table, at).ok();
        let (first, last) = (address(range.from), address(range.to));
        first
            .zip(last)
            .is_some_and(|(first, last)| Range { table: range.table, first, last }.meets(own))
    })
}

/// The poll of a point must be a multiple of the machine's; some points are read in every round.
pub(super) fn check_poll(settings: &Settings, point: &Point, at: &mut At<'_>) {
    let Some(poll) = point.place().poll else {
        return;
    };
    let every_round = matches!(
        point,
        Point::StencilSeated(_)
            | Point::StencilPresent(_)
            | Point::MachineLink(_)
            | Point::LifeSign(_)
    );
    let own = settings.poll.0.as_nanos();
    if every_round {
        let wrong = "which stencil is in the printer, and whether the machine is there, is read \
                     in every round, since all else depends on it; leave this key out";
        at.tell("poll", wrong);
    } else if own == 0 || poll.0.is_zero() || poll.0.as_nanos() % own != 0 {
        let poll = humantime::format_duration(settings.poll.0);
        at.tell("poll", format!("must be a multiple of the machine's own poll of {poll}"));
    } else if poll.0.as_nanos() / own > u128::from(u32::MAX) {
        at.tell("poll", "is too long; write at most some days");
    }
}

/// Each different poll is a plan of its own.
pub(super) fn check_classes(settings: &Settings, found: &mut Found) {
    let polls = settings.points.iter().map(|point| point.place().poll.map(|poll| poll.0));
    let polls: BTreeSet<Duration> = polls.map(|poll| poll.unwrap_or(settings.poll.0)).collect();
    if polls.len() > MOST_CLASSES {
        let wrong = format!(
            "have {} different polls; at most {MOST_CLASSES} are allowed, so give some the same",
            polls.len()
        );
        found.tell("points", wrong);
    }
}

/// Values that share some of their registers, but not all: one of them is at the wrong place.
pub(super) fn check_overlaps(settings: &Settings, found: &mut Found) {
    let mut seen: Vec<(usize, Range)> = Vec::new();
    for (index, point) in settings.points.iter().enumerate() {
        let Some(own) = whole_value(settings, &point.place()) else {
            continue;
        };
        let other = seen.iter().find(|(_, other)| other.meets(&own) && *other != own);
        if let Some((other, range)) = other {
            let shared = spot(settings, own.table, own.first.max(range.first));
            found.tell(
                format!("points[{index}].at"),
                format!(
                    "shares {shared} with points[{other}], but not all of its registers: one of \
                     the two has a wrong address, type or length"
                ),
            );
        }
        seen.push((index, own));
    }
}

/// The registers of a value that takes all their bits.
fn whole_value(settings: &Settings, place: &Place) -> Option<Range> {
    let Layout::Value { bits: None, .. } = place.layout else {
        return None;
    };
    place.table.registers()?;
    let first = settings.addresses.protocol(place.table, place.at).ok()?;
    let last = first.checked_add(length(place).checked_sub(1)?)?;
    Some(Range { table: place.table, first, last })
}

/// Where outputs are written, and read again.
pub(super) fn check_outputs(settings: &Settings, found: &mut Found) {
    for (index, output) in settings.outputs.iter().enumerate() {
        let (table, at, read_back) = match output {
            Output::PrintPermit(permit) | Output::DoorRelease(permit) => {
                (Table::Coil, permit.at, permit.read_back)
            }
            Output::Heartbeat(heartbeat) => (Table::Holding, heartbeat.at, None),
        };
        check_output(settings, table, at, format!("outputs[{index}].at"), found);
        if let Some(bit) = read_back {
            let path = format!("outputs[{index}].read-back.at");
            check_output(settings, bit.table.into(), bit.at, path, found);
        }
    }
}

fn check_output(settings: &Settings, table: Table, at: u32, path: String, found: &mut Found) {
    match settings.addresses.protocol(table, at) {
        Err(wrong) => found.tell(path, wrong),
        Ok(address) => {
            let own = Range { table, first: address, last: address };
            if let Some(index) = forbidding(settings, &own) {
                let spot = spot(settings, table, address);
                found.tell(path, format!("{spot} is within forbidden[{index}]"));
            }
        }
    }
}
