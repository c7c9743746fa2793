//! Peers that refuse, keep still, leave, talk nonsense, and come back.

use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::modbus::{Machine, RegisterTable};
use stencilward_domain::signal::Said;
use tokio::io::AsyncWriteExt;

use crate::support::{Gateway, Peer, machine, settings, until, within};

const READ: [u8; 5] = [0x04, 0x00, 0x00, 0x00, 0x01];
const TEN: [u8; 4] = [0x04, 0x02, 0x00, 0x0A];

fn counter() -> Value {
    json!([{ "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" }])
}

fn count(said: &[Said]) -> Option<u64> {
    said.iter().find_map(|said| match said {
        Said::CounterRead { raw, .. } => Some(*raw),
        _ => None,
    })
}

#[tokio::test]
async fn a_machine_that_is_switched_off_is_lost_once_and_comes_back() {
    let (machine, settings) = machine(&counter(), &json!([])).await;
    machine.close().await;
    let mut gateway = Gateway::start(settings);
    let why = gateway.hear_lost().await;
    assert!(why.contains("switched on"), "{why}");
    let notes = gateway.notes.clone();
    until("a second attempt", || notes.troubles(Trouble::Refused).len() > 1).await;
    machine.set_registers(RegisterTable::Input, 0, &[10]);
    machine.open().await.unwrap();
    let next = gateway.next().await;
    assert_eq!(next[0], Said::LinkUp { resumed: false }, "one link-lost only");
    assert_eq!(count(&next), Some(10));
    machine.close().await;
    let why = gateway.hear_lost().await;
    assert!(why.contains("closed the connection"), "{why}");
    machine.open().await.unwrap();
    gateway.hear_up().await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_machine_that_takes_connections_and_never_answers_is_never_up() {
    let (machine, settings) = machine(&counter(), &json!([])).await;
    machine.be_silent(true);
    let mut gateway = Gateway::start(settings);
    let why = match gateway.next().await.as_slice() {
        [Said::LinkLost { why }] => why.clone(),
        other => panic!("{other:?}"),
    };
    assert!(why.contains("reading 1 input registers from 0"), "{why}");
    machine.be_silent(false);
    assert_eq!(gateway.next().await[0], Said::LinkUp { resumed: false });
    gateway.stop().await;
}

#[tokio::test]
async fn a_late_answer_is_not_taken_for_the_answer_to_another_question() {
    let peer = Peer::listen().await;
    let points = json!([
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" },
        { "signal": "stroke-total", "table": "input", "at": 2, "type": "u16", "counter": "other" },
    ]);
    let mut gateway = Gateway::start(settings(peer.address(), &points, &json!([])));
    let mut connection = peer.accept().await;
    let (transaction, unit, _) = connection.frame().await.unwrap();
    gateway.hear_lost().await;
    // The link gave up and closed; the answer has nowhere to go.
    let _ = connection.0.write_all(&[0, transaction as u8, 0, 0, 0, 5, unit, 4, 2, 0, 99]).await;
    assert_eq!(connection.frame().await, None, "nothing more is asked here");
    let mut connection = peer.accept().await;
    connection.expect(&READ, &TEN).await;
    connection.expect(&[4, 0, 2, 0, 1], &[4, 2, 0, 11]).await;
    let said = gateway.hear_up().await;
    let counts = said.iter().filter_map(|said| count(std::slice::from_ref(said)));
    assert_eq!(counts.collect::<Vec<u64>>(), [10, 11]);
    gateway.stop().await;
}

#[tokio::test]
async fn a_slow_machine_is_lost_and_found() {
    let (machine, settings) = machine(&counter(), &json!([])).await;
    let mut gateway = Gateway::start(settings);
    gateway.hear_up().await;
    machine.be_late(Duration::from_millis(250));
    gateway.hear_lost().await;
    assert_eq!(gateway.notes.troubles(Trouble::TimedOut).len(), 1);
    machine.be_late(Duration::ZERO);
    gateway.hear_up().await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_round_that_fails_half_way_delivers_nothing() {
    let peer = Peer::listen().await;
    let points = json!([
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" },
        { "signal": "stroke-total", "table": "input", "at": 2, "type": "u16", "counter": "other" },
    ]);
    let mut gateway = Gateway::start(settings(peer.address(), &points, &json!([])));
    let mut connection = peer.accept().await;
    connection.expect(&READ, &TEN).await;
    let (transaction, ..) = connection.frame().await.unwrap();
    // Half a frame, then nothing.
    connection.0.write_all(&[0, transaction as u8, 0, 0, 0]).await.unwrap();
    drop(connection);
    assert!(matches!(gateway.next().await.as_slice(), [Said::LinkLost { .. }]));
    assert_eq!(gateway.notes.troubles(Trouble::Broken).len(), 1);
    gateway.stop().await;
}

#[tokio::test]
async fn answers_that_are_none_cost_a_connection_and_no_more() {
    let peer = Peer::listen().await;
    let mut gateway = Gateway::start(settings(peer.address(), &counter(), &json!([])));
    let mut connection = peer.accept().await;
    connection.expect(&READ, &[4, 4, 0, 10, 0, 11]).await;
    let why = gateway.hear_lost().await;
    assert!(why.contains("another length"), "{why}");
    let mut connection = peer.accept().await;
    let (transaction, unit, _) = connection.frame().await.unwrap();
    connection.send(transaction ^ 0x5555, unit, &TEN).await;
    let notes = gateway.notes.clone();
    until("the wrong transaction", || notes.troubles(Trouble::Garbled).len() == 2).await;
    let mut connection = peer.accept().await;
    connection.expect(&READ, &TEN).await;
    assert_eq!(count(&gateway.hear_up().await), Some(10));
    gateway.stop().await;
}

#[tokio::test]
async fn a_web_server_is_no_machine() {
    let peer = Peer::listen().await;
    let mut gateway = Gateway::start(settings(peer.address(), &counter(), &json!([])));
    let mut connection = peer.accept().await;
    connection.frame().await.unwrap();
    let page = b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n";
    connection.0.write_all(page).await.unwrap();
    let why = gateway.hear_lost().await;
    assert!(why.contains("Modbus server"), "{why}");
    gateway.stop().await;
}

#[tokio::test]
async fn a_busy_machine_is_asked_again_on_the_same_connection() {
    let peer = Peer::listen().await;
    let mut gateway = Gateway::start(settings(peer.address(), &counter(), &json!([])));
    let mut connection = peer.accept().await;
    for code in [5, 6] {
        connection.expect(&READ, &[0x84, code]).await;
    }
    connection.expect(&READ, &TEN).await;
    let first = gateway.next().await;
    assert_eq!(first[0], Said::LinkUp { resumed: false });
    assert_eq!(gateway.notes.troubles(Trouble::Exception).len(), 2);
    gateway.stop().await;
}

#[tokio::test]
async fn a_machine_that_is_always_busy_is_lost() {
    let (machine, settings) = machine(&counter(), &json!([])).await;
    machine.answer_exception(Some(6));
    let mut gateway = Gateway::start(settings);
    let why = gateway.hear_lost().await;
    assert!(why.contains("busy"), "{why}");
    gateway.stop().await;
}

#[tokio::test]
async fn exceptions_are_explained() {
    let (machine, settings) = machine(&counter(), &json!([])).await;
    let mut gateway = Gateway::start(settings);
    gateway.hear_up().await;
    for (code, word) in [(0x02, "does not exist"), (0x0B, "serial line")] {
        machine.answer_exception(Some(code));
        let why = gateway.hear_lost().await;
        assert!(why.contains(word) && why.contains(&format!("{code:02X}")), "{why}");
        machine.answer_exception(None);
        gateway.hear_up().await;
    }
    gateway.stop().await;
}

#[tokio::test]
async fn a_link_ends_when_the_intake_is_gone() {
    let (_machine, settings) = machine(&counter(), &json!([])).await;
    let mut gateway = Gateway::start(settings);
    gateway.hear_up().await;
    gateway.close_intake();
    gateway.ended().await;
}

#[tokio::test]
async fn a_link_ends_soon_whatever_it_is_doing() {
    let (machine, settings) = machine(&counter(), &json!([])).await;
    // While nobody takes its rounds.
    Gateway::start(settings.clone()).stop().await;
    // While it waits for an answer, and while it waits to try again.
    machine.be_silent(true);
    let gateway = Gateway::start(settings);
    let notes = gateway.notes.clone();
    until("an attempt", || !notes.troubles(Trouble::TimedOut).is_empty()).await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_machine_that_is_dropped_leaves_nothing_behind() {
    let points = counter();
    let (machine, of_link) = machine(&points, &json!([])).await;
    let address = machine.local_addr();
    let mut gateway = Gateway::start(of_link);
    gateway.hear_up().await;
    drop(machine);
    gateway.hear_lost().await;
    let again = within("the port", async {
        loop {
            let made_of = settings(address, &points, &json!([]));
            match Machine::start(made_of, address).await {
                Ok(machine) => return machine,
                Err(_) => tokio::task::yield_now().await,
            }
        }
    });
    let again = again.await;
    gateway.hear_up().await;
    gateway.stop().await;
    drop(again);
}
