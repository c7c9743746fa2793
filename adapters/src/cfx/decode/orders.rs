//! What line systems and printers say of orders.

use serde_json::{Map, Value};
use stencilward_domain::names::{BadName, OrderName, ProductName};
use stencilward_domain::signal::{OrderSpec, Said};

use super::{Heard, ORDERS_KEPT, Reader};
use crate::cfx::json::{Garbled, choice, clipped, count, get, object, objects, text};
use crate::cfx::settings::Signal;
use crate::cfx::tool::Tool;
use crate::link::Trouble;

/// `CFX/Structures/WorkOrderStatus.cs`.
const STATUSES: [&str; 8] = [
    "AwaitingApproval",
    "ApprovedAndPending",
    "Scheduled",
    "InProcess",
    "Completed",
    "Closed",
    "OnHold",
    "Cancelled",
];

type Body = Map<String, Value>;

impl Reader {
    /// Orders that may be worked on: approved, scheduled, or begun. One without a status may.
    pub(super) fn orders_listed(&mut self, body: &Body, list: &str, heard: &mut Heard) {
        if !self.reads(Signal::OrderReleased) {
            return;
        }
        for listed in objects(body, list) {
            let status = get(listed, "Status").map(|status| choice(status, &STATUSES));
            let released = match status {
                None => true,
                Some(Some(status)) => (1..=3).contains(&status),
                Some(None) => {
                    heard.trouble(Trouble::Senseless, "an order has a Status that is not known");
                    false
                }
            };
            if let (true, Some(spec)) = (released, heard.take(spec(listed))) {
                self.released(spec, heard);
            }
        }
    }

    pub(super) fn quantity_updated(&mut self, body: &Body, heard: &mut Heard) {
        if !self.reads(Signal::OrderReleased) {
            return;
        }
        let Some(order) = heard.take(order(body)) else { return };
        if let Some(known) = self.orders.get(&order).cloned() {
            let quantity = count(body, "NewQuantity");
            self.released(OrderSpec { quantity, ..known }, heard);
        }
    }

    /// The stencils that are reserved for an order are those that it may be printed with.
    pub(super) fn orders_scheduled(&mut self, body: &Body, heard: &mut Heard) {
        if !self.reads(Signal::OrderReleased) {
            return;
        }
        for scheduled in objects(body, "ScheduledWorkOrders") {
            let Some(order) = heard.take(order(scheduled)) else { continue };
            let known = self.orders.get(&order).cloned();
            let mut spec = known.unwrap_or_else(|| OrderSpec::named(order));
            spec.stencils.clear();
            for tool in objects(scheduled, "ReservedTools") {
                let read = Tool::read(tool, &self.settings).and_then(Tool::stencil);
                spec.stencils.extend(heard.take(read).flatten());
            }
            self.released(spec, heard);
        }
    }

    /// The order that a unit of work is for (since 2.1). Without one nothing is said.
    pub(super) fn order_of_work(&mut self, body: &Body, heard: &mut Heard) {
        if !self.reads(Signal::OrderStarted) || object(body, "WorkOrderIdentifier").is_none() {
            return;
        }
        let Some(now) = heard.take(order(body)) else { return };
        if self.order.as_ref() == Some(&now) {
            return;
        }
        if let Some(order) = self.order.replace(now.clone()) {
            heard.said.push(Said::OrderFinished { order, made: None });
        }
        heard.said.push(Said::OrderStarted(OrderSpec::named(now)));
    }

    fn released(&mut self, spec: OrderSpec, heard: &mut Heard) {
        if self.orders.len() < ORDERS_KEPT || self.orders.contains_key(&spec.order) {
            self.orders.insert(spec.order.clone(), spec.clone());
        }
        heard.said.push(Said::OrderReleased(spec));
    }
}

fn spec(listed: &Body) -> Result<OrderSpec, Garbled> {
    let product = text(listed, "PartNumber").map(ProductName::new).transpose();
    Ok(OrderSpec {
        product: product.map_err(|error| senseless(&error))?,
        revision: text(listed, "PartRevision").map(clipped),
        quantity: count(listed, "Quantity"),
        ..OrderSpec::named(order(listed)?)
    })
}

/// The name of an order, with its batch where it has one.
fn order(of: &Body) -> Result<OrderName, Garbled> {
    let identifier = object(of, "WorkOrderIdentifier");
    let id = identifier.and_then(|identifier| text(identifier, "WorkOrderId"));
    let id = id.ok_or((Trouble::Missing, "an order has no WorkOrderId".to_owned()))?;
    match identifier.and_then(|identifier| text(identifier, "Batch")) {
        Some(batch) => OrderName::new(&format!("{id}/{batch}")),
        None => OrderName::new(id),
    }
    .map_err(|error| senseless(&error))
}

fn senseless(error: &BadName) -> Garbled {
    (Trouble::Senseless, error.to_string())
}
