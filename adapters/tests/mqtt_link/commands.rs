//! Outputs that command: told until they are answered, repeated safely, never believed wrongly.

use std::net::SocketAddr;
use std::sync::Arc;

use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::mqtt::{Broker, Machine, Settings, Version};
use stencilward_adapters::simulated::{Fault, Simulated as _};
use stencilward_domain::names::OutputName;
use stencilward_domain::outputs::Wanted;

use crate::brokers::{Embedded, Mosquitto};
use crate::client::Client;
use crate::gateway::{Gateway, broker, name, settings, until};

fn permitting() -> Arc<Wanted> {
    let mut wanted = Wanted::default();
    wanted.permit(name("printer-1"), OutputName::new("door").unwrap());
    Arc::new(wanted)
}

fn door() -> Value {
    json!({
        "name": "door", "drive": "print-permit", "topic": "p/do", "number": "/no",
        "permit": r#"{"door": "open"}"#, "refuse": r#"{"door": "shut"}"#,
        "answer": {
            "topic": "p/done", "number": "/no", "value": "/result", "done": ["ok"],
            "refused": ["denied"], "text": "/why", "within": "300ms",
        },
    })
}

fn commanded() -> Settings {
    settings(&json!([]), &json!([door()]))
}

/// The machine, by hand.
struct ByHand(Client);

impl ByHand {
    async fn connect(address: SocketAddr) -> Self {
        let mut client = Client::connect(address, "machine").await;
        client.subscribe("p/do").await;
        Self(client)
    }

    /// The next command: what is to be done, and its number. It is never retained, and with QoS 1.
    async fn told(&mut self) -> (String, u64) {
        let heard = self.0.hear().await;
        assert!(!heard.retain && heard.qos as u8 == 1, "{heard:?}");
        let json: Value = serde_json::from_slice(&heard.payload).unwrap();
        (json["door"].as_str().unwrap().to_owned(), json["no"].as_u64().unwrap())
    }

    /// Skips repeats of the command of this number.
    async fn told_after(&mut self, number: u64) -> (String, u64) {
        loop {
            let told = self.told().await;
            if told.1 != number {
                return told;
            }
        }
    }

    async fn answer(&mut self, number: u64, result: &str) {
        let body = json!({ "no": number, "result": result, "why": "a tray is out" });
        self.0.say("p/done", body.to_string()).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn are_repeated_with_the_same_number_until_they_are_answered() {
    let broker = Embedded::start().await;
    let mut machine = ByHand::connect(broker.address).await;
    let gateway = Gateway::up(broker.address, commanded()).await;
    let notes = gateway.notes.clone();
    let (what, number) = machine.told().await;
    assert_eq!(what, "shut");
    for _ in 0..2 {
        assert_eq!(machine.told().await, ("shut".to_owned(), number), "a repeat is the same");
    }
    assert!(notes.has(Trouble::TimedOut, "p/do was told to refuse and nothing on p/done"));
    assert_eq!(notes.last_output(), Some((false, None)), "nobody knows");
    machine.answer(number, "ok").await;
    until("it is done", || notes.last_output() == Some((false, Some(false)))).await;

    gateway.wanted.send_replace(permitting());
    let (what, second) = machine.told_after(number).await;
    assert!(what == "open" && second > number, "{what} {second} {number}");
    gateway.wanted.send_replace(Arc::default());
    let (what, third) = machine.told_after(second).await;
    assert!(what == "shut" && third > second);
    // What the machine says of the older one, late, is not taken for the newer.
    machine.answer(second, "ok").await;
    until("it is stale", || notes.has(Trouble::Stale, &second.to_string())).await;
    assert_eq!(notes.last_output(), Some((false, None)));
    for _ in 0..2 {
        machine.answer(third, "ok").await;
    }
    until("it is done", || notes.last_output() == Some((false, Some(false)))).await;
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn refused_ones_are_told_and_given_anew() {
    let broker = Embedded::start().await;
    let mut machine = ByHand::connect(broker.address).await;
    let gateway = Gateway::up(broker.address, commanded()).await;
    let notes = gateway.notes.clone();
    let (_, number) = machine.told().await;
    machine.answer(number, "ok").await;
    until("it is done", || notes.last_output() == Some((false, Some(false)))).await;
    gateway.wanted.send_replace(permitting());
    let (_, number) = machine.told_after(number).await;
    machine.answer(number, "denied").await;
    until("a refusal", || notes.has(Trouble::Disobeyed, "the machine refuses (a tray is out)"))
        .await;
    until("still shut", || notes.last_output() == Some((true, Some(false)))).await;
    let (what, again) = machine.told_after(number).await;
    assert!(what == "open" && again > number, "a refused command is another one");
    machine.answer(again, "ok").await;
    until("it is done", || notes.last_output() == Some((true, Some(true)))).await;
    gateway.stop().await;
    assert_eq!(machine.told_after(again).await.0, "shut", "at the end it refuses");
}

/// Whatever else comes on the topic of the answer, the output is not obeyed.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_rubbish_is_an_answer() {
    let broker = Embedded::start().await;
    let mut machine = ByHand::connect(broker.address).await;
    let gateway = Gateway::up(broker.address, commanded()).await;
    let notes = gateway.notes.clone();
    let (_, number) = machine.told().await;
    let cases = [
        ("ok".to_owned(), Trouble::Unreadable),
        (r#"{"result": "ok"}"#.to_owned(), Trouble::Missing),
        (json!({ "no": number, "result": "perhaps" }).to_string(), Trouble::Senseless),
        (json!({ "no": number }).to_string(), Trouble::Missing),
        (json!({ "no": -1, "result": "ok" }).to_string(), Trouble::Unreadable),
        (json!({ "no": number + 1, "result": "ok" }).to_string(), Trouble::Stale),
        ("\u{0}".repeat(3_000), Trouble::Unreadable),
    ];
    for (payload, kind) in cases {
        let before = notes.troubles().len();
        machine.0.say("p/done", payload.clone()).await;
        let told = || notes.troubles().iter().skip(before).any(|(known, _)| *known == kind);
        until(&payload, told).await;
        assert_eq!(notes.last_output(), Some((false, None)), "{payload}");
    }
    machine.answer(number, "ok").await;
    until("it is done", || notes.last_output() == Some((false, Some(false)))).await;
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_lost_broker_is_told_the_same_again() {
    let test = "a_lost_broker_is_told_the_same_again";
    let Some(mut broker) = Mosquitto::start(test, false) else { return };
    let mut machine = ByHand::connect(broker.address).await;
    let mut gateway = Gateway::up(broker.address, commanded()).await;
    let notes = gateway.notes.clone();
    let (_, number) = machine.told().await;
    machine.answer(number, "ok").await;
    until("it is done", || notes.last_output() == Some((false, Some(false)))).await;
    broker.end();
    gateway.hear_lost().await;
    until("nobody knows", || notes.last_output() == Some((false, None))).await;
    broker.again();
    let mut machine = ByHand::connect(broker.address).await;
    assert_eq!(machine.told().await, ("shut".to_owned(), number));
    gateway.hear_up().await;
    machine.answer(number, "ok").await;
    until("it is done", || notes.last_output() == Some((false, Some(false)))).await;

    gateway.kill().await;
    let gateway = Gateway::up(broker.address, commanded()).await;
    let (what, fresh) = machine.told_after(number).await;
    assert!(what == "shut" && fresh > number, "another gateway gives another command");
    gateway.stop().await;
}

fn at(address: SocketAddr, version: Version) -> Broker {
    Broker { version, ..broker(address) }
}

/// The simulated machine obeys, refuses, keeps silent and comes late; with 5.0 without a number
/// in the payload (MQTT 5.0, 4.10: response topic and correlation data).
async fn obeys(address: SocketAddr, version: Version) {
    let mut output = door();
    if version == Version::Five {
        output["permit"] = json!("open");
        output["refuse"] = json!("shut");
        output.as_object_mut().unwrap().remove("number");
        output["answer"] = json!({
            "topic": "p/done", "done": ["ok"], "refused": ["denied"], "within": "300ms",
        });
    }
    let made_of = settings(&json!([]), &json!([output]));
    let machine = Machine::at(at(address, version), &name("printer-1"), made_of.clone());
    let gateway = Gateway::with(at(address, version), made_of, 64);
    let notes = gateway.notes.clone();
    let shown = machine.output(&OutputName::new("door").unwrap()).unwrap();
    until("it refuses", || notes.last_output() == Some((false, Some(false)))).await;
    machine.disobey(true);
    gateway.wanted.send_replace(permitting());
    until("a refusal", || notes.has(Trouble::Disobeyed, "the machine refuses")).await;
    assert!(!*shown.borrow());
    machine.disobey(false);
    until("it permits", || notes.last_output() == Some((true, Some(true)))).await;
    assert!(*shown.borrow());
    machine.suffer(Fault::Silent(true)).await.unwrap();
    let before = notes.troubles().len();
    gateway.wanted.send_replace(Arc::default());
    let late = |(kind, _): &(Trouble, String)| *kind == Trouble::TimedOut;
    until("no answer", || notes.troubles().iter().skip(before).any(late)).await;
    assert_eq!(notes.last_output(), Some((false, None)));
    assert!(!*shown.borrow(), "it obeys and says nothing");
    machine.suffer(Fault::Silent(false)).await.unwrap();
    until("it refuses", || notes.last_output() == Some((false, Some(false)))).await;
    machine.suffer(Fault::Late(std::time::Duration::from_millis(700))).await.unwrap();
    gateway.wanted.send_replace(permitting());
    until("it permits, late", || notes.last_output() == Some((true, Some(true)))).await;
    machine.suffer(Fault::Late(std::time::Duration::ZERO)).await.unwrap();
    gateway.stop().await;
    until("it refuses in the end", || !*shown.borrow()).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_simulated_machine_obeys() {
    for version in [Version::Three, Version::Five] {
        obeys(Embedded::start().await.address, version).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_simulated_machine_obeys_with_mosquitto() {
    let test = "a_simulated_machine_obeys_with_mosquitto";
    let Some(broker) = Mosquitto::start(test, false) else { return };
    obeys(broker.address, Version::Five).await;
}

/// Where the machine shows its real state, too, that is what counts; and a machine that lost it
/// is given a new command.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_read_back_counts() {
    let broker = Embedded::start().await;
    let mut output = door();
    output["read-back"] = json!("p/is");
    output["shows"] = json!({ "permit": "open", "refuse": "shut" });
    let mut machine = ByHand::connect(broker.address).await;
    let made_of = settings(&json!([]), &json!([output]));
    let gateway = Gateway::up(broker.address, made_of).await;
    let notes = gateway.notes.clone();
    let (_, number) = machine.told().await;
    machine.answer(number, "ok").await;
    machine.0.say("p/is", "shut").await;
    until("it shows", || notes.last_output() == Some((false, Some(false)))).await;
    machine.0.say("p/is", "open").await;
    until("opened by hand", || notes.last_output() == Some((false, Some(true)))).await;
    let (what, again) = machine.told_after(number).await;
    assert!(what == "shut" && again > number);
    assert!(notes.has(Trouble::Disobeyed, "does not show it"));
    gateway.stop().await;
}

/// Two doors that answer on one topic: each answer is of one command only.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_that_answer_on_one_topic_are_told_apart() {
    let broker = Embedded::start().await;
    let mut lid = door();
    lid["name"] = json!("lid");
    lid["permit"] = json!(r#"{"door": "up"}"#);
    lid["refuse"] = json!(r#"{"door": "down"}"#);
    let mut machine = ByHand::connect(broker.address).await;
    let made_of = settings(&json!([]), &json!([door(), lid]));
    let gateway = Gateway::up(broker.address, made_of).await;
    let notes = gateway.notes.clone();
    let first = machine.told().await;
    let second = machine.told_after(first.1).await;
    assert_eq!((first.0.as_str(), second.0.as_str()), ("shut", "down"));
    machine.answer(second.1, "ok").await;
    until("the lid is down", || notes.last_output() == Some((false, Some(false)))).await;
    for _ in 0..2 {
        let (what, number) = machine.told_after(second.1).await;
        assert_eq!((what.as_str(), number), ("shut", first.1), "the door was not answered for");
    }
    assert!(!notes.has(Trouble::Stale, ""), "{:?}", notes.troubles());
    gateway.stop().await;
}
