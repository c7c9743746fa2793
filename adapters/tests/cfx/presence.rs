//! A machine is there while its messages come.

use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::cfx::{Decoded, Decoder};
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::Said;
use stencilward_domain::time::Timestamp;

use crate::fixtures::{LARGEST, PRINTER, at, message, settings};

fn decoder(more: Value) -> Decoder {
    let machine = MachineName::new("printer-1").unwrap();
    Decoder::new(&[(machine, settings(PRINTER, more))], LARGEST)
}

fn say(decoder: &mut Decoder, seconds: u64, name: &str, body: &Value) -> Decoded {
    at(decoder, message(PRINTER, name, body).to_string().as_bytes(), seconds)
}

fn kinds(decoded: &Decoded) -> Vec<&'static str> {
    decoded.signals.iter().map(|signal| signal.said.kind()).collect()
}

fn tick(decoder: &mut Decoder, seconds: u64) -> Vec<&'static str> {
    kinds(&decoder.tick(Duration::from_secs(seconds), Timestamp(0)))
}

#[test]
fn missed_heartbeats_mean_lost_and_the_next_message_means_back() {
    let mut decoder = decoder(json!({ "missed-heartbeats": 3 }));
    let beat = json!({ "HeartbeatFrequency": "00:00:10" });
    assert_eq!(kinds(&say(&mut decoder, 0, "CFX.Heartbeat", &beat)), ["link-up"]);
    assert_eq!(kinds(&say(&mut decoder, 9, "CFX.Heartbeat", &beat)), Vec::<&str>::new());
    assert_eq!(tick(&mut decoder, 39), Vec::<&str>::new(), "three beats and no grace yet");
    assert_eq!(tick(&mut decoder, 40), ["link-lost"]);
    assert_eq!(tick(&mut decoder, 400), Vec::<&str>::new(), "told once");
    let back = say(&mut decoder, 500, "CFX.Production.WorkStarted", &json!({}));
    assert_eq!(back.signals[0].said, Said::LinkUp { resumed: false });
    assert_eq!(tick(&mut decoder, 530), Vec::<&str>::new());
    assert_eq!(tick(&mut decoder, 531), ["link-lost"], "one that sends heartbeats goes on to");
}

#[test]
fn a_pace_that_the_standard_does_not_allow_is_held_to_its_limits() {
    for (pace, limit) in [("00:00:00", 1), ("01:00:00", 300), ("PT5S", 300)] {
        let mut decoder = decoder(json!({ "missed-heartbeats": 1 }));
        say(&mut decoder, 0, "CFX.Heartbeat", &json!({ "HeartbeatFrequency": pace }));
        assert_eq!(tick(&mut decoder, limit), Vec::<&str>::new(), "{pace}");
        assert_eq!(tick(&mut decoder, limit + 1), ["link-lost"], "{pace}");
    }
}

#[test]
fn a_machine_without_heartbeats_is_not_missed() {
    let mut decoder = decoder(json!({}));
    assert_eq!(kinds(&say(&mut decoder, 0, "CFX.EndpointConnected", &json!({}))), ["link-up"]);
    assert_eq!(tick(&mut decoder, 100_000), Vec::<&str>::new());
}

#[test]
fn a_machine_says_that_it_goes_and_that_it_comes() {
    let mut decoder = decoder(json!({}));
    let gone = "CFX.EndpointShuttingDown";
    assert_eq!(kinds(&say(&mut decoder, 0, gone, &json!({}))), Vec::<&str>::new());
    assert_eq!(kinds(&say(&mut decoder, 1, "CFX.EndpointConnected", &json!({}))), ["link-up"]);
    assert_eq!(kinds(&say(&mut decoder, 2, gone, &json!({}))), ["link-lost"]);
    assert_eq!(kinds(&say(&mut decoder, 3, "CFX.EndpointConnected", &json!({}))), ["link-up"]);
    let again = say(&mut decoder, 4, "CFX.EndpointConnected", &json!({}));
    assert_eq!(again.signals[0].said, Said::LinkUp { resumed: false }, "it was started anew");
}
