//! Orders of a rehearsal: released, begun and finished by whoever is wired to tell of them, else
//! at the desk.

use std::sync::Arc;
use std::time::Duration;

use stencilward_domain::event::BasisKind;
use stencilward_domain::names::{MachineName, OrderName, StencilCode};
use stencilward_domain::signal::{OrderSpec, Said};
use stencilward_domain::site::Request;

use super::actor::Actor;
use super::floor::{Floor, PERSON};

/// Longest wait for a released order to be known: a folder is looked into now and then.
const KNOWN: Duration = Duration::from_secs(20);

impl Floor {
    /// Releases an order for so many boards with this stencil, where the plant works by orders.
    pub(super) async fn order_for(
        &self,
        printer: &MachineName,
        code: &StencilCode,
        boards: u64,
    ) -> Option<OrderSpec> {
        if !self.works_by_orders(printer) {
            return None;
        }
        let spec = self.spec(self.next_order()?, Some(code), Some(boards));
        self.release(&spec).await;
        let order = spec.order.clone();
        self.until(KNOWN, move |site| site.state().orders.contains_key(&order)).await;
        Some(spec)
    }

    /// An order that asks for what this stencil prints.
    pub(super) fn spec(
        &self,
        order: OrderName,
        code: Option<&StencilCode>,
        boards: Option<u64>,
    ) -> OrderSpec {
        let known = code.and_then(|code| self.plant.stencils.get(code)).map(|listed| &listed.spec);
        OrderSpec {
            product: known.and_then(|spec| spec.product.clone()),
            side: known.and_then(|spec| spec.side),
            revision: known.and_then(|spec| spec.revision.clone()),
            quantity: boards,
            panels_per_stroke: Some(1),
            strokes_per_panel: Some(1),
            stencils: code.cloned().into_iter().collect(),
            ..OrderSpec::named(order)
        }
    }

    fn works_by_orders(&self, printer: &MachineName) -> bool {
        self.plant.policy.orders_known
            || self.counts_by_orders(printer)
            || self.teller(printer, |actor| actor.wired.starts_orders).is_some()
            || self.live().any(|actor| actor.for_others.starts_orders)
    }

    fn counts_by_orders(&self, printer: &MachineName) -> bool {
        let spec = self.plant.machines.get(printer);
        spec.is_some_and(|spec| {
            let (book, check) = (&spec.bases.book, &spec.bases.check);
            book.contains(&BasisKind::Order) || check.contains(&BasisKind::Order)
        })
    }

    /// A machine that tells of this printer and of no other.
    fn teller(&self, printer: &MachineName, tells: impl Fn(&Actor) -> bool) -> Option<&Arc<Actor>> {
        let mut live = self.live();
        live.find(|actor| tells(actor) && self.plant.printer_of(&actor.name) == *printer)
    }

    pub(super) async fn release(&self, spec: &OrderSpec) {
        match self.live().find(|actor| actor.wired.releases_orders) {
            Some(planner) => {
                planner.say(Said::OrderReleased(spec.clone())).await;
            }
            None => {
                let (spec, by) = (spec.clone(), PERSON.to_owned());
                self.ask(Request::ReleaseOrder { spec, by }).await;
            }
        }
    }

    pub(super) async fn begin(&self, printer: &MachineName, spec: &OrderSpec) {
        let said = Said::OrderStarted(spec.clone());
        if let Some(teller) = self.teller(printer, |actor| actor.wired.starts_orders) {
            teller.say(said).await;
            self.settle(&[teller]).await;
        } else if let Some(other) = self.live().find(|actor| actor.for_others.starts_orders) {
            other.say_of(printer, said).await;
        } else if self.counts_by_orders(printer) {
            let (machine, order) = (printer.clone(), spec.order.clone());
            self.ask(Request::StartOrder { machine, order, by: PERSON.to_owned() }).await;
        }
    }

    pub(super) async fn finish(&self, printer: &MachineName, order: &OrderName, made: Option<u64>) {
        let said = Said::OrderFinished { order: order.clone(), made };
        if let Some(teller) = self.teller(printer, |actor| actor.wired.finishes_orders) {
            teller.say(said).await;
            self.settle(&[teller]).await;
        } else if let Some(other) = self.live().find(|actor| actor.for_others.finishes_orders) {
            other.say_of(printer, said).await;
        } else if self.counts_by_orders(printer) {
            let (machine, order) = (printer.clone(), order.clone());
            self.ask(Request::FinishOrder { machine, order, made, by: PERSON.to_owned() }).await;
        }
    }
}
