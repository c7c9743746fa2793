//! From messages to signals: pure.

use stencilward_domain::names::{CounterName, MachineName, OrderName, SlotName, StencilCode};
use stencilward_domain::signal::{
    MachineState, Measurement, Reading as HowRead, Said, Signal as Heard, Width,
};
use stencilward_domain::time::Timestamp;

use super::json::Json;
use super::payload::{
    Garbled, Text, clipped, machine_time, name, optional_name, shortened, shortened_identity,
};
use super::settings::{Message, Signal};
use crate::link::Trouble;

impl Message {
    /// The number of this message, where the machine numbers them. It counts also when nothing
    /// else can be read: the message has arrived.
    pub(super) fn number(
        &self,
        owner: &MachineName,
        topic: &str,
        text: &mut Text<'_>,
        stored: bool,
        at: Timestamp,
    ) -> Option<Result<Heard, Garbled>> {
        let place = self.sequence.as_deref().filter(|_| !stored)?;
        let said = text
            .number(Some(place))
            .map(|number| Said::MessageNumbered { sequence: shortened_identity(topic), number });
        // A message that comes again shows no new gap.
        let identity = self.identity.as_deref().and_then(|place| text.word(Some(place)).ok());
        let heard = |said| Heard {
            machine: owner.clone(),
            received: at,
            machine_time: None,
            identity: identity.map(|text| shortened_identity(&text)),
            said,
        };
        Some(said.map(heard))
    }

    /// The signal of this message; none when its `when` does not hold.
    pub(super) fn read(
        &self,
        owner: &MachineName,
        text: &mut Text<'_>,
        stored: bool,
        at: Timestamp,
    ) -> Option<Result<Heard, Garbled>> {
        for (pointer, wanted) in &self.when {
            match text.find(pointer) {
                Ok(Some(found)) if found.to_value() == *wanted => {}
                Ok(_) => return None,
                Err(garbled) => return Some(Err(garbled)),
            }
        }
        if stored && self.tells_of_the_past() {
            let why = "a stored message tells of something past: publish it without retain";
            return Some(Err((Trouble::Stale, why.to_owned())));
        }
        Some(self.heard(owner, text, at))
    }

    /// Present states may come from the broker's store; what happened once may not, nor what was
    /// measured once: it would look as if it had been measured now.
    fn tells_of_the_past(&self) -> bool {
        !matches!(
            self.signal,
            Signal::StrokeTotal
                | Signal::WipeTotal
                | Signal::StencilSeated
                | Signal::StencilRemoved
                | Signal::MachineState
                | Signal::Fault
                | Signal::Link
                | Signal::SlotOccupied
                | Signal::SlotEmptied
        )
    }

    fn heard(
        &self,
        owner: &MachineName,
        text: &mut Text<'_>,
        at: Timestamp,
    ) -> Result<Heard, Garbled> {
        let said = self.said(text)?;
        let machine = text.optional(self.machine.as_ref())?;
        let machine = match machine {
            Some(other) => name(&other, MachineName::new)?,
            None if self.machine.is_some() => {
                return Err((Trouble::Missing, "the machine it is about is not named".to_owned()));
            }
            None => owner.clone(),
        };
        let machine_time = match &self.time {
            Some(pointer) => text.find(pointer)?.and_then(machine_time),
            None => None,
        };
        let identity = match &self.identity {
            Some(pointer) => match text.word(Some(pointer))? {
                // All that had none would be taken for repeats of the first.
                id if id.trim().is_empty() => {
                    return Err((Trouble::Missing, format!("{pointer} is empty")));
                }
                id => Some(shortened_identity(&id)),
            },
            None => None,
        };
        Ok(Heard { machine, received: at, machine_time, identity, said })
    }

    fn said(&self, text: &mut Text<'_>) -> Result<Said, Garbled> {
        let value = self.value.as_deref();
        Ok(match self.signal {
            Signal::StrokeTotal | Signal::WipeTotal => Said::CounterRead {
                counter: name(self.counter_name(), CounterName::new)?,
                raw: text.number(value)?,
                width: self.counter_width(),
                reading: HowRead::Reported,
            },
            Signal::StrokesDone => Said::StrokesDone { count: text.number(self.count.as_deref())? },
            Signal::WipesDone => Said::WipesDone { count: text.number(self.count.as_deref())? },
            Signal::BoardsCounted => {
                Said::BoardsCounted { count: text.number(self.count.as_deref())? }
            }
            Signal::StencilSeated => self.seat(text)?,
            Signal::StencilRemoved => Said::Removed,
            Signal::WashBegan => {
                Said::WashBegan { code: self.stencil(text)?, programme: self.programme(text)? }
            }
            Signal::WashEnded => self.wash_ended(text)?,
            Signal::SlotOccupied => {
                Said::SlotOccupied { slot: self.slot(text)?, code: self.stencil(text)? }
            }
            Signal::SlotEmptied => {
                Said::SlotEmptied { slot: self.slot(text)?, code: self.stencil(text)? }
            }
            Signal::StoreAsked | Signal::TakeAsked => self.asked(text)?,
            Signal::MachineState => {
                let word = text.word(value)?;
                let state = self.states.get(&word).copied().map(Into::into);
                Said::State { state: state.unwrap_or(MachineState::Unknown), word: clipped(&word) }
            }
            Signal::Fault => self.fault(text)?,
            Signal::Link => self.link(text)?,
            Signal::Measured => Said::Measured {
                code: self.stencil(text)?,
                measurement: Measurement {
                    quantity: self.quantity.clone().unwrap_or_default(),
                    value: scaled(text.decimal(value)?, self.scale, self.offset)?,
                    unit: self.unit.clone().unwrap_or_default(),
                },
            },
            Signal::OrderReleased => Said::OrderReleased(self.order(text)?),
            Signal::OrderStarted => Said::OrderStarted(self.order(text)?),
            Signal::OrderFinished => self.order_finished(text)?,
        })
    }

    pub(super) fn counter_width(&self) -> Width {
        match self.width {
            Some(16) => Width::Bits16,
            Some(64) => Width::Bits64,
            _ => Width::Bits32,
        }
    }

    fn stencil(&self, text: &mut Text<'_>) -> Result<Option<StencilCode>, Garbled> {
        optional_name(text.optional(self.stencil.as_ref())?, StencilCode::new)
    }

    fn programme(&self, text: &mut Text<'_>) -> Result<Option<String>, Garbled> {
        Ok(text.optional(self.programme.as_ref())?.map(|text| clipped(&text)))
    }

    fn seat(&self, text: &mut Text<'_>) -> Result<Said, Garbled> {
        text.present(self.stencil.as_deref().unwrap_or_default())?;
        Ok(match self.stencil(text)? {
            Some(code) => Said::Seated { code },
            None => Said::Removed,
        })
    }

    fn asked(&self, text: &mut Text<'_>) -> Result<Said, Garbled> {
        let code = self.stencil(text)?.ok_or_else(|| {
            (Trouble::Missing, "the stencil's code is not in the payload".to_owned())
        })?;
        Ok(if self.signal == Signal::StoreAsked {
            let slot = optional_name(text.optional(self.slot.as_ref())?, SlotName::new)?;
            Said::StoreAsked { code, slot }
        } else {
            let order = optional_name(text.optional(self.order.as_ref())?, OrderName::new)?;
            let destination = text.optional(self.destination.as_ref())?;
            Said::TakeAsked {
                code,
                order,
                destination: optional_name(destination, MachineName::new)?,
            }
        })
    }

    fn slot(&self, text: &mut Text<'_>) -> Result<SlotName, Garbled> {
        name(&text.word(self.slot.as_deref())?, SlotName::new)
    }

    fn wash_ended(&self, text: &mut Text<'_>) -> Result<Said, Garbled> {
        let word = text.word(self.outcome.as_deref())?;
        let outcome = self.outcomes.get(&word).copied().ok_or_else(|| {
            let word = shortened(&word);
            (Trouble::Senseless, format!("outcomes does not say what {word} means"))
        })?;
        let mut measured = Vec::new();
        for measures in &self.measured {
            if text.find(&measures.at)?.is_some() {
                measured.push(Measurement {
                    quantity: measures.quantity.clone(),
                    value: scaled(
                        text.decimal(Some(&measures.at))?,
                        measures.scale,
                        measures.offset,
                    )?,
                    unit: measures.unit.clone(),
                });
            }
        }
        Ok(Said::WashEnded {
            code: self.stencil(text)?,
            programme: self.programme(text)?,
            outcome: outcome.into(),
            measured,
        })
    }

    fn fault(&self, text: &mut Text<'_>) -> Result<Said, Garbled> {
        let code = clipped(&text.word(self.code.as_deref())?);
        let active = self.active.as_deref().unwrap_or_default();
        match text.need(active)? {
            Json::Bool(true) => {
                let words = text.optional(self.text.as_ref())?.unwrap_or_default();
                Ok(Said::FaultRaised { code, text: clipped(&words) })
            }
            Json::Bool(false) => Ok(Said::FaultEnded { code }),
            _ => Err((Trouble::Unreadable, format!("{active} is neither true nor false"))),
        }
    }

    fn link(&self, text: &mut Text<'_>) -> Result<Said, Garbled> {
        let word = text.word(self.value.as_deref())?;
        if self.up.contains(&word) {
            Ok(Said::LinkUp { resumed: false })
        } else if self.lost.contains(&word) {
            Ok(Said::LinkLost {
                why: "the machine, or the broker for it, says it is gone".to_owned(),
            })
        } else {
            let word = shortened(&word);
            Err((Trouble::Senseless, format!("neither up nor lost lists {word}")))
        }
    }
}

/// In the unit of the settings.
fn scaled(value: f64, scale: Option<f64>, offset: Option<f64>) -> Result<f64, Garbled> {
    let value = value * scale.unwrap_or(1.0) + offset.unwrap_or(0.0);
    if value.is_finite() {
        return Ok(value);
    }
    Err((Trouble::Senseless, "the scaled value is no finite number".to_owned()))
}
