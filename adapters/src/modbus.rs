//! Modbus: machines whose coils and registers are read in rounds, over TCP, plain or secured, or
//! on a serial line.
//!
//! Addresses inside are those of the protocol, counted from 0; the settings say how the maker
//! counts them.

mod bank;
mod check;
mod client;
mod courier;
mod decode;
mod encode;
mod image;
mod line;
mod link;
mod machine;
mod news;
mod outputs;
mod pace;
mod plan;
mod probe;
mod record;
mod registers;
mod rtu;
mod serial;
mod settings;
mod tls;
mod wash;
mod wiring;
mod wish;

pub use check::check_shared;
pub use image::Image;
pub use link::Link;
pub use machine::Machine;
pub use record::Held;
pub(crate) use record::again;
pub use serial::Pty;
pub use settings::{
    Addresses, BitTable, BoardTotal, ByteOrder, Code, CoilTable, Contact, Fault, FaultCode, Flag,
    Forbidden, Frame, Framing, Heartbeat, HoldingTable, Level, LifeSign, MachineWord, Measured,
    Number, Output, Permit, Point, RawValue, ReadBack, RegisterTable, Serial, Settings, Slot,
    SlotCode, Table, Tls, Total, Type, WashResult, WordOrder,
};
