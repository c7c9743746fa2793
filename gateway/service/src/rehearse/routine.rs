//! What happens by itself: each printer prints with its stencils in turn, as in a shift; what a
//! machine can say besides, it says now and then.

use std::sync::Arc;
use std::time::Duration;

use stencilward_domain::event::BasisKind;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::signal::{MachineState, Said};
use stencilward_domain::site::Request;
use tokio::task::JoinSet;
use tokio::time::sleep;

use super::floor::{Floor, PERSON};
use super::people::Visit;
use super::press::Press;

/// Strokes of one run.
const RUN: u64 = 12;

/// Stencils that a printer works with.
const STENCILS_EACH: usize = 3;

/// A printer whose lock stays shut this long is given another stencil.
const PATIENCE: Duration = Duration::from_secs(20);

/// Before a printer that may print with nothing tries again.
const REST: Duration = Duration::from_secs(5);

/// From one thing that is said now and then to the next.
const NOW_AND_THEN: Duration = Duration::from_secs(6);

/// Starts everybody's work. It ends soon after the floor closes.
pub(super) fn begin(floor: &Arc<Floor>) -> JoinSet<()> {
    let mut work = JoinSet::new();
    let stencils: Vec<&StencilCode> = floor.plant.stencils.keys().collect();
    let printers = floor.presses.len().max(1);
    for (at, printer) in floor.presses.keys().enumerate() {
        let own = stencils.iter().skip(at).step_by(printers).take(STENCILS_EACH);
        let own: Vec<StencilCode> = own.map(|code| (*code).clone()).collect();
        work.spawn(line(Arc::clone(floor), printer.clone(), own));
    }
    work.spawn(small_talk(Arc::clone(floor)));
    work
}

/// One printer and its stencils.
async fn line(floor: Arc<Floor>, printer: MachineName, stencils: Vec<StencilCode>) {
    let Some(press) = floor.presses.get(&printer) else { return };
    press.switch_on().await;
    if floor.plant.on_trial(&printer) {
        return try_out(&floor, press, &stencils).await;
    }
    for code in &stencils {
        let clean = floor.plant.stencils.get(code).is_some_and(|listed| listed.clean);
        if !floor.is_open() {
            return;
        }
        if clean || floor.wash(code).await {
            put_away(&floor, code).await;
        }
    }
    while floor.is_open() {
        let mut printed = false;
        for code in &stencils {
            if floor.is_open() {
                printed |= run_with(&floor, press, code).await;
            }
        }
        if !printed && floor.is_open() {
            floor.narrator.say(printer.as_str(), "has no stencil that it may print with now");
            rest(&floor, REST).await;
        }
    }
}

/// Prints on trial: nothing is asked for, and nothing follows from it.
async fn try_out(floor: &Floor, press: &Press, stencils: &[StencilCode]) {
    let Some(code) = stencils.first() else { return };
    while floor.is_open() {
        floor.seat(&press.name, Some(code)).await;
        work(floor, press, code, RUN).await;
        floor.seat(&press.name, None).await;
    }
}

/// Takes a stencil, prints with it, washes it and puts it away; false when it was not let go.
/// What cannot be washed stays where it is and is printed with.
async fn run_with(floor: &Floor, press: &Press, code: &StencilCode) -> bool {
    let order = floor.order_for(&press.name, code, RUN).await;
    match floor.take(code, order.as_ref().map(|spec| &spec.order)).await {
        Visit::Done => {}
        Visit::Refused => return false,
        Visit::Stuck(why) => {
            floor.narrator.say(press.name.as_str(), &format!("{code} is not taken: {why}"));
            return false;
        }
    }
    sleep(floor.pace.walk()).await;
    floor.seat(&press.name, Some(code)).await;
    if let Some(spec) = &order {
        floor.begin(&press.name, spec).await;
    }
    let made = work(floor, press, code, RUN).await;
    if let Some(spec) = &order {
        floor.finish(&press.name, &spec.order, Some(made)).await;
    }
    if !floor.is_open() {
        return true;
    }
    floor.settle(&press.machines()).await;
    floor.seat(&press.name, None).await;
    if floor.wash(code).await {
        put_away(floor, code).await;
    }
    made > 0
}

async fn put_away(floor: &Floor, code: &StencilCode) {
    if !floor.homes.contains_key(code) {
        return;
    }
    if let Visit::Stuck(why) = floor.store(code, None).await {
        floor.narrator.say("rack", &format!("{code} is not stored: {why}"));
    }
}

/// Makes strokes, and tells what the machine does meanwhile.
pub(super) async fn work(floor: &Floor, press: &Press, code: &StencilCode, strokes: u64) -> u64 {
    state(floor, press, MachineState::Running).await;
    let made = press.make(Some(code), strokes, PATIENCE, || floor.is_open()).await;
    state(floor, press, MachineState::Idle).await;
    if !floor.is_open() && made == 0 {
        return made;
    }
    let text = match made {
        0 => format!("prints nothing with {code}: it is not permitted to"),
        _ => format!("has made {made} strokes with {code}"),
    };
    floor.narrator.say(press.name.as_str(), &text);
    enter(floor, press, code, made).await;
    made
}

/// Where people count, they enter what was made.
async fn enter(floor: &Floor, press: &Press, code: &StencilCode, made: u64) {
    let spec = floor.plant.machines.get(&press.name);
    let by_hand = spec.is_some_and(|spec| spec.bases.book.contains(&BasisKind::Hand));
    if by_hand && made > 0 && !floor.plant.on_trial(&press.name) {
        let (stencil, machine) = (code.clone(), press.name.clone());
        let (by, why) = (PERSON.to_owned(), "counted by hand".to_owned());
        floor.ask(Request::Enter { stencil, machine, strokes: made, by, why }).await;
    }
}

async fn state(floor: &Floor, press: &Press, state: MachineState) {
    if let Some(actor) = floor.actors.get(&press.name)
        && actor.wired.states.contains(&state)
    {
        let word = String::new();
        actor.say(Said::State { state, word }).await;
    }
}

/// States of the others, faults, and values that are measured.
async fn small_talk(floor: Arc<Floor>) {
    let stencils: Vec<StencilCode> = floor.plant.stencils.keys().cloned().collect();
    let mut stencils = stencils.iter().cycle();
    let mut round = 0;
    while floor.is_open() {
        for actor in floor.actors.values() {
            // Each fault once: it is there to be seen, not to be in the way.
            if let Some((code, text)) = actor.wired.faults.get(round) {
                let (code, text) = (code.clone(), text.clone());
                actor.say(Said::FaultRaised { code: code.clone(), text }).await;
                rest(&floor, actor.wired.read_within.unwrap_or(REST / 5)).await;
                actor.say(Said::FaultEnded { code }).await;
            }
            if !floor.presses.contains_key(&actor.name)
                && let Some(state) = of_round(&actor.wired.states, round)
            {
                let word = String::new();
                actor.say(Said::State { state: *state, word }).await;
            }
            if let Some((quantity, unit)) = of_round(&actor.wired.measures, round) {
                let code = stencils.next().filter(|_| actor.wired.names_measured).cloned();
                let measurement = floor.value(quantity, unit);
                actor.say(Said::Measured { code, measurement }).await;
            }
        }
        round += 1;
        rest(&floor, NOW_AND_THEN.div_f64(floor.pace.speed)).await;
    }
}

fn of_round<T>(all: &[T], round: usize) -> Option<&T> {
    all.get(round.checked_rem(all.len())?)
}

/// Waits, unless the floor closes.
async fn rest(floor: &Floor, span: Duration) {
    let _ = floor.closing.run_until_cancelled(sleep(span)).await;
}
