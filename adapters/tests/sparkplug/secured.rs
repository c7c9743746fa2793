//! Both versions of MQTT, plain and secured, for the host, the edge node and the gateway as one.

use std::path::Path;
use std::sync::Arc;

use serde_json::json;
use stencilward_adapters::link::{Floor, Intake, Link as _, Observer, Trouble};
use stencilward_adapters::mqtt::{Broker, Tls};
use stencilward_adapters::shown::Shown;
use stencilward_adapters::simulated::Simulated as _;
use stencilward_adapters::sparkplug::{Machine, OwnNode, OwnNodeLink, Settings};
use stencilward_domain::names::{CounterName, OutputName};
use stencilward_domain::signal::{Reading, Said, Width};
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use crate::brokers::Mosquitto;
use crate::certificates::Authority;
use crate::gateway::{Gateway, Notes, broker, name, printer, until, within};

fn total(raw: u64) -> Said {
    let counter = CounterName::new("strokes").unwrap();
    Said::CounterRead { counter, raw, width: Width::Bits32, reading: Reading::Reported }
}

fn speaking(version: &str, mosquitto: &Mosquitto, ca: Option<&Path>) -> Broker {
    let tls =
        |ca: &Path| Tls { ca: ca.to_owned(), certificate: None, key: None, server_name: None };
    let mut broker = broker(mosquitto.address);
    broker.version = serde_json::from_value(json!(version)).unwrap();
    broker.tls = ca.map(tls);
    assert_eq!(broker.check(), Vec::new());
    broker
}

/// A Mosquitto that shows a certificate of this authority.
fn secured(test: &str, authority: &Authority) -> Option<Mosquitto> {
    let files = authority.issue("broker", |_| {});
    let lines = format!(
        "allow_anonymous true\ncertfile {}\nkeyfile {}\ncafile {}\n",
        files.certificate.display(),
        files.key.display(),
        files.ca.display(),
    );
    Mosquitto::configured(test, false, &lines)
}

/// Birth, data, a command, its read-back, a death, and the refusal at the end.
async fn works(broker: Broker) {
    let mut gateway = Gateway::at(broker.clone(), printer());
    let machine = Machine::at(broker.clone(), &name(), printer());
    gateway.until_up().await;
    machine.say(&total(7), None).await.unwrap();
    gateway.until(&total(7)).await;
    let mut lever = machine.output(&OutputName::new("lock").unwrap()).unwrap();
    gateway.want(true);
    within("the permit", lever.wait_for(|on| *on)).await.unwrap();
    let notes = Arc::clone(&gateway.notes);
    until("the read-back", || notes.last_output() == Some((true, Some(true)))).await;
    drop(machine);
    let why = gateway.until_lost().await;
    assert!(why.contains("G/N has died"), "{why}");
    let machine = Machine::at(broker, &name(), printer());
    gateway.until_up().await;
    let mut lever = machine.output(&OutputName::new("lock").unwrap()).unwrap();
    within("the permit", lever.wait_for(|on| *on)).await.unwrap();
    gateway.stop().await;
    within("the refusal at the end", lever.wait_for(|on| !*on)).await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_version_works_in_the_clear() {
    let test = "each_version_works_in_the_clear";
    let Some(mosquitto) = Mosquitto::start(test, false) else { return };
    for version in ["3.1.1", "5.0"] {
        works(speaking(version, &mosquitto, None)).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_version_works_secured() {
    let authority = Authority::new("Invented Authority");
    let Some(mosquitto) = secured("each_version_works_secured", &authority) else { return };
    for version in ["3.1.1", "5.0"] {
        works(speaking(version, &mosquitto, Some(&authority.ca()))).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_nobody_vouches_for_is_refused_in_words() {
    let authority = Authority::new("Invented Authority");
    let other = Authority::new("Another Invented Authority");
    let test = "a_broker_that_nobody_vouches_for_is_refused_in_words";
    let Some(mosquitto) = secured(test, &authority) else { return };
    let words = "nobody in the file of `ca` vouches for the broker's certificate";
    let mut gateway = Gateway::at(speaking("5.0", &mosquitto, Some(&other.ca())), printer());
    let why = gateway.until_lost().await;
    assert!(why.contains(words), "{why}");
    assert!(gateway.notes.has(Trouble::Refused, words));
    gateway.stop().await;
}

/// The gateway as an edge node, as another gateway sees it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_gateway_as_an_edge_node_is_secured_too() {
    let authority = Authority::new("Invented Authority");
    let test = "the_gateway_as_an_edge_node_is_secured_too";
    let Some(mosquitto) = secured(test, &authority) else { return };
    let folder = tempfile::tempdir().unwrap();
    let host: Settings = serde_json::from_value(json!({
        "broker": "b", "group": "G", "edge-node": "N",
        "metrics": [{ "signal": "stroke-total", "name": "Stencils", "width": 32 }],
    }))
    .unwrap();
    for version in ["3.1.1", "5.0"] {
        let broker = speaking(version, &mosquitto, Some(&authority.ca()));
        let mut gateway = Gateway::at(broker.clone(), host.clone());
        let own = json!({ "group": "G", "edge-node": "N" });
        let own: OwnNode = serde_json::from_value(own).unwrap();
        let own = OwnNode { kept_in: folder.path().join("births"), ..own };
        let (show, view) = watch::channel(Shown { complete: true, ..Shown::default() });
        let (intake, _deliveries) = Intake::bounded(1);
        let (_wanted, wanted) = watch::channel(Arc::default());
        let observer = Arc::new(Notes::default()) as Arc<dyn Observer>;
        let stop = CancellationToken::new();
        let floor = Floor::bare(intake, wanted, observer, stop.clone());
        let broker = Broker { client: "other".to_owned(), ..broker };
        let link = tokio::spawn(Box::new(OwnNodeLink::new(broker, own, view)).run(floor));
        gateway.until_up().await;
        gateway.until(&total(0)).await;
        stop.cancel();
        within("its end", link).await.unwrap();
        let why = gateway.until_lost().await;
        assert!(why.contains("G/N has died"), "{why}");
        drop(show);
        gateway.stop().await;
    }
}

/// A birth that is too large is told with what to do, and nothing else is lost with it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_birth_that_is_too_large_is_told() {
    let Some(mosquitto) = Mosquitto::start("a_birth_that_is_too_large_is_told", false) else {
        return;
    };
    let broker = speaking("3.1.1", &mosquitto, None);
    let metrics: Vec<_> = (0..60)
        .map(|number| {
            json!({ "signal": "fault", "name": format!("Faults/Of the feeder {number}"),
                    "code": number.to_string() })
        })
        .collect();
    let many: Settings = serde_json::from_value(json!({
        "broker": "b", "group": "G", "edge-node": "N", "device": "D", "metrics": metrics,
    }))
    .unwrap();
    let machine = Machine::at(broker.clone(), &name(), many.clone());
    until("a birth", || machine.births() > 0).await;
    let gateway = Gateway::at(Broker { largest_message: 1_024, ..broker }, many);
    let notes = Arc::clone(&gateway.notes);
    until("the trouble", || notes.has(Trouble::TooLarge, "larger than largest-message (1024)"))
        .await;
    assert!(!notes.has(Trouble::Broken, ""), "the connection holds");
    gateway.stop().await;
}
