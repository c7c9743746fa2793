//! Places that are read, or written, twice: by one machine, or by several that are one unit.
//!
//! Two machines may well be parts of one unit, such as the inputs of a module. But a place that
//! belongs to one thing only cannot be two things.

use std::collections::HashMap;

use super::Found;
use super::points::spot;
use crate::modbus::settings::{Layout, Output, Point, Settings, Table};

/// A place that is read as one signal.
#[derive(PartialEq, Eq, Hash)]
struct Read {
    signal: &'static str,
    table: Table,
    address: u16,
    kind: Option<&'static str>,
    bits: Option<[u8; 2]>,
}

/// The points that belong to one thing alone, each with its index.
fn reads(settings: &Settings) -> impl Iterator<Item = (usize, Read)> {
    let points = settings.points.iter().enumerate().filter(|(_, point)| belongs_to_one(point));
    points.filter_map(|(index, point)| {
        let place = point.place();
        let (kind, bits) = match place.layout {
            Layout::Bit { bit, .. } => (None, bit.map(|bit| [bit, bit])),
            Layout::Value { kind, bits, .. } => (Some(kind.as_str()), bits),
        };
        let address = settings.addresses.protocol(place.table, place.at).ok()?;
        Some((index, Read { signal: point.signal(), table: place.table, address, kind, bits }))
    })
}

/// What a controller may show for several machines at once is left out, such as its state.
fn belongs_to_one(point: &Point) -> bool {
    matches!(
        point,
        Point::StrokeTotal(_)
            | Point::WipeTotal(_)
            | Point::BoardTotal(_)
            | Point::StrokeContact(_)
            | Point::WipeContact(_)
            | Point::BoardContact(_)
            | Point::StencilSeated(_)
            | Point::StencilPresent(_)
            | Point::Slot(_)
            | Point::SlotCode(_)
            | Point::StoreAsked(_)
            | Point::TakeAsked(_)
            | Point::WashRunning(_)
            | Point::WashStencil(_)
    )
}

pub(super) fn check(settings: &Settings, found: &mut Found) {
    let mut seen = HashMap::new();
    for (index, read) in reads(settings) {
        let (signal, spot) = (read.signal, spot(settings, read.table, read.address));
        if let Some(first) = seen.insert(read, index) {
            found.tell(
                format!("points[{index}].at"),
                format!(
                    "{spot} is read as {signal} by points[{first}] already; write this one's own \
                     address, or drop one of the two"
                ),
            );
        }
    }
    check_echoes(settings, found);
}

/// A coil that the gateway writes shows what the gateway wrote, not what the machine says.
fn check_echoes(settings: &Settings, found: &mut Found) {
    for (index, point) in settings.points.iter().enumerate() {
        let place = point.place();
        let own = settings.addresses.protocol(place.table, place.at).ok();
        let written = settings.outputs.iter().position(|output| {
            let (table, at) = written_at(output);
            table == place.table && settings.addresses.protocol(table, at).ok() == own
        });
        if let (Some(address), Some(output)) = (own, written) {
            let spot = spot(settings, place.table, address);
            found.tell(
                format!("points[{index}].at"),
                format!(
                    "{spot} is written by outputs[{output}], so it shows what the gateway wrote \
                     and not what the machine says; write the address where the machine shows it"
                ),
            );
        }
    }
}

fn written_at(output: &Output) -> (Table, u32) {
    match output {
        Output::PrintPermit(permit) | Output::DoorRelease(permit) => (Table::Coil, permit.at),
        Output::Heartbeat(heartbeat) => (Table::Holding, heartbeat.at),
    }
}

/// Of machines at one place, each with its name: which has a fault, the path of the key below
/// `modbus`, and what is wrong.
pub(super) fn check_shared(machines: &[(&str, &Settings)]) -> Vec<(usize, String, String)> {
    let mut told = Vec::new();
    let (mut read, mut written) = (HashMap::new(), HashMap::new());
    for (at, (_, settings)) in machines.iter().enumerate() {
        let unit = settings.unit;
        for (index, place) in reads(settings) {
            let (signal, spot) = (place.signal, spot(settings, place.table, place.address));
            let first = *read.entry((unit, place)).or_insert(at);
            if first != at {
                let other = machines.get(first).map_or("", |(name, _)| name);
                let wrong = format!(
                    "{spot} of unit {unit} is read as {signal} for {other} already: the two are \
                     the same machine twice; write this one's own unit or address"
                );
                told.push((at, format!("points[{index}].at"), wrong));
            }
        }
        for (index, output) in settings.outputs.iter().enumerate() {
            let (table, printed) = written_at(output);
            let Ok(address) = settings.addresses.protocol(table, printed) else { continue };
            let first = *written.entry((unit, table, address)).or_insert(at);
            if first != at {
                let spot = spot(settings, table, address);
                let other = machines.get(first).map_or("", |(name, _)| name);
                let wrong = format!(
                    "{spot} of unit {unit} is written for {other} already, and the two would undo \
                     each other; write this one's own unit or address"
                );
                told.push((at, format!("outputs[{index}].at"), wrong));
            }
        }
    }
    told
}
