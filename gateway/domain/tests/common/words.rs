//! Short words for names, signals and requests.

use stencilward_domain::names::{
    CounterName, MachineName, OrderName, ProductName, SlotName, StencilCode,
};
use stencilward_domain::signal::{Measurement, OrderSpec, Reading, Said, WashOutcome, Width};
use stencilward_domain::site::Request;
use stencilward_domain::time::Timestamp;

/// An instant, in seconds after the start of every test.
pub(crate) fn at(seconds: i64) -> Timestamp {
    Timestamp(1_795_000_000_000 + seconds * 1_000)
}

pub(crate) fn code(name: &str) -> StencilCode {
    StencilCode::new(name).expect("a good name")
}

pub(crate) fn machine(name: &str) -> MachineName {
    MachineName::new(name).expect("a good name")
}

pub(crate) fn slot(name: &str) -> SlotName {
    SlotName::new(name).expect("a good name")
}

pub(crate) fn order(name: &str) -> OrderName {
    OrderName::new(name).expect("a good name")
}

pub(crate) fn product(name: &str) -> ProductName {
    ProductName::new(name).expect("a good name")
}

pub(crate) fn counter(name: &str) -> CounterName {
    CounterName::new(name).expect("a good name")
}

/// A poll of the machine's 16-bit total.
pub(crate) fn reads(raw: u64) -> Said {
    reads_at(raw, Width::Bits16)
}

/// A poll of the machine's total.
pub(crate) fn reads_at(raw: u64, width: Width) -> Said {
    Said::CounterRead { counter: counter("total"), raw, width, reading: Reading::Polled }
}

/// A poll of a module's 16-bit pulse counter.
pub(crate) fn pulses(raw: u64) -> Said {
    let (width, reading) = (Width::Bits16, Reading::Polled);
    Said::CounterRead { counter: counter("pulses"), raw, width, reading }
}

/// The machine's 16-bit total, sent after each stroke.
pub(crate) fn reports(raw: u64) -> Said {
    Said::CounterRead {
        counter: counter("total"),
        raw,
        width: Width::Bits16,
        reading: Reading::Reported,
    }
}

pub(crate) fn strokes(count: u64) -> Said {
    Said::StrokesDone { count }
}

pub(crate) fn seated(name: &str) -> Said {
    Said::Seated { code: code(name) }
}

pub(crate) fn link_up() -> Said {
    Said::LinkUp { resumed: false }
}

pub(crate) fn link_resumed() -> Said {
    Said::LinkUp { resumed: true }
}

pub(crate) fn link_lost() -> Said {
    Said::LinkLost { why: "the cable is out".to_owned() }
}

pub(crate) fn wash_began(name: Option<&str>) -> Said {
    Said::WashBegan { code: name.map(code), programme: None }
}

pub(crate) fn wash_ended(name: Option<&str>, outcome: WashOutcome) -> Said {
    Said::WashEnded { code: name.map(code), programme: None, outcome, measured: Vec::new() }
}

pub(crate) fn washed(name: &str) -> Said {
    wash_ended(Some(name), WashOutcome::Passed)
}

pub(crate) fn occupied(place: &str, name: Option<&str>) -> Said {
    Said::SlotOccupied { slot: slot(place), code: name.map(code) }
}

pub(crate) fn emptied(place: &str) -> Said {
    Said::SlotEmptied { slot: slot(place), code: None }
}

pub(crate) fn store_asked(name: &str, place: Option<&str>) -> Said {
    Said::StoreAsked { code: code(name), slot: place.map(slot) }
}

pub(crate) fn take_asked(name: &str, asked: Option<&str>) -> Said {
    Said::TakeAsked { code: code(name), order: asked.map(order), destination: None }
}

pub(crate) fn tension(name: &str, value: f64) -> Said {
    Said::Measured {
        code: Some(code(name)),
        measurement: Measurement { quantity: "tension".to_owned(), value, unit: "N/cm".to_owned() },
    }
}

/// An order that names only itself.
pub(crate) fn order_spec(name: &str) -> OrderSpec {
    OrderSpec::named(order(name))
}

fn by() -> String {
    "M. Example".to_owned()
}

fn why() -> String {
    "an invented reason".to_owned()
}

pub(crate) fn store(name: &str, rack: Option<&str>, place: Option<&str>) -> Request {
    Request::Store { stencil: code(name), rack: rack.map(machine), slot: place.map(slot), by: None }
}

pub(crate) fn take(name: &str, rack: Option<&str>) -> Request {
    Request::Take { stencil: code(name), rack: rack.map(machine), order: None, by: None }
}

pub(crate) fn seat(name: &str, into: &str) -> Request {
    Request::Seat { stencil: code(name), machine: machine(into), by: by() }
}

pub(crate) fn remove(from: &str) -> Request {
    Request::Remove { machine: machine(from), by: by() }
}

pub(crate) fn hand_wash(name: &str, outcome: WashOutcome) -> Request {
    Request::ReportWash { stencil: code(name), outcome, by: by() }
}

pub(crate) fn hold(name: &str) -> Request {
    Request::Hold { stencil: code(name), by: by(), why: why() }
}

pub(crate) fn release(name: &str) -> Request {
    Request::Release { stencil: code(name), by: by(), why: why() }
}

pub(crate) fn grant(name: &str, strokes: u64, until: Option<Timestamp>) -> Request {
    Request::Grant { stencil: code(name), strokes, until, by: by(), why: why() }
}

pub(crate) fn withdraw(name: &str) -> Request {
    Request::Withdraw { stencil: code(name), by: by(), why: why() }
}

pub(crate) fn retire(name: &str) -> Request {
    Request::Retire { stencil: code(name), by: by(), why: why() }
}
