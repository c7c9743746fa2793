//! May this stencil be stored, taken, printed with? Pure functions of state: they collect every
//! reason against, never only the first.

use crate::decision::{Cause, Decision, Rule};
use crate::event::Position;
use crate::machine::{Machine, Slot};
use crate::names::{MachineName, OrderName, SlotName, StencilCode};
use crate::place::Place;
use crate::plant::{MachineKind, Plant};
use crate::reason::Reason;
use crate::signal::OrderSpec;
use crate::state::State;
use crate::stencil::{Cleanliness, Stencil};
use crate::time::Timestamp;
use crate::wear::WearBand;

/// What a decision looks at.
#[derive(Debug, Clone, Copy)]
pub struct Case<'a> {
    /// What the configuration fixes.
    pub plant: &'a Plant,
    /// What the ledger says.
    pub state: &'a State,
    /// The present time.
    pub now: Timestamp,
}

/// The rules by which a site decides. They are a value so that a check of the whole can be shown
/// to find a broken one.
#[derive(Debug, Clone, Copy)]
pub struct Rules {
    /// May a stencil be stored?
    pub store: fn(&Case<'_>, &StencilCode, Option<&MachineName>, Option<&SlotName>) -> Decision,
    /// May a stencil be taken?
    pub take: fn(&Case<'_>, &StencilCode, Option<&MachineName>, Option<&OrderName>) -> Decision,
    /// May a printer print?
    pub print: fn(&Case<'_>, &MachineName, bool) -> Decision,
}

impl Default for Rules {
    fn default() -> Self {
        Self {
            store: |case, code, rack, slot| case.store(code, rack, slot),
            take: |case, code, rack, order| case.take(code, rack, order),
            print: |case, printer, seat_confirmed| case.print(printer, seat_confirmed),
        }
    }
}

/// The reasons found so far.
#[derive(Default)]
struct Against(Vec<Cause>);

impl Against {
    fn add(&mut self, reason: Reason, because: Option<Position>) {
        self.0.push(Cause { reason, because });
    }
}

impl Case<'_> {
    /// May the stencil go into storage? Only after a wash that passed and that is later than its
    /// last stroke. A stencil on hold or worn out may be stored: it has to stay somewhere.
    #[must_use]
    pub fn store(
        &self,
        code: &StencilCode,
        rack: Option<&MachineName>,
        slot: Option<&SlotName>,
    ) -> Decision {
        let mut against = Against::default();
        match self.state.stencils.get(code) {
            None => against.add(unknown(code), None),
            Some(stencil) => {
                clean_enough(stencil, &mut against);
                self.not_in_a_printer(stencil, &mut against);
            }
        }
        if let (Some(rack), Some(slot)) = (self.real_rack(rack, &mut against), slot) {
            self.slot_free(code, rack, slot, &mut against);
        }
        decided(Rule::Store, Some(code), rack, slot, against)
    }

    /// May the stencil leave storage, for this order? Asked in general, the decision names the
    /// rack that holds it.
    #[must_use]
    pub fn take(
        &self,
        code: &StencilCode,
        rack: Option<&MachineName>,
        order: Option<&OrderName>,
    ) -> Decision {
        let mut against = Against::default();
        let mut holder = None;
        let spec = self.known_order(order, &mut against);
        let real = self.real_rack(rack, &mut against);
        match self.state.stencils.get(code) {
            None => against.add(unknown(code), None),
            Some(stencil) => {
                clean_enough(stencil, &mut against);
                self.wash_fresh(stencil, &mut against);
                self.usable(stencil, &mut against);
                self.tension_good(stencil, &mut against);
                fits(stencil, spec, &mut against);
                holder = here(stencil, real, &mut against);
            }
        }
        let (holder, slot) = holder.unzip();
        let decision = decided(Rule::Take, Some(code), rack.or(holder), slot, against);
        Decision { order: order.cloned(), ..decision }
    }

    /// May the printer print with what is seated in it?
    #[must_use]
    pub fn print(&self, printer: &MachineName, seat_confirmed: bool) -> Decision {
        let mut against = Against::default();
        let machine = self.state.machines.get(printer);
        let seat = machine.and_then(|machine| machine.seat.as_ref());
        if self.plant.on_trial(printer) {
            against.add(Reason::OnTrial { machine: printer.clone() }, None);
        }
        match seat {
            None => against.add(Reason::NothingSeated, None),
            Some(seat) => {
                if !seat_confirmed {
                    let reason = Reason::SeatUnconfirmed { stencil: seat.code.clone() };
                    against.add(reason, Some(seat.because));
                }
                match self.state.stencils.get(&seat.code) {
                    None => against.add(unknown(&seat.code), Some(seat.because)),
                    Some(stencil) => self.printable(stencil, printer, machine, &mut against),
                }
            }
        }
        let code = seat.map(|seat| &seat.code);
        let decision = decided(Rule::Print, code, Some(printer), None, against);
        Decision {
            order: machine.and_then(|machine| Some(machine.order.as_ref()?.order.clone())),
            ..decision
        }
    }

    /// The order a stencil is taken for, where the plant knows it.
    fn known_order(&self, order: Option<&OrderName>, against: &mut Against) -> Option<&OrderSpec> {
        let known = order.and_then(|order| self.state.orders.get(order));
        if known.is_none() && self.plant.policy.orders_known {
            against.add(Reason::UnknownOrder { order: order.cloned() }, None);
        }
        known
    }

    fn printable(
        &self,
        stencil: &Stencil,
        printer: &MachineName,
        machine: Option<&Machine>,
        against: &mut Against,
    ) {
        match stencil.cleanliness.value {
            Cleanliness::Clean | Cleanliness::Printed => {}
            Cleanliness::Washing => against.add(Reason::Washing, Some(stencil.cleanliness.because)),
            Cleanliness::Unknown => {
                against.add(Reason::CleanlinessUnknown, Some(stencil.cleanliness.because));
            }
        }
        self.wash_not_overdue(stencil, against);
        self.usable(stencil, against);
        if self.plant.policy.print_needs_take && stencil.taken.is_none() {
            against.add(Reason::NotTaken, Some(stencil.place.because));
        }
        if stencil.place.value != (Place::Printer { machine: printer.clone() }) {
            let reason = Reason::Elsewhere { place: stencil.place.value.clone() };
            against.add(reason, Some(stencil.place.because));
        }
        fits(stencil, machine.and_then(|machine| machine.order.as_ref()), against);
    }

    /// Neither on hold, nor retired, nor worn out without a concession.
    fn usable(&self, stencil: &Stencil, against: &mut Against) {
        if let Some(hold) = &stencil.hold {
            let reason = Reason::OnHold { why: hold.value.why.clone(), by: hold.value.by.clone() };
            against.add(reason, Some(hold.because));
        }
        if let Some(because) = stencil.retired {
            against.add(Reason::Retired, Some(because));
        }
        let limits = self.plant.policy.wear_limits(&stencil.spec);
        if stencil.wear_band(limits) != WearBand::Stopped {
            return;
        }
        match &stencil.concession {
            Some(concession) if concession.value.in_force(self.now) => {}
            Some(concession) if concession.value.used >= concession.value.strokes => against.add(
                Reason::ConcessionUsedUp { strokes: concession.value.strokes },
                Some(concession.because),
            ),
            _ => against.add(worn_out(stencil), Some(stencil.band.because)),
        }
    }

    fn wash_fresh(&self, stencil: &Stencil, against: &mut Against) {
        let clean = stencil.cleanliness.value == Cleanliness::Clean;
        let (Some(allowed), Some(wash), true) =
            (self.plant.policy.wash_age, &stencil.last_wash, clean)
        else {
            return;
        };
        let age = self.now.since(wash.since);
        if age > allowed {
            let reason = Reason::WashTooOld {
                age_seconds: age.as_secs(),
                allowed_seconds: allowed.as_secs(),
            };
            against.add(reason, Some(wash.because));
        }
    }

    fn wash_not_overdue(&self, stencil: &Stencil, against: &mut Against) {
        let policy = &self.plant.policy;
        if let Some(allowed) = policy.strokes_between_washes
            && stencil.strokes_since_wash >= allowed
        {
            let strokes = stencil.strokes_since_wash;
            let because = stencil.last_stroke.as_ref().map(|last| last.because);
            against.add(Reason::TooManyStrokesSinceWash { strokes, allowed }, because);
        }
        if let (Some(allowed), Some(wash)) = (policy.time_between_washes, &stencil.last_wash) {
            let since = self.now.since(wash.since);
            if since > allowed {
                let reason = Reason::TooLongSinceWash {
                    seconds: since.as_secs(),
                    allowed_seconds: allowed.as_secs(),
                };
                against.add(reason, Some(wash.because));
            }
        }
    }

    fn tension_good(&self, stencil: &Stencil, against: &mut Against) {
        let Some(policy) = &self.plant.policy.tension else {
            return;
        };
        let overdue = Reason::TensionOverdue { allowed_seconds: policy.every.as_secs() };
        match &stencil.tension {
            None => against.add(overdue, None),
            Some(tension) => {
                if self.now.since(tension.since) > policy.every {
                    against.add(overdue, Some(tension.because));
                }
                if tension.value < policy.lowest_centi {
                    let reason = Reason::TensionTooLow {
                        measured_centi: tension.value,
                        lowest_centi: policy.lowest_centi,
                    };
                    against.add(reason, Some(tension.because));
                }
            }
        }
    }

    /// A printer that says by itself what is in it is believed over a scan at the rack.
    fn not_in_a_printer(&self, stencil: &Stencil, against: &mut Against) {
        let place = &stencil.place;
        if let Place::Printer { machine } = &place.value
            && self.plant.names_stencil(machine)
        {
            against.add(Reason::Elsewhere { place: place.value.clone() }, Some(place.because));
        }
    }

    fn real_rack<'a>(
        &self,
        named: Option<&'a MachineName>,
        against: &mut Against,
    ) -> Option<&'a MachineName> {
        let machine = named?;
        if self.plant.kind(machine) == MachineKind::Rack {
            return named;
        }
        let machine = machine.clone();
        against.add(Reason::NotARack { machine }, None);
        None
    }

    fn slot_free(
        &self,
        code: &StencilCode,
        rack: &MachineName,
        slot: &SlotName,
        against: &mut Against,
    ) {
        let held = self.state.machines.get(rack).and_then(|machine| machine.slots.get(slot));
        if let Some(Slot::Holds(other)) = held
            && other != code
        {
            against.add(Reason::SlotTaken { slot: slot.clone(), holds: other.clone() }, None);
        }
        let permits = self.state.machines.get(rack).map(|machine| machine.permits.as_slice());
        let promised = permits.unwrap_or_default().iter().find(|permit| {
            permit.rule == Rule::Store
                && permit.slot.as_ref() == Some(slot)
                && permit.stencil != *code
                && permit.until > self.now
        });
        if let Some(permit) = promised {
            let to = permit.stencil.clone();
            against.add(Reason::SlotPromised { slot: slot.clone(), to }, None);
        }
    }
}

fn decided(
    rule: Rule,
    code: Option<&StencilCode>,
    machine: Option<&MachineName>,
    slot: Option<&SlotName>,
    against: Against,
) -> Decision {
    Decision {
        rule,
        stencil: code.cloned(),
        machine: machine.cloned(),
        slot: slot.cloned(),
        order: None,
        by: None,
        reasons: against.0,
    }
}

fn unknown(code: &StencilCode) -> Reason {
    let stencil = code.clone();
    Reason::UnknownStencil { stencil }
}

fn clean_enough(stencil: &Stencil, against: &mut Against) {
    let because = Some(stencil.cleanliness.because);
    match stencil.cleanliness.value {
        Cleanliness::Clean => {}
        Cleanliness::Printed => {
            against.add(Reason::Unwashed { strokes: stencil.strokes_since_wash }, because);
        }
        Cleanliness::Washing => against.add(Reason::Washing, because),
        Cleanliness::Unknown => against.add(Reason::CleanlinessUnknown, because),
    }
}

fn worn_out(stencil: &Stencil) -> Reason {
    Reason::WornOut {
        strokes: stencil.strokes,
        rated_strokes: stencil.spec.rated_strokes,
        washes: stencil.washes,
        rated_washes: stencil.spec.rated_washes,
    }
}

/// The right product, side and revision, as far as both the order and the stencil name them, and
/// one of the stencils the order allows.
fn fits(stencil: &Stencil, order: Option<&OrderSpec>, against: &mut Against) {
    let Some(order) = order else { return };
    let spec = &stencil.spec;
    if !order.stencils.is_empty() && !order.stencils.contains(&spec.stencil) {
        against.add(Reason::NotForOrder { order: order.order.clone() }, None);
    }
    if let (Some(asked), Some(stencil_for)) = (&order.product, &spec.product)
        && asked != stencil_for
    {
        let (asked, stencil_for) = (asked.clone(), stencil_for.clone());
        against.add(Reason::WrongProduct { asked, stencil_for }, None);
    }
    if let (Some(asked), Some(stencil_for)) = (order.side, spec.side)
        && asked != stencil_for
    {
        against.add(Reason::WrongSide { asked, stencil_for }, None);
    }
    if let (Some(asked), Some(stencil_for)) = (&order.revision, &spec.revision)
        && asked != stencil_for
    {
        let (asked, stencil_for) = (asked.clone(), stencil_for.clone());
        against.add(Reason::WrongRevision { asked, stencil_for }, None);
    }
}

/// In this rack, or carried to it. Gives the rack and the slot it is in.
fn here<'a>(
    stencil: &'a Stencil,
    rack: Option<&MachineName>,
    against: &mut Against,
) -> Option<(&'a MachineName, &'a SlotName)> {
    let place = &stencil.place;
    match &place.value {
        Place::InHand => None,
        Place::Slot { rack: holder, slot } if rack.is_none_or(|rack| rack == holder) => {
            Some((holder, slot))
        }
        elsewhere => {
            against.add(Reason::Elsewhere { place: elsewhere.clone() }, Some(place.because));
            None
        }
    }
}
