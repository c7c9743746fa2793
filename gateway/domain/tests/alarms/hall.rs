//! Short words for what the tests of alarms say and look at.

use std::time::Duration;

use stencilward_domain::alarm::{AlarmId, AlarmState, Priority};
use stencilward_domain::event::{AlarmChange, AlarmEvent, Event};
use stencilward_domain::signal::Said;
use stencilward_domain::site::{AlarmAct, Reply, Request};

use crate::common::floor::Floor;
use crate::common::plant::NAMER;
use crate::common::words::{link_lost, link_up, machine, reads, seated};

pub(crate) const WHO: &str = "M. Example";

pub(crate) fn id(text: &str) -> AlarmId {
    text.parse().expect("an alarm's id")
}

/// The alarms that stand, as `id state`.
pub(crate) fn standing(floor: &Floor) -> Vec<String> {
    let shown = floor.site.active_alarms(floor.now);
    shown.iter().map(|alarm| format!("{} {}", alarm.id, alarm.state.as_str())).collect()
}

pub(crate) fn state(floor: &Floor, alarm: &str) -> AlarmState {
    floor.site.state().alarms.state(&id(alarm))
}

pub(crate) fn priority(floor: &Floor, alarm: &str) -> Priority {
    let shown = floor.site.active_alarms(floor.now);
    shown.iter().find(|shown| shown.id == alarm).expect("it stands").priority
}

pub(crate) fn text(floor: &Floor, alarm: &str) -> String {
    let shown = floor.site.active_alarms(floor.now);
    shown.iter().find(|shown| shown.id == alarm).expect("it stands").text.to_string()
}

/// So many seconds pass, each with its tick.
pub(crate) fn pass(floor: &mut Floor, seconds: i64) {
    for _ in 0..seconds {
        floor.after(1).tick();
    }
}

pub(crate) fn fault() -> Said {
    Said::FaultRaised { code: "E-17".to_owned(), text: "pump off".to_owned() }
}

pub(crate) fn fault_gone() -> Said {
    Said::FaultEnded { code: "E-17".to_owned() }
}

pub(crate) const WASHER_FAULT: &str = "machine-fault:fault:washer:E-17";

/// The alarm of [`restarted_unseen`].
pub(crate) const RESTARTED: &str = "counter-restarted:counter:namer:total";

/// A printer's counter began anew while nobody heard it, and the alarm of that is raised.
pub(crate) fn restarted_unseen() -> Floor {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, reads(500));
    floor.says(NAMER, link_lost());
    floor.after(3_600).says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, reads(7));
    pass(&mut floor, 1);
    floor
}

/// A floor on which the washer's fault has been raised.
pub(crate) fn faulty() -> Floor {
    let mut floor = Floor::new();
    floor.says("washer", fault());
    pass(&mut floor, 6);
    assert_eq!(standing(&floor), [format!("{WASHER_FAULT} unacknowledged")]);
    floor
}

pub(crate) fn request(alarm: &str, act: AlarmAct) -> Request {
    Request::Alarms { alarms: vec![id(alarm)], act, by: WHO.to_owned() }
}

/// What is done with one alarm, or why not.
pub(crate) fn act(floor: &mut Floor, alarm: &str, act: AlarmAct) -> Result<(), String> {
    match floor.ask(&request(alarm, act)) {
        Reply::Alarms { refused, .. } => {
            refused.into_iter().next().map_or(Ok(()), |(_, why)| Err(why))
        }
        other => unreachable!("{other:?}"),
    }
}

pub(crate) fn acknowledge() -> AlarmAct {
    AlarmAct::Acknowledge { comment: None }
}

pub(crate) fn reset() -> AlarmAct {
    AlarmAct::Reset { comment: None }
}

pub(crate) fn shelve(seconds: u64) -> AlarmAct {
    AlarmAct::Shelve { span: Duration::from_secs(seconds), why: "a part is ordered".to_owned() }
}

pub(crate) fn take_out() -> AlarmAct {
    AlarmAct::TakeOut { why: "its sensor is broken".to_owned() }
}

pub(crate) fn maintain(name: &str) -> Request {
    let why = "a new pump".to_owned();
    Request::BeginMaintenance { machine: machine(name), by: WHO.to_owned(), why }
}

pub(crate) fn maintained(name: &str) -> Request {
    Request::EndMaintenance { machine: machine(name), by: WHO.to_owned() }
}

/// The changes of alarms in the ledger, in order.
pub(crate) fn changes(floor: &Floor) -> Vec<AlarmChange> {
    let events = floor.ledger.iter().filter_map(|recorded| match &recorded.fact.event {
        Event::Alarm(AlarmEvent::Moved(moved)) => Some(moved.change.clone()),
        _ => None,
    });
    events.collect()
}
