//! The link through births, gaps, losses, outputs and its end.

use std::net::{SocketAddr, TcpListener};

use stencilward_adapters::link::Trouble;
use stencilward_adapters::simulated::Simulated as _;
use stencilward_domain::names::{CounterName, OutputName, StencilCode};
use stencilward_domain::signal::{Reading, Said, Width};

use crate::brokers::Embedded;
use crate::gateway::{Gateway, printer, simulated, until, within};

fn total(raw: u64) -> Said {
    let counter = CounterName::new("strokes").unwrap();
    Said::CounterRead { counter, raw, width: Width::Bits32, reading: Reading::Reported }
}

fn lock() -> OutputName {
    OutputName::new("lock").unwrap()
}

/// The total comes before what is seated: who is seated now need not have made it.
#[tokio::test]
async fn a_birth_tells_all_and_data_go_on() {
    let broker = Embedded::start().await;
    let machine = simulated(broker.address);
    machine.say(&Said::Seated { code: StencilCode::new("ST-1").unwrap() }, None).await.unwrap();
    machine.say(&total(7), None).await.unwrap();
    until("a birth", || machine.births() > 0).await;
    let mut gateway = Gateway::start(broker.address, printer());
    gateway.until_up().await;
    assert_eq!(gateway.next().await.said, total(7));
    assert!(matches!(gateway.next().await.said, Said::Seated { .. }));
    machine.say(&total(8), None).await.unwrap();
    gateway.until(&total(8)).await;
    machine.say(&Said::Removed, None).await.unwrap();
    assert_eq!(gateway.next().await.said, Said::Removed);
}

#[tokio::test]
async fn what_is_lost_on_the_way_is_asked_for() {
    let broker = Embedded::start().await;
    let mut gateway = Gateway::start(broker.address, printer());
    let machine = simulated(broker.address);
    gateway.until_up().await;
    let births = machine.births();
    machine.lose(1);
    machine.say(&total(1), None).await.unwrap();
    machine.say(&total(2), None).await.unwrap();
    let why = gateway.until_lost().await;
    assert!(why.contains("did not come"), "{why}");
    gateway.until_up().await;
    assert_eq!(gateway.next().await.said, total(2), "the total makes up for it");
    assert!(machine.births() > births);
    assert!(gateway.notes.has(Trouble::Missing, "did not come"));
}

/// The broker tells the will of an edge node that vanishes.
#[tokio::test]
async fn a_death_is_told_and_a_birth_ends_it() {
    let broker = Embedded::start().await;
    let mut gateway = Gateway::start(broker.address, printer());
    let machine = simulated(broker.address);
    gateway.until_up().await;
    drop(machine);
    let why = gateway.until_lost().await;
    assert!(why.contains("G/N has died"), "{why}");
    let machine = simulated(broker.address);
    machine.say(&total(5), None).await.unwrap();
    gateway.until_up().await;
    gateway.until(&total(5)).await;
}

#[tokio::test]
async fn a_broker_that_is_not_there_is_told_and_waited_for() {
    let free: SocketAddr =
        TcpListener::bind(("127.0.0.1", 0)).and_then(|listener| listener.local_addr()).unwrap();
    let mut gateway = Gateway::start(free, printer());
    let why = gateway.until_lost().await;
    assert!(why.contains("nobody listens there"), "{why}");
    let broker = Embedded::at(free).await;
    let machine = simulated(free);
    machine.say(&total(3), None).await.unwrap();
    gateway.until_up().await;
    let address = broker.end().await;
    gateway.until_lost().await;
    let _again = Embedded::at(address).await;
    gateway.until_up().await;
    gateway.until(&total(3)).await;
}

#[tokio::test]
async fn outputs_are_commanded_read_back_and_commanded_again() {
    let broker = Embedded::start().await;
    let mut gateway = Gateway::start(broker.address, printer());
    let machine = simulated(broker.address);
    gateway.until_up().await;
    let mut lever = machine.output(&lock()).unwrap();
    gateway.want(true);
    within("the permit", lever.wait_for(|on| *on)).await.unwrap();
    let notes = std::sync::Arc::clone(&gateway.notes);
    until("the read-back", || notes.last_output() == Some((true, Some(true)))).await;
    machine.disobey(true);
    gateway.want(false);
    until("the disobedience", || notes.has(Trouble::Disobeyed, "Permit")).await;
    machine.disobey(false);
    within("the refusal", lever.wait_for(|on| !*on)).await.unwrap();
    gateway.want(true);
    within("the permit", lever.wait_for(|on| *on)).await.unwrap();
    gateway.stop().await;
    within("the refusal at the end", lever.wait_for(|on| !*on)).await.unwrap();
}

/// While nothing is taken nothing is read, and nothing is lost: the next birth tells it.
#[tokio::test]
async fn a_slow_gateway_slows_the_link_down() {
    let broker = Embedded::start().await;
    let mut gateway = Gateway::start(broker.address, printer());
    let machine = simulated(broker.address);
    gateway.until_up().await;
    for strokes in 1..=2_000 {
        machine.say(&total(strokes), None).await.unwrap();
    }
    gateway.until(&total(2_000)).await;
}

#[tokio::test]
async fn it_ends_when_told_to_and_when_nobody_takes_anything() {
    let broker = Embedded::start().await;
    let mut gateway = Gateway::start(broker.address, printer());
    let machine = simulated(broker.address);
    gateway.until_up().await;
    for strokes in 1..=50 {
        machine.say(&total(strokes), None).await.unwrap();
    }
    gateway.stop().await;
    let mut gateway = Gateway::start(broker.address, printer());
    gateway.until_up().await;
    machine.say(&total(51), None).await.unwrap();
    gateway.ended().await;
}
