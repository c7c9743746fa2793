//! Modbus TCP: a machine whose coils and registers are read in rounds.
//!
//! Addresses are those of the protocol, counted from 0. A maker who counts from 1 or writes
//! 40001 for the first holding register means protocol address 0.

mod bank;
mod check;
mod client;
mod courier;
mod decode;
mod encode;
mod link;
mod machine;
mod outputs;
mod plan;
mod registers;
mod settings;
mod wash;
mod wiring;

pub use link::Link;
pub use machine::Machine;
pub use settings::{
    BitTable, ByteOrder, Code, CoilTable, Fault, Heartbeat, HoldingTable, Level, MachineWord,
    Measured, Output, Permit, Point, RawValue, ReadBack, RegisterTable, Settings, Slot, SlotCode,
    StateWord, StrokeContact, Table, Total, Type, WashResult, WashRunning, WashWord, WordOrder,
};
