//! What was scanned so far, and the question that it makes.

use maud::{Markup, html};
use stencilward_domain::names::{MachineName, OrderName, SlotName, StencilCode};
use stencilward_domain::plant::MachineKind;
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::{Request, Site};

use crate::pages::forms::Given;

/// What a scanned code is.
pub(super) enum Scanned {
    Stencil(StencilCode),
    Order(OrderName),
    Slot(MachineName, SlotName),
    Machine(MachineName, MachineKind),
    Unknown,
}

impl Scanned {
    /// What the code is here. `rack/slot` names a slot where racks have slots of one name.
    pub(super) fn of(site: &Site, text: &str) -> Self {
        let state = site.state();
        if let Ok(code) = StencilCode::new(text)
            && state.stencils.contains_key(&code)
        {
            return Self::Stencil(code);
        }
        if let Ok(order) = OrderName::new(text)
            && state.orders.contains_key(&order)
        {
            return Self::Order(order);
        }
        if let Ok(machine) = MachineName::new(text)
            && site.plant().machines.contains_key(&machine)
        {
            let kind = site.plant().kind(&machine);
            return Self::Machine(machine, kind);
        }
        Self::slot(site, text).unwrap_or(Self::Unknown)
    }

    /// Of a rack that is named any slot will do: it may never have held anything.
    fn slot(site: &Site, text: &str) -> Option<Self> {
        if let Some((rack, slot)) = text.split_once('/') {
            let (rack, slot) = (MachineName::new(rack).ok()?, SlotName::new(slot).ok()?);
            let known = site.plant().kind(&rack) == MachineKind::Rack;
            return known.then_some(Self::Slot(rack, slot));
        }
        let slot = SlotName::new(text).ok()?;
        let machines = site.state().machines.iter();
        let mut racks = machines.filter(|(_, machine)| machine.slots.contains_key(&slot));
        match (racks.next(), racks.next()) {
            (Some((only, _)), None) => Some(Self::Slot(only.clone(), slot)),
            _ => None,
        }
    }
}

/// What was scanned so far.
#[derive(Debug, Default)]
pub(super) struct Question {
    pub(super) stencil: Option<StencilCode>,
    order: Option<OrderName>,
    slot: Option<(MachineName, SlotName)>,
    /// A printer or washer.
    machine: Option<MachineName>,
}

impl Question {
    /// What the form kept.
    pub(super) fn kept(given: &Given) -> Self {
        let slot = MachineName::new(given.text("rack")).ok();
        Self {
            stencil: StencilCode::new(given.text("stencil")).ok(),
            order: OrderName::new(given.text("order")).ok(),
            slot: slot.zip(SlotName::new(given.text("slot")).ok()),
            machine: MachineName::new(given.text("machine")).ok(),
        }
    }

    /// Takes in what was scanned; false when it is nothing that is known here. A second one of a
    /// kind takes the place of the first.
    pub(super) fn add(&mut self, scanned: Scanned) -> bool {
        match scanned {
            Scanned::Stencil(code) => self.stencil = Some(code),
            Scanned::Order(order) => self.order = Some(order),
            Scanned::Slot(rack, slot) => self.slot = Some((rack, slot)),
            Scanned::Machine(name, MachineKind::Printer | MachineKind::Washer) => {
                self.machine = Some(name);
            }
            Scanned::Machine(..) | Scanned::Unknown => return false,
        }
        true
    }

    /// What is asked, once it is whole or a button says so.
    pub(super) fn request(&self, button: &str, by: &str) -> Option<Request> {
        let (stencil, by) = (self.stencil.clone()?, by.to_owned());
        let (rack, slot) = self.slot.clone().unzip();
        let take = |order| Request::Take {
            stencil: stencil.clone(),
            rack: None,
            order,
            by: Some(by.clone()),
        };
        let store = |rack, slot| Request::Store {
            stencil: stencil.clone(),
            rack,
            slot,
            by: Some(by.clone()),
        };
        match button {
            "take" => return Some(take(self.order.clone())),
            "store" => return Some(store(rack, slot)),
            "wash" => {
                let outcome = WashOutcome::Passed;
                return Some(Request::ReportWash { stencil, outcome, by });
            }
            _ => {}
        }
        if let Some(machine) = self.machine.clone() {
            Some(Request::Seat { stencil, machine, by })
        } else if rack.is_some() {
            Some(store(rack, slot))
        } else if self.order.is_some() {
            Some(take(self.order.clone()))
        } else {
            None
        }
    }

    /// What was scanned, in one line.
    pub(super) fn name(&self) -> String {
        let slot = self.slot.as_ref().map(|(rack, slot)| format!("{rack}/{slot}"));
        let all = [
            self.stencil.as_ref().map(ToString::to_string),
            self.order.as_ref().map(ToString::to_string),
            slot,
            self.machine.as_ref().map(ToString::to_string),
        ];
        all.into_iter().flatten().collect::<Vec<_>>().join(" + ")
    }

    /// The key of what to scan next.
    pub(super) fn next_key(&self) -> &'static str {
        if self.stencil.is_some() { "scan-next-place" } else { "scan-next-stencil" }
    }

    /// Keeps it in the form.
    pub(super) fn hidden(&self) -> Markup {
        let slot = self.slot.as_ref();
        let all = [
            ("stencil", self.stencil.as_ref().map(StencilCode::as_str)),
            ("order", self.order.as_ref().map(OrderName::as_str)),
            ("rack", slot.map(|(rack, _)| rack.as_str())),
            ("slot", slot.map(|(_, slot)| slot.as_str())),
            ("machine", self.machine.as_ref().map(MachineName::as_str)),
        ];
        html! {
            @for (name, value) in all {
                @if let Some(value) = value { input type="hidden" name=(name) value=(value); }
            }
        }
    }
}
