//! Alarms: their table, what raises and ends each kind, delays, people, restarts, floods.

mod common;

#[path = "alarms/ends.rs"]
mod ends;

#[path = "alarms/floods.rs"]
mod floods;

#[path = "alarms/hall.rs"]
mod hall;

#[path = "alarms/people.rs"]
mod people;

#[path = "alarms/restarts.rs"]
mod restarts;

#[path = "alarms/silence.rs"]
mod silence;

#[path = "alarms/table.rs"]
mod table;
