//! A printer at work, however its strokes are told: by itself, by a module that counts for it, by
//! the line's controller.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use stencilward_adapters::simulated::Wired;
use stencilward_domain::names::{CounterName, MachineName, StencilCode};
use stencilward_domain::plant::{Counted, OutputRule, Plant};
use stencilward_domain::signal::{Reading, Said, Width};
use tokio::sync::watch;
use tokio::time::{MissedTickBehavior, interval, timeout};

use super::actor::Actor;
use super::floor::{Pace, outputs};
use crate::plant::tally::Tally;

/// Strokes from one understencil wipe to the next.
const STROKES_FOR_A_WIPE: u64 = 5;

/// A printer.
pub(super) struct Press {
    pub(super) name: MachineName,
    pub(super) cycle: Duration,
    /// Totals of its strokes and wipes, whoever keeps them.
    pub(super) meters: Vec<Meter>,
    own: Option<Arc<Actor>>,
    locks: Vec<watch::Receiver<bool>>,
    tellers: Vec<Teller>,
    made: AtomicU64,
    /// None on trial: nothing it does counts.
    tally: Option<Arc<Tally>>,
}

/// A total that some machine keeps.
pub(super) struct Meter {
    by: Arc<Actor>,
    of: Option<MachineName>,
    counter: CounterName,
    width: Width,
    counts: Counted,
    total: AtomicU64,
}

/// One who tells of each thing as it is done.
struct Teller {
    by: Arc<Actor>,
    of: Option<MachineName>,
    what: What,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Stroke,
    Wipe,
    Board,
}

impl Meter {
    /// The machine that keeps it.
    pub(super) fn keeper(&self) -> &MachineName {
        &self.by.name
    }

    /// Moves on, or begins again at zero, and tells its value.
    pub(super) async fn set(&self, change: impl Fn(u64) -> u64) {
        let total = change(self.total.load(Ordering::SeqCst));
        self.total.store(total, Ordering::SeqCst);
        let said = Said::CounterRead {
            counter: self.counter.clone(),
            raw: total & self.width.largest(),
            width: self.width,
            reading: Reading::Reported,
        };
        say(&self.by, self.of.as_ref(), said).await;
    }
}

impl Press {
    pub(super) fn of(
        name: &MachineName,
        plant: &Plant,
        actors: &BTreeMap<MachineName, Arc<Actor>>,
        pace: Pace,
        tally: &Arc<Tally>,
    ) -> Self {
        let (mut meters, mut tellers) = (Vec::new(), Vec::new());
        for by in actors.values() {
            for (counter, width, counted) in &by.wired.counters {
                let (of, counts) = plant.counted(&by.name, counter);
                if of == *name {
                    // Only what is read as a total of wipes counts wipes by itself.
                    let counts = if *counted == Counted::Wipes { *counted } else { counts };
                    meters.push(Meter::new(by, None, counter, *width, counts));
                }
            }
            for (counter, width, counts) in &by.for_others.counters {
                meters.push(Meter::new(by, Some(name), counter, *width, *counts));
            }
            if plant.printer_of(&by.name) == *name {
                tellers.extend(told(&by.wired).map(|what| Teller::new(by, None, what)));
            }
            tellers.extend(told(&by.for_others).map(|what| Teller::new(by, Some(name), what)));
        }
        Self {
            name: name.clone(),
            cycle: pace.cycle(plant.fastest_cycle(name)),
            meters,
            own: actors.get(name).cloned(),
            locks: outputs(plant, actors, name, OutputRule::PrintPermit),
            tellers,
            made: AtomicU64::new(0),
            tally: (!plant.on_trial(name)).then(|| Arc::clone(tally)),
        }
    }

    /// Everybody who shows something of it.
    pub(super) fn machines(&self) -> Vec<&Arc<Actor>> {
        let meters = self.meters.iter().map(|meter| &meter.by);
        self.own.iter().chain(meters).chain(self.tellers.iter().map(|teller| &teller.by)).collect()
    }

    /// Has all totals told: what moves under the gateway's eyes has begun somewhere.
    pub(super) async fn switch_on(&self) {
        for meter in &self.meters {
            meter.set(|total| total).await;
        }
    }

    /// Makes strokes with what is in it. Stops when a lock has refused for `patience`, or when it
    /// shall not go on. Gives the strokes made.
    pub(super) async fn make(
        &self,
        seat: Option<&StencilCode>,
        strokes: u64,
        patience: Duration,
        go_on: impl Fn() -> bool,
    ) -> u64 {
        let mut beat = interval(self.cycle);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        beat.tick().await;
        for made in 0..strokes {
            if let Some(own) = &self.own {
                own.powered().await;
            }
            if !self.permitted(patience).await || !go_on() {
                return made;
            }
            beat.tick().await;
            self.stroke(seat).await;
        }
        strokes
    }

    async fn permitted(&self, patience: Duration) -> bool {
        for lock in &self.locks {
            let mut lock = lock.clone();
            let permits = timeout(patience, lock.wait_for(|permits| *permits)).await;
            if !permits.is_ok_and(|permits| permits.is_ok()) {
                return false;
            }
        }
        true
    }

    async fn stroke(&self, seat: Option<&StencilCode>) {
        match (&self.tally, seat) {
            (Some(tally), Some(code)) => tally.stroke(&self.name, code),
            (Some(tally), None) => tally.stroke_of_nobody(&self.name),
            (None, _) => {}
        }
        let wipes = self.made.fetch_add(1, Ordering::SeqCst).is_multiple_of(STROKES_FOR_A_WIPE);
        for meter in self.meters.iter().filter(|meter| meter.counts == Counted::Strokes || wipes) {
            meter.set(|total| total.wrapping_add(1)).await;
        }
        for teller in self.tellers.iter().filter(|teller| teller.what != What::Wipe || wipes) {
            teller.tell(self.cycle).await;
        }
    }
}

impl Meter {
    fn new(
        by: &Arc<Actor>,
        of: Option<&MachineName>,
        counter: &CounterName,
        width: Width,
        counts: Counted,
    ) -> Self {
        let (by, of, counter) = (Arc::clone(by), of.cloned(), counter.clone());
        Self { by, of, counter, width, counts, total: AtomicU64::new(0) }
    }
}

impl Teller {
    fn new(by: &Arc<Actor>, of: Option<&MachineName>, what: What) -> Self {
        Self { by: Arc::clone(by), of: of.cloned(), what }
    }

    async fn tell(&self, cycle: Duration) {
        let said = match self.what {
            What::Stroke => Said::StrokesDone { count: 1 },
            What::Wipe => Said::WipesDone { count: 1 },
            What::Board => Said::BoardsCounted { count: 1 },
        };
        // A contact opens and closes whether it is read or not.
        if self.by.wired.read_within.is_some() {
            self.by.say_within(said, cycle * 4 / 5).await;
        } else {
            say(&self.by, self.of.as_ref(), said).await;
        }
    }
}

fn told(wired: &Wired) -> impl Iterator<Item = What> {
    let all =
        [(wired.strokes, What::Stroke), (wired.wipes, What::Wipe), (wired.boards, What::Board)];
    all.into_iter().filter_map(|(is_wired, what)| is_wired.then_some(what))
}

async fn say(by: &Actor, of: Option<&MachineName>, said: Said) {
    match of {
        Some(of) => by.say_of(of, said).await,
        None => {
            by.say(said).await;
        }
    }
}
