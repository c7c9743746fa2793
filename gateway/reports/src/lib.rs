//! What the ledger adds up to: wear and its forecast, as pure functions of events.

pub mod forecast;
pub mod report;
pub mod statistics;
