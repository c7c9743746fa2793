//! Carries out the lines that a person types.

use std::sync::Arc;
use std::time::Duration;

use stencilward_adapters::simulated::Fault;
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::Said;
use tokio::sync::Mutex;
use tokio::task::JoinSet;
use tokio::time::sleep;

use super::floor::Floor;
use super::people::Visit;
use super::routine::work;
use super::script::{Act, Deed, HELP, Line, read};
use crate::plant::Plant;

/// The person at the keyboard.
pub(super) struct Hand {
    pub(super) floor: Arc<Floor>,
    pub(super) plant: Arc<Plant>,
    /// Machines do what they are told, one thing after the other; else they follow their routine.
    pub(super) by_hand: bool,
    acts: Mutex<JoinSet<()>>,
}

impl Hand {
    pub(super) fn new(floor: Arc<Floor>, plant: Arc<Plant>, by_hand: bool) -> Self {
        Self { floor, plant, by_hand, acts: Mutex::default() }
    }

    /// Carries out a line and answers it; true when it ends the rehearsal.
    pub(super) async fn carry_out(&self, text: &str) -> bool {
        let names: Vec<MachineName> = self.floor.plant.machines.keys().cloned().collect();
        match read(text, &names) {
            Ok(None) => {}
            Ok(Some(Line::End)) => {
                self.acts_done().await;
                return true;
            }
            Ok(Some(Line::Help)) => println!("{HELP}"),
            Ok(Some(Line::Wait(span))) => {
                let _ = self.floor.closing.run_until_cancelled(sleep(span)).await;
            }
            Ok(Some(Line::Broker { name, on })) => self.broker(&name, on).await,
            Ok(Some(Line::Machine(machine, deed))) => self.machine(&machine, deed).await,
            Err(why) => self.say("you", &why),
        }
        false
    }

    async fn acts_done(&self) {
        let mut acts = self.acts.lock().await;
        while acts.join_next().await.is_some() {}
    }

    fn say(&self, who: &str, what: &str) {
        self.floor.narrator.say(who, what);
    }

    async fn broker(&self, name: &str, on: bool) {
        let told = match self.plant.switch_broker(name, on).await {
            Ok(true) if on => format!("{name} is there again, with all it kept"),
            Ok(true) => format!("{name} is gone; `broker {name} on` brings it back"),
            Ok(false) => {
                let names: Vec<&str> = self.plant.brokers().collect();
                let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
                format!("there is no {name}; the file has: {names}")
            }
            Err(why) => format!("{name} does not come back: {why}; try again"),
        };
        self.say("broker", &told);
    }

    async fn machine(&self, machine: &MachineName, deed: Deed) {
        if let Deed::Does(act) = deed {
            return self.act(machine, act).await;
        }
        let told = match deed {
            Deed::Suffers(fault) => self.suffers(machine, fault).await,
            Deed::Misreads => self.misreads(machine).await,
            Deed::RestartsCounting => self.counts(machine, |_| 0, "begins to count at zero").await,
            Deed::Jumps(by) => {
                let told = format!("counts {by} that nobody made");
                self.counts(machine, |total| total.wrapping_add(by), &told).await
            }
            Deed::IsWell => {
                self.heal(machine).await;
                "is well again".to_owned()
            }
            Deed::Does(_) => return,
        };
        self.say(machine.as_str(), &told);
    }

    async fn suffers(&self, machine: &MachineName, fault: Fault) -> String {
        let Some(actor) = self.floor.actors.get(machine) else {
            return NO_PROTOCOL.to_owned();
        };
        match actor.suffer(fault).await {
            Ok(()) => told(fault),
            Err(why) => format!("cannot: {why}"),
        }
    }

    async fn misreads(&self, machine: &MachineName) -> String {
        match (self.floor.actors.get(machine), self.floor.seat_of(machine)) {
            (None, _) => NO_PROTOCOL.to_owned(),
            (Some(actor), _) if !actor.wired.seat => {
                "cannot: the file maps no stencil-seated of it".to_owned()
            }
            (Some(actor), seat) => {
                actor.garble(true);
                if let Some(code) = seat {
                    actor.say(Said::Seated { code }).await;
                }
                "misreads every stencil's code from now on".to_owned()
            }
        }
    }

    async fn counts(
        &self,
        machine: &MachineName,
        change: impl Fn(u64) -> u64,
        told: &str,
    ) -> String {
        let presses = self.floor.presses.values();
        let kept = presses.flat_map(|press| press.meters.iter());
        let kept: Vec<_> = kept.filter(|meter| meter.keeper() == machine).collect();
        for meter in &kept {
            meter.set(&change).await;
        }
        if kept.is_empty() {
            return "cannot: the file maps no total of it".to_owned();
        }
        told.to_owned()
    }

    /// Ends every fault of a machine.
    pub(super) async fn heal(&self, machine: &MachineName) {
        let Some(actor) = self.floor.actors.get(machine) else { return };
        let mut ended = vec![
            Fault::Silent(false),
            Fault::Late(Duration::ZERO),
            Fault::Refusing(None),
            Fault::Disobeying(false),
        ];
        ended.extend((!actor.has_power()).then_some(Fault::Off(false)));
        for fault in ended {
            // One that it cannot have, it does not have.
            let _ = actor.suffer(fault).await;
        }
        if actor.garble(false)
            && let Some(code) = self.floor.seat_of(machine)
        {
            actor.say(Said::Seated { code }).await;
        }
    }

    async fn act(&self, machine: &MachineName, act: Act) {
        if !self.by_hand {
            let told = "works by itself here: start the rehearsal with --by-hand to tell it";
            return self.say(machine.as_str(), told);
        }
        let (floor, machine) = (Arc::clone(&self.floor), machine.clone());
        let mut acts = self.acts.lock().await;
        // One machine's acts wait for each other, in the order of the lines.
        let turn = floor.turns.get(&machine).map(|turn| Arc::clone(turn).lock_owned());
        acts.spawn(async move {
            let _turn = match turn {
                Some(turn) => Some(turn.await),
                None => None,
            };
            let told = perform(&floor, &machine, act).await;
            floor.narrator.say(machine.as_str(), &told);
        });
        while acts.try_join_next().is_some() {}
    }
}

const NO_PROTOCOL: &str = "cannot: it speaks no protocol of its own, others tell of it";

fn told(fault: Fault) -> String {
    match fault {
        Fault::Off(true) => "has no power".to_owned(),
        Fault::Off(false) => "has power again; its outputs are as after a power cut".to_owned(),
        Fault::Silent(_) => "says nothing from now on".to_owned(),
        Fault::Late(by) => format!("says everything {by:?} later"),
        Fault::Refusing(code) => {
            format!("answers everything with exception {:02X}", code.unwrap_or_default())
        }
        Fault::Cut => "has its connections cut".to_owned(),
        Fault::Disobeying(_) => "does not follow its outputs from now on".to_owned(),
        Fault::Repeating(times) => format!("says the last thing again, {times} times"),
        Fault::Flooding(times) => format!("sends {times} messages that mean nothing"),
    }
}

/// Does it, and says what was done.
async fn perform(floor: &Floor, machine: &MachineName, act: Act) -> String {
    match act {
        Act::Seats(code) => {
            floor.seat(machine, Some(&code)).await;
            format!("was given {code}")
        }
        Act::Empties => {
            floor.seat(machine, None).await;
            "was emptied".to_owned()
        }
        Act::Prints(strokes) => prints(floor, machine, strokes).await,
        Act::Begins(order, boards) => {
            let spec = floor.spec(order, floor.seat_of(machine).as_ref(), boards);
            floor.begin(machine, &spec).await;
            format!("was told to begin {}", spec.order)
        }
        Act::Finishes(order, boards) => {
            floor.finish(machine, &order, boards).await;
            format!("was told to finish {order}")
        }
        Act::Washes(code, outcome) => match floor.actors.get(machine) {
            Some(washer) if washer.wired.washes => {
                floor.wash_in(washer, &code, outcome).await;
                format!("has washed {code}: {}", outcome.as_str())
            }
            _ => "cannot: the file maps no washes of it".to_owned(),
        },
        Act::Stores(code, slot) => visited(floor.store(&code, slot).await, &code, "stored"),
        Act::Takes(code) => visited(floor.take(&code, None).await, &code, "taken"),
        Act::Releases(order, boards) => {
            let spec = floor.spec(order, None, boards);
            floor.release(&spec).await;
            format!("was told to release {}", spec.order)
        }
    }
}

async fn prints(floor: &Floor, machine: &MachineName, strokes: u64) -> String {
    let Some(press) = floor.presses.get(machine) else {
        return "cannot: it is no printer".to_owned();
    };
    match floor.seat_of(machine) {
        Some(code) => {
            let made = work(floor, press, &code, strokes).await;
            format!("is done: {made} of {strokes} strokes")
        }
        None => {
            let made = press.make(None, strokes, Duration::from_secs(5), || floor.is_open()).await;
            format!("has made {made} strokes with nothing in it")
        }
    }
}

fn visited(visit: Visit, code: &impl std::fmt::Display, done: &str) -> String {
    match visit {
        Visit::Done => format!("{code} is {done}"),
        Visit::Refused => format!("{code} is not {done}: refused"),
        Visit::Stuck(why) => format!("{code} is not {done}: {why}"),
    }
}
