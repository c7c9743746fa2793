//! How alarms are set: what is read from it, and what is wrong with it.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::time::Duration;

use stencilward_domain::alarm::{AlarmKind, AlarmPolicy, KindPolicy, Priority};

fn plant(alarms: &str) -> String {
    format!("site: Invented Works\npolicy:\n  alarms: {alarms}\n")
}

fn policy(alarms: &str) -> AlarmPolicy {
    stencilward_config::parse("plant.yaml", &plant(alarms)).unwrap().plant().policy.alarms
}

fn faults(alarms: &str) -> Vec<String> {
    let found = stencilward_config::parse("plant.yaml", &plant(alarms)).unwrap_err();
    found.into_iter().map(|fault| fault.path).collect()
}

#[test]
fn what_is_not_set_is_as_usual() {
    assert_eq!(policy("{}"), AlarmPolicy::default());
    assert_eq!(policy("{ link-lost: {} }"), AlarmPolicy::default());
}

#[test]
fn what_is_set_changes_that_and_nothing_else() {
    let set = policy(
        "{ shelve-at-most: 2h, operators: 3, link-lost: { on-delay: 5min, priority: critical }, \
         bases-disagree: { enabled: false }, strokes-unattributed: { limit: 100, deadband: 20 } }",
    );
    assert_eq!((set.shelve_at_most, set.operators), (Duration::from_secs(7_200), 3));
    let usual = KindPolicy::usual(AlarmKind::LinkLost);
    let (on_delay, priority) = (Duration::from_secs(300), Priority::Critical);
    assert_eq!(set.of(AlarmKind::LinkLost), KindPolicy { on_delay, priority, ..usual });
    assert!(!set.of(AlarmKind::BasesDisagree).enabled);
    let strokes = set.of(AlarmKind::StrokesUnattributed);
    assert_eq!((strokes.limit, strokes.deadband), (100, 20));
    assert_eq!(set.of(AlarmKind::WashFailed), KindPolicy::usual(AlarmKind::WashFailed));
}

#[test]
fn each_fault_is_told_with_its_key() {
    for (alarms, key) in [
        ("{ shelve-at-most: 0s }", "shelve-at-most"),
        ("{ operators: 0 }", "operators"),
        ("{ link-loss: {} }", "link-loss"),
        ("{ link-lost: { off-delay: 500ms } }", "link-lost.off-delay"),
        ("{ link-lost: { re-alarm: 1s } }", "link-lost.re-alarm"),
        ("{ wash-overdue: { climb: 1s } }", "wash-overdue.climb"),
        ("{ link-lost: { limit: 2 } }", "link-lost.limit"),
        ("{ intake-full: { limit: 30 } }", "intake-full.deadband"),
        ("{ intake-full: { deadband: 90 } }", "intake-full.deadband"),
        ("{ counter-restarted: { latching: false } }", "counter-restarted.latching"),
        ("{ link-lost: { priority: urgent } }", "link-lost.priority"),
    ] {
        assert_eq!(faults(alarms), [format!("policy.alarms.{key}")], "{alarms}");
    }
}
