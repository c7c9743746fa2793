//! The order a machine works on, told by its name coming, changing and going.

use stencilward_domain::names::{OrderName, ProductName};
use stencilward_domain::signal::{OrderSpec, Said};

use super::{Round, name, whole};
use crate::link::Trouble;
use crate::modbus::bank::Bank;
use crate::modbus::wiring::{Field, Order};

/// The order that was told to have begun. It is kept while the link is lost.
#[derive(Debug, Clone, Default)]
pub(super) struct Working {
    order: Option<OrderName>,
    /// The boards last seen to be made of it.
    made: Option<u64>,
}

impl Working {
    pub(super) fn step(&mut self, order: &Order, bank: &Bank, round: &mut Round) {
        let Some(now) = running(order, bank, &mut round.troubles) else {
            return;
        };
        let made = number(order.made, bank, "order-made", &mut round.troubles);
        if now != self.order {
            if let Some(order) = self.order.take() {
                // A machine may clear the number with the name, or count on until it does.
                let last = self.made.take();
                let made = if now.is_none() { made.max(last) } else { last };
                round.said.push(Said::OrderFinished { order, made });
            }
            round
                .said
                .extend(now.clone().map(|now| started(now, order, bank, &mut round.troubles)));
            self.order = now;
        }
        self.made = made.filter(|_| self.order.is_some());
    }
}

/// The order that is worked on, none in it when there is none; none when this round did not read
/// it, or it cannot be understood: then the one before may go on.
fn running(
    order: &Order,
    bank: &Bank,
    troubles: &mut Vec<(Trouble, String)>,
) -> Option<Option<OrderName>> {
    if order.running.map(|running| running.read(bank)).is_some_and(|on| on == Some(false)) {
        return Some(None);
    }
    let before = troubles.len();
    let now = name(&order.name, bank, OrderName::new, "order", troubles)?;
    (troubles.len() == before).then_some(now)
}

fn started(
    name_of: OrderName,
    order: &Order,
    bank: &Bank,
    troubles: &mut Vec<(Trouble, String)>,
) -> Said {
    let product = order.product.as_ref();
    Said::OrderStarted(OrderSpec {
        product: product
            .and_then(|field| name(field, bank, ProductName::new, "order-product", troubles)?),
        quantity: number(order.quantity, bank, "order-quantity", troubles)
            .filter(|quantity| *quantity > 0),
        ..OrderSpec::named(name_of)
    })
}

fn number(
    field: Option<Field>,
    bank: &Bank,
    point: &str,
    troubles: &mut Vec<(Trouble, String)>,
) -> Option<u64> {
    u64::try_from(whole(field?, bank, point, troubles)?).ok()
}
