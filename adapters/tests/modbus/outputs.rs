//! Outputs: written, read back, written again; and refused when the gateway ends.

use std::sync::Arc;

use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::modbus::{BitTable, RegisterTable};
use stencilward_adapters::simulated::Simulated;
use stencilward_domain::signal::Said;

use crate::support::{Gateway, machine, output, polled, settings, until, wanted, within};

fn lock(on_permit: bool) -> Value {
    json!([
        { "name": "lock", "drive": "print-permit", "table": "coil", "at": 3, "on-permit": on_permit },
        { "name": "alive", "drive": "heartbeat", "table": "holding", "at": 50 },
    ])
}

fn counter() -> Value {
    json!([{ "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" }])
}

#[tokio::test]
async fn a_permit_is_written_read_back_and_taken_back_at_once() {
    for on_permit in [true, false] {
        let outputs = lock(on_permit);
        let (machine, _) = machine(&counter(), &outputs).await;
        // Rounds so rare that only a change of what is wanted can be the cause.
        let settings = polled("1h", machine.local_addr(), &counter(), &outputs);
        let mut shown = machine.output(&output("lock")).unwrap();
        assert!(!*shown.borrow(), "an output refuses until it is written");
        let mut gateway = Gateway::start(settings);
        gateway.hear_up().await;
        for (beat, permitted) in [(1, vec!["lock"]), (2, vec![]), (3, vec!["lock"])] {
            gateway.wanted.send_replace(wanted(beat, &permitted));
            let is = !permitted.is_empty();
            within("the output", shown.wait_for(|shown| *shown == is)).await.unwrap();
            let coil = machine.bit(BitTable::Coil, 3);
            assert_eq!(coil, Some(is == on_permit));
            let alive = || machine.register(RegisterTable::Holding, 50) == Some(beat as u16);
            until("the heartbeat", alive).await;
            let notes = &gateway.notes;
            until("the read back", || notes.last("lock") == Some((is, Some(is)))).await;
        }
        assert_eq!(gateway.notes.troubles(Trouble::Disobeyed), Vec::<String>::new());
        gateway.stop().await;
        assert!(!*shown.borrow(), "the end of the gateway refuses");
    }
}

#[tokio::test]
async fn the_first_thing_on_a_connection_is_to_refuse_what_is_not_wanted() {
    let (machine, settings) = machine(&json!([]), &lock(true)).await;
    machine.set_bits(BitTable::Coil, 3, &[true]);
    let gateway = Gateway::start(settings);
    until("the refusal", || machine.bit(BitTable::Coil, 3) == Some(false)).await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_machine_that_was_without_power_is_told_again() {
    for on_permit in [true, false] {
        let (machine, settings) = machine(&counter(), &lock(on_permit)).await;
        let permitted: &[&str] = if on_permit { &["lock"] } else { &[] };
        let mut gateway = Gateway::wanting(settings, wanted(7, permitted));
        let told = || {
            machine.bit(BitTable::Coil, 3) == Some(true)
                && machine.register(RegisterTable::Holding, 50) == Some(7)
        };
        gateway.hear_up().await;
        until("the output", told).await;
        machine.close().await;
        machine.forget_outputs();
        gateway.hear_lost().await;
        machine.open().await.unwrap();
        until("the output after the restart", told).await;
        gateway.stop().await;
    }
}

#[tokio::test]
async fn a_coil_that_somebody_else_sets_is_set_back_in_the_next_round() {
    let (machine, settings) = machine(&counter(), &lock(true)).await;
    let mut gateway = Gateway::start(settings);
    gateway.hear_up().await;
    machine.set_bits(BitTable::Coil, 3, &[true]);
    until("the refusal", || machine.bit(BitTable::Coil, 3) == Some(false)).await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_machine_that_does_not_obey_is_told_of() {
    let read_back = json!({ "table": "discrete", "at": 9 });
    for read_back in [json!(null), read_back] {
        let outputs = json!([{ "name": "lock", "drive": "door-release", "table": "coil", "at": 3,
            "read-back": read_back }]);
        let (machine, settings) = machine(&json!([]), &outputs).await;
        machine.disobey(true);
        let gateway = Gateway::wanting(settings, wanted(0, &["lock"]));
        let notes = gateway.notes.clone();
        until("the disobedience", || !notes.troubles(Trouble::Disobeyed).is_empty()).await;
        assert_eq!(notes.last("lock"), Some((true, Some(false))));
        machine.disobey(false);
        until("the obedience", || notes.last("lock") == Some((true, Some(true)))).await;
        gateway.stop().await;
    }
}

#[tokio::test]
async fn an_output_that_the_machine_does_not_have_does_not_stop_the_counting() {
    let (machine, _) = machine(&counter(), &json!([])).await;
    let mut gateway = Gateway::start(settings(machine.local_addr(), &counter(), &lock(true)));
    let up = gateway.hear_up().await;
    assert!(matches!(up[1], Said::CounterRead { .. }), "{up:?}");
    let notes = gateway.notes.clone();
    until("the trouble", || !notes.troubles(Trouble::Exception).is_empty()).await;
    assert_eq!(notes.last("lock"), Some((false, None)));
    gateway.stop().await;
}

#[tokio::test]
async fn a_full_intake_keeps_no_output_waiting() {
    let (machine, settings) = machine(&counter(), &lock(true)).await;
    let mut gateway = Gateway::start(settings);
    let mut shown = machine.output(&output("lock")).unwrap();
    // Nobody takes a delivery: the intake is full after a few rounds.
    for beat in 1..40 {
        let permitted: &[&str] = if beat % 2 == 1 { &["lock"] } else { &[] };
        gateway.wanted.send_replace(wanted(beat, permitted));
        let is = !permitted.is_empty();
        within("the output", shown.wait_for(|shown| *shown == is)).await.unwrap();
    }
    machine.set_registers(RegisterTable::Input, 0, &[99]);
    let counted = |said: &Said| matches!(said, Said::CounterRead { raw: 99, .. });
    gateway.hear("the newest count", counted).await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_full_intake_keeps_no_link_from_coming_back() {
    let (machine, settings) = machine(&counter(), &lock(false)).await;
    let mut gateway = Gateway::wanting(settings, wanted(7, &[]));
    let refused = || {
        machine.bit(BitTable::Coil, 3) == Some(true)
            && machine.register(RegisterTable::Holding, 50) == Some(7)
    };
    gateway.hear_up().await;
    // Nobody takes a delivery, whatever becomes of the link.
    for _ in 0..2 {
        machine.close().await;
        machine.forget_outputs();
        machine.open().await.unwrap();
        until("the refusal after the restart", refused).await;
    }
    gateway.hear_lost().await;
    gateway.hear_up().await;
    gateway.stop().await;
}

#[tokio::test]
async fn when_nobody_is_left_to_want_anything_everything_is_refused() {
    let (machine, settings) = machine(&counter(), &lock(true)).await;
    let mut gateway = Gateway::wanting(settings, wanted(1, &["lock"]));
    let mut shown = machine.output(&output("lock")).unwrap();
    within("the permit", shown.wait_for(|shown| *shown)).await.unwrap();
    let (unused, _) = tokio::sync::watch::channel(Arc::default());
    drop(std::mem::replace(&mut gateway.wanted, unused));
    gateway.hear_up().await;
    within("the refusal", async {
        loop {
            tokio::select! {
                refused = shown.wait_for(|shown| !*shown) => return refused.map(|_| ()).unwrap(),
                _ = gateway.next() => {}
            }
        }
    })
    .await;
    gateway.stop().await;
}
