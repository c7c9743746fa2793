//! What people do with alarms: who and why is kept, and what cannot be done says so.

use stencilward_domain::alarm::AlarmState;
use stencilward_domain::event::{AlarmChange, AlarmEvent};
use stencilward_domain::site::{AlarmAct, Reply, Request};

use super::hall::{
    WASHER_FAULT, WHO, acknowledge, act, changes, fault, faulty, id, pass, request, reset, shelve,
    standing, state, take_out,
};
use crate::common::words::link_lost;

#[test]
fn who_and_why_is_kept() {
    let mut floor = faulty();
    let comment = Some("on my way".to_owned());
    act(&mut floor, WASHER_FAULT, AlarmAct::Acknowledge { comment: comment.clone() }).unwrap();
    act(&mut floor, WASHER_FAULT, take_out()).unwrap();
    act(&mut floor, WASHER_FAULT, AlarmAct::Return).unwrap();
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Unacknowledged, "it holds still");
    let (by, why) = (WHO.to_owned(), "its sensor is broken".to_owned());
    assert_eq!(
        changes(&floor),
        [
            AlarmChange::Raised,
            AlarmChange::Acknowledged { by: by.clone(), comment },
            AlarmChange::TakenOut { by: by.clone(), why },
            AlarmChange::Returned { by },
        ]
    );
}

#[test]
fn what_cannot_be_done_says_what_to_do_instead() {
    let mut floor = faulty();
    for (does, word) in [
        (reset(), "see to it"),
        (AlarmAct::Unshelve, "not shelved"),
        (AlarmAct::Return, "not out of service"),
        (shelve(0), "for some time, 8 h at the most"),
        (shelve(8 * 3_600 + 1), "for some time, 8 h at the most"),
    ] {
        let why = act(&mut floor, WASHER_FAULT, does.clone()).unwrap_err();
        assert!(why.contains(word), "{does:?}: {why}");
    }
    let never = act(&mut floor, "link-lost:machine:rack", acknowledge()).unwrap_err();
    assert!(never.contains("no such alarm"), "{never}");
    assert_eq!(changes(&floor), [AlarmChange::Raised], "nothing of it is kept");
}

#[test]
fn several_at_once_and_what_cannot_be_does_not_keep_the_others() {
    let mut floor = faulty();
    floor.says("washer-2", fault());
    floor.says("rack", link_lost());
    pass(&mut floor, 121);
    assert_eq!(standing(&floor).len(), 3);
    act(&mut floor, WASHER_FAULT, acknowledge()).unwrap();
    let all = [WASHER_FAULT, "machine-fault:fault:washer-2:E-17", "link-lost:machine:rack"];
    let alarms = all.map(id).into_iter().chain([id(WASHER_FAULT)]).collect();
    let reply = floor.ask(&Request::Alarms { alarms, act: acknowledge(), by: WHO.to_owned() });
    let Reply::Alarms { refused, event } = reply else { unreachable!("{reply:?}") };
    assert_eq!(refused.len(), 1);
    assert!(refused[0].1.contains("already"), "{refused:?}");
    assert_eq!(event, floor.site.state().head);
    assert!(standing(&floor).iter().all(|alarm| alarm.ends_with(" acknowledged")));
}

#[test]
fn a_comment_changes_nothing_but_the_history() {
    let mut floor = faulty();
    let comment = "the pump is on order".to_owned();
    act(&mut floor, WASHER_FAULT, AlarmAct::Comment { comment: comment.clone() }).unwrap();
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Unacknowledged);
    let alarm = &floor.site.state().alarms.all[&id(WASHER_FAULT)];
    let said = AlarmEvent::Commented { id: id(WASHER_FAULT), by: WHO.to_owned(), comment };
    assert_eq!(alarm.history.back().map(|entry| &entry.happened), Some(&said));
}

#[test]
fn a_history_is_kept_short_and_the_latest_stay() {
    let mut floor = faulty();
    for number in 0..100 {
        floor.does(&request(WASHER_FAULT, AlarmAct::Comment { comment: format!("{number}") }));
    }
    let history = &floor.site.state().alarms.all[&id(WASHER_FAULT)].history;
    assert_eq!(history.len(), 20);
    assert!(matches!(
        history.back().map(|entry| &entry.happened),
        Some(AlarmEvent::Commented { comment, .. }) if comment == "99"
    ));
}
