//! What the ledger adds up to: wear and its forecast, the alarms' measures, as pure functions of
//! events.

pub mod alarms;
pub mod forecast;
pub mod report;
pub mod statistics;
