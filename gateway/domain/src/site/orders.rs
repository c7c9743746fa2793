//! Orders and runs: what an order says of its strokes, and whether the bases of a run agree.

use std::collections::BTreeSet;

use super::Site;
use super::booking::Made;
use crate::event::{Basis, BasisKind, Event, WhyUnattributed};
use crate::machine::Machine;
use crate::names::{MachineName, OrderName, StencilCode};
use crate::signal::OrderSpec;

impl Site {
    pub(super) fn order_released(&mut self, spec: &OrderSpec, by: Option<&str>) {
        if self.state.orders.get(&spec.order) != Some(spec) {
            let by = by.map(str::to_owned);
            self.record(Event::OrderReleased { spec: spec.clone(), by });
        }
    }

    /// An order begins at a printer. What the machine does not say of it is taken from its release.
    pub(super) fn order_started(
        &mut self,
        source: &MachineName,
        spec: &OrderSpec,
        by: Option<&str>,
    ) {
        let printer = self.plant.printer_of(source);
        let spec = self.completed(spec);
        let running = self.machine(&printer).and_then(|machine| machine.order.as_ref());
        if running == Some(&spec) {
            return;
        }
        match running.map(|running| running.order.clone()) {
            Some(running) if running == spec.order => {}
            Some(running) => self.order_finished(&printer, &running, None, None),
            None => self.compare_bases(&printer),
        }
        let by = by.map(str::to_owned);
        self.record(Event::OrderStarted { machine: printer, spec, by });
    }

    fn completed(&self, spec: &OrderSpec) -> OrderSpec {
        let Some(known) = self.state.orders.get(&spec.order).cloned() else {
            return spec.clone();
        };
        let spec = spec.clone();
        OrderSpec {
            product: spec.product.or(known.product),
            side: spec.side.or(known.side),
            revision: spec.revision.or(known.revision),
            quantity: spec.quantity.or(known.quantity),
            panels_per_stroke: spec.panels_per_stroke.or(known.panels_per_stroke),
            strokes_per_panel: spec.strokes_per_panel.or(known.strokes_per_panel),
            setup_strokes: spec.setup_strokes.or(known.setup_strokes),
            stencils: if spec.stencils.is_empty() { known.stencils } else { spec.stencils },
            order: spec.order,
        }
    }

    /// An order ends at a printer: its strokes that were not told of yet are, and the run's bases
    /// are compared.
    pub(super) fn order_finished(
        &mut self,
        source: &MachineName,
        order: &OrderName,
        made: Option<u64>,
        by: Option<&str>,
    ) {
        let printer = self.plant.printer_of(source);
        let running = self.machine(&printer).and_then(|machine| machine.order.clone());
        if let Some(running) = running.filter(|running| running.order == *order) {
            let counted = self.machine(&printer).map_or(0, |machine| machine.run.boards);
            let boards = made.or((counted > 0).then_some(counted)).or(running.quantity);
            if let Some(boards) = boards {
                // Boards that nobody counted may have been made at any time.
                let makers = self.machine(&printer).map(|machine| machine.run.stencils.clone());
                self.follow_order(&printer, boards, makers.unwrap_or_default(), None);
            }
            self.compare_bases(&printer);
        } else if !self.state.orders.contains_key(order) {
            return;
        }
        let (order, by) = (order.clone(), by.map(str::to_owned));
        self.record(Event::OrderFinished { machine: printer, order, made, by });
    }

    pub(super) fn boards_counted(&mut self, source: &MachineName, count: u64) {
        if count == 0 {
            return;
        }
        let printer = self.plant.printer_of(source);
        let by_machine = (printer != *source).then(|| source.clone());
        self.record(Event::BoardsCounted { machine: printer.clone(), count, by_machine });
        let run = self.machine(&printer).map(|machine| machine.run.clone()).unwrap_or_default();
        let late = self.overtaken(&printer, source).then_some(WhyUnattributed::SeatUnconfirmed);
        let (makers, forgotten) = match self.in_machine_then(&printer) {
            _ if self.origin.happened.is_none() => (run.since_order, None),
            Ok(then) => (run.since_order.union(&then).cloned().collect(), None),
            Err(why) => (run.since_order, Some(why)),
        };
        self.follow_order(&printer, run.boards, makers, late.or(forgotten));
    }

    /// Counts the strokes that so many boards of the running order take, as far as that is new.
    fn follow_order(
        &mut self,
        printer: &MachineName,
        boards: u64,
        candidates: BTreeSet<StencilCode>,
        doubt: Option<WhyUnattributed>,
    ) {
        let used = self.plant.machines.get(printer).is_some_and(|spec| {
            let bases = &spec.bases;
            bases.book.contains(&BasisKind::Order) || bases.check.contains(&BasisKind::Order)
        });
        let Some((machine, order)) = self
            .machine(printer)
            .and_then(|machine| Some((machine, machine.order.as_ref()?)))
            .filter(|_| used)
        else {
            return;
        };
        let told = machine.run.by(BasisKind::Order);
        let count = order.strokes_for(boards).saturating_sub(told);
        if count > 0 {
            let made = Made {
                machine: printer.clone(),
                count,
                basis: Basis::Order { order: order.order.clone(), boards },
                candidates,
                since: machine.run.since,
                doubt,
            };
            self.attribute(made);
        }
    }

    /// Where no order runs, a run lasts as long as one stencil is in the printer.
    pub(super) fn stencil_changes(&mut self, printer: &MachineName) {
        let no_order = self.machine(printer).is_some_and(|machine| machine.order.is_none());
        if no_order && !self.changed_since(printer) {
            self.compare_bases(printer);
        }
    }

    fn compare_bases(&mut self, printer: &MachineName) {
        let (Some(spec), Some(machine)) = (self.plant.machines.get(printer), self.machine(printer))
        else {
            return;
        };
        let (run, order) = (&machine.run, machine.order.as_ref());
        let found = run.disagreements(&spec.bases, self.plant.policy.tolerance, order);
        let booked = run.booked(&spec.bases);
        let (since, stencils) = (run.since, run.stencils.clone());
        let order = order.map(|order| order.order.clone());
        for (checked_by, checked, likely) in found {
            self.record(Event::BasesDisagreed {
                machine: printer.clone(),
                stencils: stencils.iter().cloned().collect(),
                order: order.clone(),
                since,
                booked,
                checked_by,
                checked,
                likely,
            });
        }
    }

    fn machine(&self, machine: &MachineName) -> Option<&Machine> {
        self.state.machines.get(machine)
    }
}
