//! A printer at work, and a link that breaks or a gateway that stops.

use super::floor::Floor;
use super::plant::{MUTE, NAMER};
use super::words::{link_lost, link_up, reads, seat};

/// A short break: within what the policy trusts. Default: 120 s.
pub(crate) const SHORT: i64 = 60;
/// A long one.
pub(crate) const LONG: i64 = 3_600;

/// A printer with the stencil A in it, whose total reads 100.
pub(crate) fn counting(printer: &str) -> Floor {
    let mut floor = Floor::new();
    floor.says(printer, link_up());
    if printer == NAMER {
        floor.bring("A", NAMER);
    } else {
        floor.does(&seat("A", MUTE));
    }
    floor.says(printer, reads(100));
    floor
}

/// Breaks the link, or stops the gateway, for so long.
pub(crate) fn broken(printer: &str, restart: bool, seconds: i64) -> Floor {
    let mut floor = counting(printer);
    if restart {
        floor.restart_after(seconds);
    } else {
        floor.says(printer, link_lost());
        floor.after(seconds);
    }
    floor.says(printer, link_up());
    floor
}

pub(crate) fn unattributed(floor: &Floor, printer: &str) -> u64 {
    floor.machine(printer).unattributed
}
