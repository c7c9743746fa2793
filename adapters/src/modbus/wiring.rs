//! Settings made ready for work: names checked, formats fixed, slots brought together.

mod field;

use std::collections::BTreeMap;

use stencilward_domain::names::{CounterName, OutputName, SlotName};
use stencilward_domain::signal::{MachineState, WashOutcome, Width};

use super::settings::{
    Heartbeat, Level, Measured, Output, Permit, Point, RawValue, Settings, Total, Type, WordOrder,
};

pub(crate) use field::{Bit, CodeField, Field, Unclear};

/// What each place of a machine means. Points with faults that `check` finds are left out.
#[derive(Debug, Clone, Default)]
pub(crate) struct Wiring {
    pub(crate) seat: Option<CodeField>,
    pub(crate) counters: Vec<Counter>,
    pub(crate) contact: Option<Contact>,
    pub(crate) state: Option<(Field, BTreeMap<RawValue, MachineState>)>,
    pub(crate) faults: Vec<FaultBit>,
    pub(crate) slots: BTreeMap<SlotName, SlotFields>,
    pub(crate) wash: Option<Wash>,
    pub(crate) measured: Vec<Gauge>,
    pub(crate) permits: Vec<Lock>,
    pub(crate) beats: Vec<Beat>,
}

/// A counter of strokes or wipes.
#[derive(Debug, Clone)]
pub(crate) struct Counter {
    pub(crate) name: CounterName,
    pub(crate) width: Width,
    pub(crate) field: Field,
}

/// A bit that takes a level once for each stroke.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Contact {
    pub(crate) bit: Bit,
    /// Its level while a stroke is done.
    pub(crate) level: bool,
}

/// A fault and the bit that shows it.
#[derive(Debug, Clone)]
pub(crate) struct FaultBit {
    pub(crate) bit: Bit,
    pub(crate) code: String,
    pub(crate) text: String,
}

/// What shows the state of a slot: a bit, a code, or both.
#[derive(Debug, Clone, Default)]
pub(crate) struct SlotFields {
    pub(crate) bit: Option<Bit>,
    pub(crate) code: Option<CodeField>,
}

/// What shows a wash.
#[derive(Debug, Clone)]
pub(crate) struct Wash {
    pub(crate) running: Bit,
    pub(crate) result: Field,
    pub(crate) outcomes: BTreeMap<RawValue, WashOutcome>,
    pub(crate) stencil: Option<CodeField>,
}

/// A measured value.
#[derive(Debug, Clone)]
pub(crate) struct Gauge {
    pub(crate) field: Field,
    pub(crate) scale: f64,
    pub(crate) offset: f64,
    pub(crate) quantity: String,
    pub(crate) unit: String,
}

/// An output that permits or refuses.
#[derive(Debug, Clone)]
pub(crate) struct Lock {
    pub(crate) name: OutputName,
    pub(crate) coil: u16,
    pub(crate) on_permit: bool,
    /// Where the machine shows its state; none when the coil itself is read back.
    pub(crate) read_back: Option<Bit>,
}

/// An output that shows that the gateway is alive.
#[derive(Debug, Clone)]
pub(crate) struct Beat {
    pub(crate) name: OutputName,
    pub(crate) at: u16,
}

impl Wiring {
    pub(crate) fn of(settings: &Settings) -> Self {
        let mut wiring = Self::default();
        for point in &settings.points {
            wiring.add(point);
        }
        wiring.wash = wash(&settings.points);
        for output in &settings.outputs {
            match output {
                Output::PrintPermit(permit) | Output::DoorRelease(permit) => {
                    wiring.permits.extend(lock(permit));
                }
                Output::Heartbeat(heartbeat) => wiring.beats.extend(beat(heartbeat)),
            }
        }
        wiring
    }

    fn add(&mut self, point: &Point) {
        match point {
            Point::StrokeTotal(total) | Point::WipeTotal(total) => {
                let name = point.counter().and_then(|(name, _)| CounterName::new(name).ok());
                self.counters.extend(name.map(|name| counter(name, total)));
            }
            Point::StrokeContact(contact) => {
                let bit = Bit::new(contact.table, contact.at);
                self.contact = Some(Contact { bit, level: contact.counts_when == Level::On });
            }
            Point::StencilSeated(code) => self.seat = CodeField::of(code),
            Point::MachineState(word) => {
                let values = word.values.iter().map(|(raw, word)| (*raw, (*word).into()));
                let field = Field::number(word.table, word.at, word.kind, word.words);
                self.state = Some((field, values.collect()));
            }
            Point::Fault(fault) => self.faults.push(FaultBit {
                bit: Bit::new(fault.table, fault.at),
                code: fault.code.clone(),
                text: fault.text.clone(),
            }),
            Point::Slot(slot) => {
                if let Ok(name) = SlotName::new(&slot.slot) {
                    let bit = Bit::new(slot.table, slot.at);
                    self.slots.entry(name).or_default().bit = Some(bit);
                }
            }
            Point::SlotCode(code) => {
                if let Ok(name) = SlotName::new(&code.slot) {
                    self.slots.entry(name).or_default().code = CodeField::of_slot(code);
                }
            }
            Point::Measured(measured) => self.measured.push(gauge(measured)),
            Point::WashRunning(_) | Point::WashResult(_) | Point::WashStencil(_) => {}
        }
    }

    /// Every bit that is read in a round.
    pub(crate) fn bits(&self) -> impl Iterator<Item = Bit> {
        let faults = self.faults.iter().map(|fault| fault.bit);
        let slots = self.slots.values().filter_map(|slot| slot.bit);
        let wash = self.wash.iter().map(|wash| wash.running);
        let contact = self.contact.iter().map(|contact| contact.bit);
        contact.chain(faults).chain(slots).chain(wash)
    }

    /// Every field that is read in a round.
    pub(crate) fn fields(&self) -> impl Iterator<Item = Field> {
        let counters = self.counters.iter().map(|counter| counter.field);
        let slots = self.slots.values().filter_map(|slot| slot.code.as_ref());
        let washed = self.wash.iter().filter_map(|wash| wash.stencil.as_ref());
        let codes = self.seat.iter().chain(slots).chain(washed);
        counters
            .chain(codes.map(|code| code.field))
            .chain(self.state.iter().map(|(field, _)| *field))
            .chain(self.wash.iter().map(|wash| wash.result))
            .chain(self.measured.iter().map(|gauge| gauge.field))
    }
}

impl Lock {
    /// The bit that shows the output's state.
    pub(crate) fn shown_at(&self) -> Bit {
        self.read_back.unwrap_or(Bit::coil(self.coil))
    }

    /// The bit's value for a permit, or for a refusal.
    pub(crate) fn bit(&self, permit: bool) -> bool {
        permit == self.on_permit
    }
}

fn counter(name: CounterName, total: &Total) -> Counter {
    let field = Field::number(total.table, total.at, total.kind, total.words);
    Counter { name, width: width(total), field }
}

/// Where the counter wraps: as set, else where its type does.
fn width(total: &Total) -> Width {
    match (total.width, total.kind) {
        (Some(16), _) | (None, Type::U16 | Type::I16) => Width::Bits16,
        (Some(64), _) | (None, Type::U64 | Type::I64) => Width::Bits64,
        _ => Width::Bits32,
    }
}

fn gauge(measured: &Measured) -> Gauge {
    Gauge {
        field: Field::number(measured.table, measured.at, measured.kind, measured.words),
        scale: measured.scale,
        offset: measured.offset,
        quantity: measured.quantity.clone(),
        unit: measured.unit.clone(),
    }
}

fn wash(points: &[Point]) -> Option<Wash> {
    let running = points.iter().find_map(|point| match point {
        Point::WashRunning(running) => Some(Bit::new(running.table, running.at)),
        _ => None,
    })?;
    let result = points.iter().find_map(|point| match point {
        Point::WashResult(result) => Some(result),
        _ => None,
    })?;
    let stencil = points.iter().find_map(|point| match point {
        Point::WashStencil(code) => CodeField::of(code),
        _ => None,
    });
    let outcomes = result.values.iter().map(|(raw, word)| (*raw, (*word).into()));
    Some(Wash {
        running,
        result: Field::number(result.table, result.at, result.kind, result.words),
        outcomes: outcomes.collect(),
        stencil,
    })
}

fn lock(permit: &Permit) -> Option<Lock> {
    Some(Lock {
        name: OutputName::new(&permit.name).ok()?,
        coil: permit.at,
        on_permit: permit.on_permit,
        read_back: permit
            .read_back
            .map(|bit| Bit::new(bit.table, bit.at))
            .filter(|bit| *bit != Bit::coil(permit.at)),
    })
}

fn beat(heartbeat: &Heartbeat) -> Option<Beat> {
    Some(Beat { name: OutputName::new(&heartbeat.name).ok()?, at: heartbeat.at })
}

/// The order of words where none is set: of no account for a number of one register.
fn or_default(words: Option<WordOrder>) -> WordOrder {
    words.unwrap_or_default()
}
