//! Questions: may this stencil be stored, may it be taken?

use stencilward_domain::names::{OrderName, SlotName, StencilCode};
use stencilward_domain::signal::Said;

use super::{Round, name};
use crate::modbus::bank::Bank;
use crate::modbus::wiring::{Ask, Flag};

/// The question that stands. It is kept while the link is lost: it was asked.
#[derive(Debug, Clone, Default)]
pub(super) struct Asked(Option<Said>);

impl Asked {
    /// A question, when its bit is active and it is not the one that stands. It waits for the
    /// stencil's code.
    pub(super) fn step(&mut self, ask: &Ask, bank: &Bank, round: &mut Round) {
        let active = |flag: Option<Flag>| flag.map(|flag| flag.read(bank));
        let (store, take) = (active(ask.store), active(ask.take));
        if store == Some(None) || take == Some(None) {
            return;
        }
        let (store, take) = (store.flatten() == Some(true), take.flatten() == Some(true));
        if !store && !take {
            self.0 = None;
            return;
        }
        let Some(question) = question(ask, store, bank, round) else {
            return;
        };
        if self.0.as_ref() != Some(&question) {
            self.0 = Some(question.clone());
            round.said.push(question);
        }
    }
}

fn question(ask: &Ask, store: bool, bank: &Bank, round: &mut Round) -> Option<Said> {
    let troubles = &mut round.troubles;
    let code = name(&ask.stencil, bank, StencilCode::new, "asked-stencil", troubles)??;
    if store {
        let slot = ask.slot.as_ref();
        let slot = slot.and_then(|slot| name(slot, bank, SlotName::new, "asked-slot", troubles)?);
        return Some(Said::StoreAsked { code, slot });
    }
    let order = ask.order.as_ref();
    let order = order.and_then(|order| name(order, bank, OrderName::new, "asked-order", troubles)?);
    Some(Said::TakeAsked { code, order, destination: None })
}
