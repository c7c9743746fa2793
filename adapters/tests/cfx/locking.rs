//! Stations are locked and unlocked at their own listeners, and what is not plainly done is not.

use std::net::SocketAddr;
use std::sync::Arc;

use serde_json::{Value, json};
use stencilward_adapters::cfx::{Machine, Settings};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::simulated::{Fault, Simulated as _};
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use tokio::net::TcpListener;

use crate::fixtures::{PRINTER, settings};
use crate::gateway::{GATEWAY, Gateway, endpoint, free_address, name, until, within};

/// A printer that can be locked there.
fn lockable(handle: &str, address: SocketAddr) -> Settings {
    settings(
        handle,
        json!({
            "requests": { "address": address.to_string(), "within": "1s" },
            "outputs": [{ "name": "next", "drive": "print-permit", "by": "lock-station" }],
        }),
    )
}

/// A gateway that locks `printer-1`, which can be locked there.
fn locking() -> (Gateway, Settings) {
    let settings = lockable(PRINTER, free_address());
    let machines = vec![(name("printer-1"), settings.clone())];
    (Gateway::of(endpoint(free_address(), &json!({})), machines, 8), settings)
}

fn machine(gateway: &Gateway, of: &MachineName, settings: Settings) -> Machine {
    Machine::start(gateway.address, GATEWAY, of, settings)
}

fn next() -> OutputName {
    OutputName::new("next").unwrap()
}

async fn until_shown(gateway: &Gateway, wanted: bool, shown: Option<bool>) {
    let what = format!("wanted {wanted}, shown {shown:?}");
    until(&what, || gateway.notes.last_output() == Some((wanted, shown))).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_station_is_unlocked_while_it_may_go_on_and_locked_when_the_gateway_stops() {
    let (gateway, settings) = locking();
    until_shown(&gateway, false, None).await;
    let machine = machine(&gateway, &name("printer-1"), settings);
    let lever = machine.output(&next()).unwrap();
    until_shown(&gateway, false, Some(false)).await;
    gateway.want(true);
    until_shown(&gateway, true, Some(true)).await;
    assert!(*lever.borrow(), "unlocked");
    gateway.want(false);
    until_shown(&gateway, false, Some(false)).await;
    assert!(!*lever.borrow(), "locked");
    gateway.want(true);
    until("unlocked", || *lever.borrow()).await;
    gateway.stop().await;
    assert!(!*lever.borrow(), "locked by the gateway that stops");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_station_that_does_not_lock_is_told_and_asked_again() {
    let (gateway, settings) = locking();
    let machine = machine(&gateway, &name("printer-1"), settings);
    let lever = machine.output(&next()).unwrap();
    gateway.want(true);
    until_shown(&gateway, true, Some(true)).await;
    machine.suffer(Fault::Disobeying(true)).await.unwrap();
    gateway.want(false);
    until("the refusal", || gateway.notes.has(Trouble::Disobeyed, "local control")).await;
    until_shown(&gateway, false, Some(true)).await;
    assert!(*lever.borrow());
    machine.suffer(Fault::Disobeying(false)).await.unwrap();
    until_shown(&gateway, false, Some(false)).await;
    assert!(!*lever.borrow());
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_silent_station_is_unknown_and_holds_up_no_other() {
    let (one, other) = (free_address(), free_address());
    let machines = vec![
        (name("printer-2"), lockable("Invented.Printer.SN2", one)),
        (name("printer-1"), lockable(PRINTER, other)),
    ];
    let gateway = Gateway::of(endpoint(free_address(), &json!({})), machines.clone(), 8);
    let [(first, silent), (second, well)] = machines.try_into().unwrap();
    let silent = machine(&gateway, &first, silent);
    silent.suffer(Fault::Silent(true)).await.unwrap();
    until("the silence", || gateway.notes.has(Trouble::TimedOut, "raise requests: within")).await;
    let well = machine(&gateway, &second, well);
    let lever = well.output(&next()).unwrap();
    gateway.want(true);
    until("the other is unlocked", || *lever.borrow()).await;
    let silent_lever = silent.output(&next()).unwrap();
    assert!(!*silent_lever.borrow(), "nobody wants it unlocked");
    gateway.stop().await;
    assert!(!*lever.borrow());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_lock_of_a_station_that_was_away_is_unknown_until_it_answers_again() {
    let (gateway, settings) = locking();
    let machine = machine(&gateway, &name("printer-1"), settings);
    let lever = machine.output(&next()).unwrap();
    gateway.want(true);
    until_shown(&gateway, true, Some(true)).await;
    machine.suffer(Fault::Off(true)).await.unwrap();
    until_shown(&gateway, true, None).await;
    assert!(!*lever.borrow(), "without power it is locked");
    machine.suffer(Fault::Off(false)).await.unwrap();
    until_shown(&gateway, true, Some(true)).await;
    assert!(*lever.borrow(), "and unlocked by whoever asks again");
    let before = gateway.notes.troubles().len();
    machine.suffer(Fault::Cut).await.unwrap();
    until("the cut", || gateway.notes.troubles().len() > before).await;
    until_shown(&gateway, true, Some(true)).await;
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_listener_that_takes_nothing_does_not_hold_up_the_stop() {
    let address = free_address();
    let deaf = TcpListener::bind(address).await.unwrap();
    let machines = vec![(name("printer-1"), lockable(PRINTER, address))];
    let gateway = Gateway::of(endpoint(free_address(), &json!({})), machines, 8);
    let (taken, _) = within("a connection", deaf.accept()).await.unwrap();
    gateway.stop().await;
    drop(taken);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_address_where_nobody_listens_is_told_as_the_machines() {
    let nobody = free_address();
    let machines = vec![(name("printer-1"), lockable(PRINTER, nobody))];
    let gateway = Gateway::of(endpoint(free_address(), &json!({})), machines, 8);
    until("nobody there", || gateway.notes.has(Trouble::Refused, "nobody listens there")).await;
    let words: Vec<String> = gateway.notes.troubles().into_iter().map(|told| told.1).collect();
    assert!(words.iter().any(|why| why.contains("the machine runs")), "{words:?}");
    assert!(words.iter().all(|why| !why.contains("broker")), "{words:?}");
    gateway.stop().await;
}

/// Lanes and stages are locked each for itself.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_lane_has_a_lock_of_its_own() {
    let lane = |lane: Value, output: &str| json!({ "name": output, "drive": "print-permit", "by": "lock-station", "lane": lane });
    let settings = settings(
        PRINTER,
        json!({
            "requests": { "address": free_address().to_string() },
            "outputs": [lane(json!(1), "next"), lane(json!(2), "second")],
        }),
    );
    let machines = vec![(name("printer-1"), settings.clone())];
    let gateway = Gateway::of(endpoint(free_address(), &json!({})), machines, 8);
    let machine = machine(&gateway, &name("printer-1"), settings);
    let second = OutputName::new("second").unwrap();
    let (one, two) = (machine.output(&next()).unwrap(), machine.output(&second).unwrap());
    let mut both = Wanted::default();
    both.permit(name("printer-1"), next());
    both.permit(name("printer-1"), second);
    gateway.wanted.send_replace(Arc::new(both));
    until("both are unlocked", || *one.borrow() && *two.borrow()).await;
    gateway.want(true);
    until("lane 2 is locked", || !*two.borrow()).await;
    assert!(*one.borrow());
    gateway.stop().await;
}
