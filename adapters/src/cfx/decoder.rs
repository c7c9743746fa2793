//! Message bodies to signals without a connection, for tests and whoever else looks at messages.

use std::time::Duration;

use stencilward_domain::names::MachineName;
use stencilward_domain::signal::Signal;
use stencilward_domain::time::Timestamp;

use super::envelope::envelopes;
use super::hearing::{Deed, Hearing, Moment, Way};
use super::settings::Settings;
use crate::link::Trouble;

/// The machines of one endpoint, and what their messages said so far.
pub struct Decoder {
    hearing: Hearing,
    largest: usize,
}

/// What one message body gives.
#[derive(Debug, Default, PartialEq)]
pub struct Decoded {
    /// In their order.
    pub signals: Vec<Signal>,
    /// What could not be understood.
    pub troubles: Vec<(Trouble, String)>,
}

impl Decoder {
    /// For these machines. `largest`: bytes that a body may have once it is expanded.
    #[must_use]
    pub fn new(machines: &[(MachineName, Settings)], largest: usize) -> Self {
        Self { hearing: Hearing::new(machines), largest }
    }

    /// The next message, as the machine sent it over a connection of its own. `clock`: how long
    /// the connection has been there; `at`: now.
    pub fn decode(&mut self, body: &[u8], clock: Duration, at: Timestamp) -> Decoded {
        let mut decoded = Decoded::default();
        let now = Moment { at, clock };
        match envelopes(body, self.largest) {
            Ok(envelopes) => {
                for envelope in envelopes {
                    let deeds = self.hearing.hear(&envelope, Way::Connection(1), now);
                    decoded.add(deeds);
                }
            }
            Err(garbled) => decoded.troubles.push(garbled),
        }
        decoded
    }

    /// What the passing of time gives.
    pub fn tick(&mut self, clock: Duration, at: Timestamp) -> Decoded {
        let mut decoded = Decoded::default();
        decoded.add(self.hearing.tick(Moment { at, clock }));
        decoded
    }
}

impl Decoded {
    fn add(&mut self, deeds: Vec<Deed>) {
        for deed in deeds {
            match deed {
                Deed::Deliver(signals) => self.signals.extend(signals),
                Deed::Trouble(_, kind, why) => self.troubles.push((kind, why)),
            }
        }
    }
}
