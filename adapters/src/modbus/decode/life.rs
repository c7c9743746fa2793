//! Whether the machine itself is there, behind a controller that answers in its place.

use crate::modbus::bank::Bank;
use crate::modbus::registers::Value;
use crate::modbus::wiring::{Life, Wiring};

/// What was last seen of the life sign.
#[derive(Debug, Clone, Default)]
pub(super) struct Pulse {
    last: Option<Value>,
    /// Rounds since it moved.
    still: u32,
}

impl Pulse {
    /// The link was lost: the sign has its whole time again.
    pub(super) fn reset(&mut self) {
        *self = Self::default();
    }

    /// Why the machine counts as gone; none while it is there.
    pub(super) fn absent(&mut self, wiring: &Wiring, bank: &Bank) -> Option<String> {
        let stands = wiring.life.and_then(|life| self.stands_still(life, bank));
        if wiring.link.is_some_and(|link| link.read(bank) == Some(false)) {
            return Some(
                "machine-link: the controller says that it is not connected to the machine; is \
                 the machine on, and its cable in place?"
                    .to_owned(),
            );
        }
        stands
    }

    fn stands_still(&mut self, life: Life, bank: &Bank) -> Option<String> {
        let now = life.field.read(bank)?.ok();
        if now != self.last {
            *self = Self { last: now, still: 0 };
            return None;
        }
        self.still = self.still.saturating_add(1);
        (self.still >= life.rounds).then(|| {
            format!(
                "life-sign: the register has not changed for {}: the controller answers, but what \
                 it says may be old; is its program running?",
                humantime::format_duration(life.within)
            )
        })
    }
}
