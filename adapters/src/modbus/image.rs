//! What a machine would say of what it holds: the decoder without a connection, for the tests of
//! machine descriptions.

use std::sync::Arc;

use stencilward_domain::signal::Said;

use super::bank::Bank;
use super::decode::Decoder;
use super::plan::Plan;
use super::settings::{BitTable, RegisterTable, Settings};
use super::wiring::Wiring;

/// What a machine holds at some moment. What is not set is off or 0.
#[derive(Debug, Clone, Default)]
pub struct Image(Bank);

impl Image {
    /// Sets registers from an address of the protocol on.
    pub fn set_registers(&mut self, table: RegisterTable, at: u16, words: &[u16]) {
        self.0.set_words(table, at, words);
    }

    /// Sets a bit at an address of the protocol.
    pub fn set_bit(&mut self, table: BitTable, at: u16, on: bool) {
        self.0.set_bit(table, at, on);
    }

    /// With all that the wiring reads.
    fn whole(&self, plan: &Plan) -> Bank {
        let mut bank = self.0.clone();
        for reach in &plan.bits {
            for at in reach.at..=reach.at.saturating_add(reach.count.saturating_sub(1)) {
                bank.set_bit(reach.table, at, self.0.bit(reach.table, at).unwrap_or(false));
            }
        }
        for reach in &plan.words {
            for at in reach.at..=reach.at.saturating_add(reach.count.saturating_sub(1)) {
                bank.set_words(reach.table, at, &[self.0.word(reach.table, at).unwrap_or(0)]);
            }
        }
        bank
    }
}

impl Settings {
    /// What a machine of these settings says when it holds one image after the other: the
    /// signals of one round each, and in words what could not be understood.
    #[must_use]
    pub fn says(&self, images: &[Image]) -> Vec<(Vec<Said>, Vec<String>)> {
        let wiring = Arc::new(Wiring::of(self));
        let plan = Plan::unlimited(&wiring);
        let mut decoder = Decoder::new(wiring);
        let mut round = |image: &Image| {
            let round = decoder.round(&image.whole(&plan));
            let troubles = round.troubles.into_iter().map(|(_, detail)| detail);
            (round.said, troubles.collect())
        };
        images.iter().map(&mut round).collect()
    }
}
