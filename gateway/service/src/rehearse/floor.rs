//! The floor of a rehearsal: its machines, the way to the gateway, and what is where.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use stencilward_adapters::simulated::Slots;
use stencilward_domain::names::{MachineName, OrderName, OutputName, SlotName, StencilCode};
use stencilward_domain::plant::{MachineKind, OutputRule, Plant};
use stencilward_domain::site::{Reply, Request};
use stencilward_web::SiteHandle;
use tokio::sync::{Mutex as Queue, watch};
use tokio::time::{Instant, sleep};
use tokio_util::sync::CancellationToken;

use super::actor::Actor;
use super::press::Press;
use crate::narrator::Narrator;
use crate::plant::tally::{Done, Tally};

/// Who asks at the desk.
pub(super) const PERSON: &str = "the rehearsal";

/// Between two looks at the site.
const STEP: Duration = Duration::from_millis(50);

/// What everybody on the floor works with.
pub(super) struct Floor {
    pub(super) plant: Plant,
    pub(super) actors: BTreeMap<MachineName, Arc<Actor>>,
    pub(super) presses: BTreeMap<MachineName, Press>,
    pub(super) homes: BTreeMap<StencilCode, Home>,
    pub(super) site: SiteHandle,
    pub(super) tally: Arc<Tally>,
    pub(super) narrator: Narrator,
    pub(super) closing: CancellationToken,
    pub(super) pace: Pace,
    /// What one machine is told by hand waits for what it was told before.
    pub(super) turns: BTreeMap<MachineName, Arc<Queue<()>>>,
    seats: Mutex<BTreeMap<MachineName, StencilCode>>,
    /// One person, or one stencil, at a machine at a time.
    taken: BTreeMap<MachineName, Queue<()>>,
    orders: AtomicU64,
}

/// Where a stencil lives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Home {
    pub(super) rack: MachineName,
    pub(super) slot: SlotName,
}

/// How fast the rehearsal goes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pace {
    /// So many times as fast as on a floor.
    pub(super) speed: f64,
}

impl Pace {
    /// Walking from one machine to the next.
    pub(super) fn walk(self) -> Duration {
        Duration::from_millis(1_500).div_f64(self.speed)
    }

    /// A wash. A real one takes some minutes; nobody wants to wait for that here.
    pub(super) fn wash(self) -> Duration {
        Duration::from_secs(8).div_f64(self.speed)
    }

    /// From one stroke to the next: somewhat longer than the shortest that is believed.
    pub(super) fn cycle(self, fastest: Duration) -> Duration {
        if fastest.is_zero() { Duration::from_secs(2).div_f64(self.speed) } else { fastest * 5 / 4 }
    }
}

/// What a floor is opened with.
pub(super) struct Opening {
    pub(super) plant: Plant,
    pub(super) actors: BTreeMap<MachineName, Arc<Actor>>,
    pub(super) site: SiteHandle,
    pub(super) tally: Arc<Tally>,
    pub(super) narrator: Narrator,
    pub(super) pace: Pace,
}

impl Floor {
    pub(super) fn open(opening: Opening) -> Self {
        let Opening { plant, actors, site, tally, narrator, pace } = opening;
        let printers = plant.machines.iter().filter(|(_, spec)| spec.kind == MachineKind::Printer);
        let press = |name| Press::of(name, &plant, &actors, pace, &tally);
        let presses = printers.map(|(name, _)| (name.clone(), press(name))).collect();
        let homes = homes(&plant, &actors);
        let turns = plant.machines.keys().map(|name| (name.clone(), Arc::default())).collect();
        let taken = plant.machines.keys().map(|name| (name.clone(), Queue::default())).collect();
        Self {
            plant,
            actors,
            presses,
            homes,
            site,
            tally,
            narrator,
            closing: CancellationToken::new(),
            pace,
            turns,
            seats: Mutex::default(),
            taken,
            orders: AtomicU64::new(9_000),
        }
    }

    pub(super) fn is_open(&self) -> bool {
        !self.closing.is_cancelled()
    }

    /// Machines that count: those on trial change nothing.
    pub(super) fn live(&self) -> impl Iterator<Item = &Arc<Actor>> {
        self.actors.values().filter(|actor| !self.plant.on_trial(&actor.name))
    }

    /// Notes what became of a stencil.
    pub(super) fn note(&self, code: &StencilCode, change: impl FnOnce(&mut Done)) {
        self.tally.note(code, change);
    }

    /// What is in a printer or washer.
    pub(super) fn seat_of(&self, machine: &MachineName) -> Option<StencilCode> {
        self.seats().get(machine).cloned()
    }

    pub(super) fn put_in_seat(&self, machine: &MachineName, code: Option<&StencilCode>) {
        match code {
            Some(code) => self.seats().insert(machine.clone(), code.clone()),
            None => self.seats().remove(machine),
        };
    }

    fn seats(&self) -> MutexGuard<'_, BTreeMap<MachineName, StencilCode>> {
        self.seats.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps others from the machine while what is given lives.
    pub(super) async fn stand_at(&self, machine: &MachineName) -> Option<impl Drop + '_> {
        Some(self.taken.get(machine)?.lock().await)
    }

    /// The outputs of a machine that follow this rule, as it sees them.
    pub(super) fn outputs(
        &self,
        machine: &MachineName,
        rule: OutputRule,
    ) -> Vec<watch::Receiver<bool>> {
        outputs(&self.plant, &self.actors, machine, rule)
    }

    /// The name of an order that was not used yet.
    pub(super) fn next_order(&self) -> Option<OrderName> {
        OrderName::new(&self.orders.fetch_add(1, Ordering::SeqCst).to_string()).ok()
    }

    /// What a person asks for at the desk; none when the gateway is ending.
    pub(super) async fn ask(&self, request: Request) -> Option<Reply> {
        let reply = self.site.ask(request).await.ok()?;
        if let Reply::Refused(why) = &reply {
            self.narrator.say("desk", &format!("refused: {why}"));
        }
        Some(reply)
    }

    /// Waits until all that is shown was read for certain, and as long as a walk takes.
    pub(super) async fn settle(&self, machines: &[&Arc<Actor>]) {
        let read = machines.iter().filter_map(|actor| actor.wired.read_within).max();
        sleep(self.pace.walk().max(read.unwrap_or_default())).await;
    }

    /// Waits until the site is so, at most so long; false when it never was.
    pub(super) async fn until(
        &self,
        limit: Duration,
        is_so: impl Fn(&stencilward_domain::site::Site) -> bool + Clone + Send + 'static,
    ) -> bool {
        let deadline = Instant::now() + limit;
        while Instant::now() < deadline {
            let look = is_so.clone();
            match self.site.look(move |site, _| look(site)).await {
                Ok(true) => return true,
                Ok(false) => sleep(STEP).await,
                Err(_) => return false,
            }
        }
        false
    }
}

/// The outputs of a machine that follow this rule, as it sees them. None are written on trial.
pub(super) fn outputs(
    plant: &Plant,
    actors: &BTreeMap<MachineName, Arc<Actor>>,
    machine: &MachineName,
    rule: OutputRule,
) -> Vec<watch::Receiver<bool>> {
    let (Some(spec), Some(actor)) = (plant.machines.get(machine), actors.get(machine)) else {
        return Vec::new();
    };
    if plant.on_trial(machine) {
        return Vec::new();
    }
    let named = spec.outputs.iter().filter(|(_, follows)| **follows == rule);
    named.filter_map(|(name, _): (&OutputName, _)| actor.output(name).ok()).collect()
}

/// A slot for each stencil, as far as the racks have them.
fn homes(plant: &Plant, actors: &BTreeMap<MachineName, Arc<Actor>>) -> BTreeMap<StencilCode, Home> {
    let racks = actors.values().filter(|actor| {
        plant.kind(&actor.name) == MachineKind::Rack && !plant.on_trial(&actor.name)
    });
    let stencils = plant.stencils.len();
    let slots = racks.flat_map(|rack| {
        let names: Vec<SlotName> = match &rack.wired.slots {
            Slots::None => Vec::new(),
            Slots::Any => {
                (1..=stencils).filter_map(|n| SlotName::new(&format!("A{n}")).ok()).collect()
            }
            Slots::Named(names) => names.clone(),
        };
        names.into_iter().map(|slot| Home { rack: rack.name.clone(), slot })
    });
    plant.stencils.keys().cloned().zip(slots).collect()
}
