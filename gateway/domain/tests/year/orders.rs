//! Work orders at a line: released, started, their boards counted, finished.

use stencilward_domain::names::OrderName;
use stencilward_domain::signal::OrderSpec;
use stencilward_domain::site::Request;

use super::acts::Act;
use super::line::{Order, Shown};
use super::makes::Source;
use super::world::{Outcome, SECOND, World};

fn named(number: u64) -> OrderName {
    OrderName::new(&format!("WO-{number:05}")).unwrap()
}

impl World<'_> {
    /// A planner releases an order, and somebody starts it.
    pub(crate) fn start_order(&mut self, number: usize) -> Outcome {
        if !self.running || self.lines[number].order.is_some() {
            return Ok(());
        }
        self.orders += 1;
        let order = Order {
            number: self.orders,
            boards: 0,
            at_once: self.luck.between(1, 5),
            each: self.luck.between(1, 3),
            set_up: self.luck.between(0, 4),
        };
        let small = |count: u64| u32::try_from(count).ok();
        let spec = OrderSpec {
            quantity: Some(self.luck.between(50, 900)),
            panels_per_stroke: small(order.at_once),
            strokes_per_panel: small(order.each),
            setup_strokes: small(order.set_up),
            ..OrderSpec::named(named(order.number))
        };
        let line = &mut self.lines[number];
        line.order = Some(order);
        line.now.boards = 0;
        line.durable.boards = 0;
        let (machine, by) = (line.printer.clone(), "M. Example".to_owned());
        let name = spec.order.clone();
        self.ask(&Request::ReleaseOrder { spec, by: by.clone() })?;
        self.ask(&Request::StartOrder { machine, order: name, by })
    }

    /// Panels are printed, and their boards counted behind the printer.
    pub(crate) fn panels(&mut self, number: usize, count: u64) -> Outcome {
        let line = &mut self.lines[number];
        let (Some(order), Some(_)) = (&mut line.order, line.seat) else { return Ok(()) };
        let (before, count) = (order.strokes(order.boards), count * order.at_once);
        order.boards += count;
        let (strokes, order) = (order.strokes(order.boards) - before, order.number);
        self.stroke(number, strokes);
        if self.lines[number].make.source == Source::Boards {
            let tally = self.lines[number].tally;
            self.send(number, Shown::Boards { count, order, tally })?;
        }
        self.poll(number)
    }

    /// Somebody ends the order and says how many boards were made; the last panel
    /// need not be full.
    pub(crate) fn finish_order(&mut self, number: usize) -> Outcome {
        let Some(order) = self.lines[number].order else { return Ok(()) };
        if !self.running {
            self.comes_up(number, self.now + 1_800 * SECOND, Act::FinishOrder);
            return Ok(());
        }
        let line = &mut self.lines[number];
        if order.boards == 0 {
            return Ok(());
        }
        line.order = None;
        let not_full = self.luck.between(0, order.at_once);
        if line.make.source.follows_orders() {
            line.reaches(line.tally);
            line.shown = Some(Shown::Strokes { from: line.now.heard, to: line.tally });
        }
        let machine = line.printer.clone();
        self.ask(&Request::FinishOrder {
            machine,
            order: named(order.number),
            made: Some(order.boards - not_full),
            by: "M. Example".to_owned(),
        })?;
        self.believed(number)
    }
}
