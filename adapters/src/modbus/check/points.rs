//! Points: places that do not exist, layouts that do not fit, names used twice, points that need
//! each other.

mod layout;
mod meaning;
mod places;
mod together;

pub(in crate::modbus) use places::spot;

use super::{Found, Once};
use crate::modbus::settings::{Point, Settings};

/// One point under scrutiny.
struct At<'a> {
    index: usize,
    found: &'a mut Found,
}

impl At<'_> {
    fn path(&self, key: &str) -> String {
        format!("points[{}].{key}", self.index)
    }

    fn tell(&mut self, key: &str, wrong: impl Into<String>) {
        let path = self.path(key);
        self.found.tell(path, wrong);
    }
}

pub(super) fn check(settings: &Settings, found: &mut Found) {
    places::check_limits(settings, found);
    let mut once = Once::default();
    for (index, point) in settings.points.iter().enumerate() {
        let mut at = At { index, found };
        layout::check(point, &mut at);
        places::check(settings, point, &mut at);
        meaning::check(point, &mut at);
        places::check_poll(settings, point, &mut at);
        let (key, what) = identity(point);
        let path = at.path(key);
        if let Some(what) = what {
            once.see(what, &path, found);
        }
    }
    together::check(&settings.points, found);
    places::check_overlaps(settings, found);
    places::check_classes(settings, found);
    places::check_outputs(settings, found);
}

/// What a point is that no other may be, and the key that says so.
fn identity(point: &Point) -> (&'static str, Option<String>) {
    match point {
        Point::StrokeTotal(_) | Point::WipeTotal(_) => {
            let name = point.counter().map(|(name, _)| name.trim());
            ("counter", name.map(|name| format!("counter {name:?}")))
        }
        Point::Fault(fault) => ("code", Some(format!("fault {:?}", fault.code))),
        Point::Slot(slot) => ("slot", Some(format!("slot {:?}", slot.slot.trim()))),
        Point::SlotCode(code) => ("slot", Some(format!("the code of slot {:?}", code.slot.trim()))),
        Point::Measured(_) => ("quantity", None),
        _ => ("signal", Some(format!("the signal {}", point.signal()))),
    }
}

#[cfg(test)]
mod tests;
