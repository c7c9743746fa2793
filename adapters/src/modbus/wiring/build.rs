//! From settings to wiring.

use stencilward_domain::names::{CounterName, OutputName, SlotName};
use stencilward_domain::signal::Width;

use super::{
    Ask, Beat, Bit, Boards, Contact, Counter, FaultFlag, Field, Flag, Gauge, Life, Lock, NameField,
    Order, Pulse, Seat, Station, Wash, Wiring,
};
use crate::modbus::plan::{Limits, wants};
use crate::modbus::settings::{
    Addresses, BoardTotal, Code, Heartbeat, LifeSign, Output, Permit, Point, Settings, SlotCode,
    Table, Total, Type,
};

macro_rules! is {
    ($name:ident) => {
        |point| matches!(point, Point::$name(_))
    };
}

macro_rules! code_of {
    ($name:ident) => {
        |point| match point {
            Point::$name(code) => Some(code),
            _ => None,
        }
    };
}

impl Wiring {
    pub(crate) fn of(settings: &Settings) -> Self {
        let source = Source { settings };
        let mut wiring = Self {
            seat: Seat {
                code: source.name(code_of!(StencilSeated)),
                present: source.flag(is!(StencilPresent)),
            },
            link: source.flag(is!(MachineLink)),
            ask: source.ask(),
            wash: source.wash(),
            station: source.station(),
            order: source.order(),
            wants: wants(settings),
            limits: Limits::of(settings),
            ..Self::default()
        };
        for point in &settings.points {
            // A point that cannot be where it is said to be is told of by `check`.
            let _ = wiring.add(&source, point);
        }
        for output in &settings.outputs {
            match output {
                Output::PrintPermit(permit) | Output::DoorRelease(permit) => {
                    wiring.permits.extend(lock(permit, settings.addresses));
                }
                Output::Heartbeat(heartbeat) => {
                    wiring.beats.extend(beat(heartbeat, settings.addresses));
                }
            }
        }
        wiring
    }

    /// Adds what a point means by itself.
    fn add(&mut self, source: &Source<'_>, point: &Point) -> Option<()> {
        match point {
            Point::StrokeTotal(total) | Point::WipeTotal(total) => {
                let name = CounterName::new(point.counter()?.0).ok()?;
                let field = source.field_of(point)?;
                self.counters.push(Counter { name, width: width(total), field });
            }
            Point::BoardTotal(total) => {
                let field = source.field_of(point)?;
                self.boards = Some(Boards { field, largest: largest(total) });
            }
            Point::StrokeContact(_) => self.add_contact(source, point, Pulse::Stroke)?,
            Point::WipeContact(_) => self.add_contact(source, point, Pulse::Wipe)?,
            Point::BoardContact(_) => self.add_contact(source, point, Pulse::Board)?,
            Point::MachineState(word) => {
                let values = word.values.iter().map(|(raw, word)| (*raw, (*word).into()));
                self.state = Some((source.field_of(point)?, values.collect()));
            }
            Point::LifeSign(life) => self.life = Some(source.life(point, life)?),
            Point::Fault(fault) => self.faults.push(FaultFlag {
                flag: source.flag_of(point)?,
                code: fault.code.clone(),
                text: fault.text.clone(),
            }),
            Point::FaultCode(code) => {
                self.fault_code = Some((source.field_of(point)?, code.values.clone()));
            }
            Point::Slot(slot) => {
                let name = SlotName::new(&slot.slot).ok()?;
                self.slots.entry(name).or_default().occupied = Some(source.flag_of(point)?);
            }
            Point::SlotCode(code) => {
                let name = SlotName::new(&code.slot).ok()?;
                self.slots.entry(name).or_default().code = Some(source.slot_code(code)?);
            }
            Point::Measured(measured) => self.measured.push(Gauge {
                field: source.field_of(point)?,
                scale: measured.scale,
                offset: measured.offset,
                quantity: measured.quantity.clone(),
                unit: measured.unit.clone(),
            }),
            // The rest means something only together with others.
            _ => {}
        }
        Some(())
    }

    fn add_contact(&mut self, source: &Source<'_>, point: &Point, counts: Pulse) -> Option<()> {
        self.contacts.push(Contact { flag: source.flag_of(point)?, counts });
        Some(())
    }
}

/// Settings that points are looked up in.
struct Source<'a> {
    settings: &'a Settings,
}

impl Source<'_> {
    fn addresses(&self) -> Addresses {
        self.settings.addresses
    }

    fn flag_of(&self, point: &Point) -> Option<Flag> {
        Flag::of(&point.place(), self.addresses())
    }

    fn field_of(&self, point: &Point) -> Option<Field> {
        Field::of(&point.place(), self.addresses())
    }

    fn find(&self, is: fn(&Point) -> bool) -> Option<&Point> {
        self.settings.points.iter().find(|point| is(point))
    }

    fn flag(&self, is: fn(&Point) -> bool) -> Option<Flag> {
        self.flag_of(self.find(is)?)
    }

    fn field(&self, is: fn(&Point) -> bool) -> Option<Field> {
        self.field_of(self.find(is)?)
    }

    fn name(&self, pick: fn(&Point) -> Option<&Code>) -> Option<NameField> {
        let code = self.settings.points.iter().find_map(pick)?;
        let field = Field::of(&code.place(), self.addresses())?;
        Some(NameField::new(field, code.values.as_ref()))
    }

    fn slot_code(&self, code: &SlotCode) -> Option<NameField> {
        let field = Field::of(&code.place(), self.addresses())?;
        Some(NameField::new(field, code.values.as_ref()))
    }

    fn life(&self, point: &Point, life: &LifeSign) -> Option<Life> {
        let within = life.within.0;
        let rounds = within.as_secs_f64() / self.settings.poll.0.as_secs_f64();
        // A cast that saturates: more rounds than that are never made.
        Some(Life { field: self.field_of(point)?, within, rounds: rounds.ceil() as u32 })
    }

    fn wash(&self) -> Option<Wash> {
        let result = self.find(is!(WashResult))?;
        let Point::WashResult(values) = result else {
            return None;
        };
        let outcomes = values.values.iter().map(|(raw, word)| (*raw, (*word).into()));
        Some(Wash {
            running: self.flag(is!(WashRunning))?,
            result: self.field_of(result)?,
            outcomes: outcomes.collect(),
            stencil: self.name(code_of!(WashStencil)),
            programme: self.name(code_of!(WashProgramme)),
        })
    }

    fn station(&self) -> Option<Station> {
        Some(Station {
            taken: self.flag(is!(MeasuredTaken))?,
            stencil: self.name(code_of!(MeasuredStencil)),
        })
    }

    fn ask(&self) -> Option<Ask> {
        Some(Ask {
            store: self.flag(is!(StoreAsked)),
            take: self.flag(is!(TakeAsked)),
            stencil: self.name(code_of!(AskedStencil))?,
            slot: self.name(code_of!(AskedSlot)),
            order: self.name(code_of!(AskedOrder)),
        })
    }

    fn order(&self) -> Option<Order> {
        Some(Order {
            name: self.name(code_of!(Order))?,
            running: self.flag(is!(OrderRunning)),
            product: self.name(code_of!(OrderProduct)),
            quantity: self.field(is!(OrderQuantity)),
            made: self.field(is!(OrderMade)),
        })
    }
}

/// Where the counter wraps: as set, else where its type does.
fn width(total: &Total) -> Width {
    width_of(total.width, total.kind)
}

fn width_of(width: Option<u8>, kind: Type) -> Width {
    match (width, kind.registers()) {
        (Some(16), _) | (None, Some(1)) => Width::Bits16,
        (Some(64), _) | (None, Some(4)) => Width::Bits64,
        _ => Width::Bits32,
    }
}

/// The last value before the counter starts again at zero.
fn largest(total: &BoardTotal) -> u64 {
    match (total.width, total.kind) {
        (None, Type::Bcd16) => 9_999,
        (None, Type::Bcd32) => 99_999_999,
        (width, kind) => width_of(width, kind).largest(),
    }
}

fn lock(permit: &Permit, addresses: Addresses) -> Option<Lock> {
    let coil = addresses.protocol(Table::Coil, permit.at).ok()?;
    let read_back = match permit.read_back {
        None => None,
        Some(bit) => Some(Bit::new(bit.table, addresses.protocol(bit.table.into(), bit.at).ok()?)),
    };
    Some(Lock {
        name: OutputName::new(&permit.name).ok()?,
        coil,
        on_permit: permit.on_permit,
        read_back: read_back.filter(|bit| *bit != Bit::coil(coil)),
    })
}

fn beat(heartbeat: &Heartbeat, addresses: Addresses) -> Option<Beat> {
    let at = addresses.protocol(Table::Holding, heartbeat.at).ok()?;
    Some(Beat { name: OutputName::new(&heartbeat.name).ok()?, at })
}
