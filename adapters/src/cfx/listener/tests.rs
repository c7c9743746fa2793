//! A connection on which nobody says anything for half an hour of simulated time.

use std::sync::Arc;
use std::time::Duration;

use fe2o3_amqp::Sender;
use fe2o3_amqp::sasl_profile::SaslProfile;
use fe2o3_amqp::types::messaging::{Data, Message};
use serde_json::json;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Said;
use tokio::sync::watch;
use tokio::time::{Instant, sleep};
use tokio_util::sync::CancellationToken;

use super::{hear, open};
use crate::cfx::access::enter;
use crate::cfx::desk::Desk;
use crate::cfx::settings::{AtBroker, Endpoint, Settings};
use crate::link::{Delivery, Floor, Intake, Observer, Trouble};

const GATEWAY: &str = "Invented.Gateway.1";
const HANDLE: &str = "Invented.Printer.SN1";
/// Ninety times the idle time-out.
const HALF_AN_HOUR: Duration = Duration::from_secs(1_800);

struct Panics;

impl Observer for Panics {
    fn round(&self, _: &MachineName, _: Duration) {}
    fn trouble(&self, machine: &MachineName, kind: Trouble, why: &str) {
        panic!("{machine}: {kind:?}: {why}");
    }
    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

fn printed(number: u64) -> Message<Data> {
    let envelope = json!({
        "MessageName": "CFX.Production.Processing.UnitsProcessed",
        "Version": "1.7",
        "TimeStamp": "2026-03-02T07:00:00+01:00",
        "UniqueID": format!("9f0a1c2d-0000-4000-8000-{number:012x}"),
        "Source": HANDLE,
        "MessageBody": { "CommonProcessData": { "Strokes": [{ "PrintPressure": 6.5 }] } },
    });
    Message::builder().data(Data(envelope.to_string().into_bytes().into())).build()
}

/// What is said next, no link told; durable at once.
async fn next(deliveries: &mut tokio::sync::mpsc::Receiver<Delivery>) -> Said {
    loop {
        let delivery = deliveries.recv().await.expect("somebody hands over");
        let said = delivery.signals.into_iter().map(|signal| signal.said);
        let said = said.filter(|said| !matches!(said, Said::LinkUp { .. })).last();
        let _ = delivery.receipt.send(vec![]);
        if let Some(said) = said {
            return said;
        }
    }
}

#[tokio::test(start_paused = true)]
async fn half_an_hour_of_silence_ends_nothing_and_the_next_print_counts() {
    let endpoint = json!({
        "name": "hall", "handle": GATEWAY, "idle-time-out": "20s",
        "listen": { "address": "127.0.0.1:0" },
    });
    let endpoint: Endpoint = serde_json::from_value(endpoint).expect("an endpoint");
    let printer = json!({ "endpoint": "hall", "handle": HANDLE, "signals": ["strokes-done"] });
    let printer: Settings = serde_json::from_value(printer).expect("a printer");
    let listen = endpoint.listen.clone().expect("a listener");
    let (intake, mut deliveries) = Intake::bounded(8);
    let (_wanted, wanted) = watch::channel(Arc::default());
    let stop = CancellationToken::new();
    let floor = Floor::bare(intake, wanted, Arc::new(Panics), stop);
    let name = MachineName::new("printer-1").expect("a name");
    let desk = Desk::new(endpoint, &[(name, printer)], floor);
    let (here, there) = tokio::io::duplex(65_536);

    let hearing = tokio::spawn(async move {
        let (connection, _cut) =
            open(&desk, &listen, Box::new(here)).await.expect("the machine is let in");
        hear(&desk, connection, (&listen, None), 1).await
    });
    let at: AtBroker =
        serde_json::from_value(json!({ "address": "unused:1", "sources": [] })).expect("a way");
    let me = json!({ "name": "me", "handle": HANDLE, "idle-time-out": "20s" });
    let me: Endpoint = serde_json::from_value(me).expect("an endpoint");
    let mut machine = enter(Box::new(there), &at.whereto(), SaslProfile::Anonymous, &me)
        .await
        .expect("the connection opens");
    let mut sender =
        Sender::attach(&mut machine.session, "says", GATEWAY).await.expect("a link to the gateway");

    let one = Said::StrokesDone { count: 1 };
    let (sent, said) = tokio::join!(sender.send(printed(1)), next(&mut deliveries));
    assert!(sent.is_ok_and(|outcome| outcome.is_accepted()));
    assert_eq!(said, one);
    let silent_since = Instant::now();
    sleep(HALF_AN_HOUR).await;
    assert!(silent_since.elapsed() >= HALF_AN_HOUR);
    assert!(!hearing.is_finished(), "{:?}", hearing.await);
    let (sent, said) = tokio::join!(sender.send(printed(2)), next(&mut deliveries));
    assert!(sent.is_ok_and(|outcome| outcome.is_accepted()));
    assert_eq!(said, one);
}
