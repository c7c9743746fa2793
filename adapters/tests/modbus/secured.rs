//! Modbus/TCP Security: both sides show a certificate, and a role may decide what is answered.

use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::modbus::{Machine, RegisterTable, Settings, Tls};
use stencilward_domain::signal::Said;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use crate::certificates::{Authority, expired, for_clients_only, not_valid_yet, with_role};
use crate::support::{Gateway, Peer, any_port, within};

fn counter() -> Value {
    json!([{ "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" }])
}

fn settings(address: &str, tls: &Tls) -> Settings {
    let settings = json!({
        "address": address, "poll": "10ms", "timeout": "2s", "points": counter(), "tls": tls,
    });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

async fn machine(own: Tls) -> Machine {
    let made_of = settings("127.0.0.1:1", &own);
    Machine::start_secured(made_of, any_port(), own).await.unwrap()
}

/// Why a gateway with this certificate loses a machine with that one.
async fn lost(machines: Tls, gateways: &Tls) -> String {
    let machine = machine(machines).await;
    let settings = settings(&machine.local_addr().to_string(), gateways);
    let mut gateway = Gateway::start(settings);
    let why = gateway.hear_lost().await;
    assert!(!gateway.notes.troubles(Trouble::Refused).is_empty(), "{why}");
    gateway.stop().await;
    why
}

fn good(_: &mut rcgen::CertificateParams) {}

#[tokio::test]
async fn a_machine_is_read_through_a_secured_connection() {
    let authority = Authority::new("invented authority");
    let machine = machine(authority.issue("machine", good)).await;
    machine.set_registers(RegisterTable::Input, 0, &[42]);
    let address = machine.local_addr().to_string();
    let mut gateway = Gateway::start(settings(&address, &authority.issue("gateway", good)));
    let counted = |said: &Said| matches!(said, Said::CounterRead { raw: 42, .. });
    gateway.hear("the count", counted).await;
    // Nothing was lost on the way, and the connection is found again after a break.
    machine.drop_connections();
    let why = gateway.hear_lost().await;
    assert!(why.contains("closed the connection"), "{why}");
    gateway.hear("the count", counted).await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_role_decides_and_is_named_where_it_does_not_suffice() {
    let authority = Authority::new("invented authority");
    let machine = machine(authority.issue("machine", with_role("printer"))).await;
    machine.serve_only(Some("reader"));
    let address = machine.local_addr().to_string();
    let gateways = authority.issue("viewer", with_role("viewer"));
    let mut gateway = Gateway::start(settings(&address, &gateways));
    let why = gateway.hear_lost().await;
    assert!(why.contains("exception 01") && why.contains("\"viewer\""), "{why}");
    gateway.stop().await;
    let gateways = authority.issue("reader", with_role("reader"));
    let mut gateway = Gateway::start(settings(&address, &gateways));
    gateway.hear_up().await;
    gateway.stop().await;
}

#[tokio::test]
async fn what_is_wrong_with_the_machines_certificate_is_told() {
    let (authority, other) = (Authority::new("one"), Authority::new("other"));
    let ours = authority.issue("gateway", good);
    let all = [
        (authority.issue("old", expired), "has expired"),
        (authority.issue("new", not_valid_yet), "not valid yet"),
        (authority.issue("client", for_clients_only), "not meant for servers"),
        (authority.self_signed("alone"), "vouches for"),
        (other.issue("stranger", good), "vouches for"),
    ];
    for (theirs, word) in all {
        let why = lost(Tls { ca: authority.ca(), ..theirs }, &ours).await;
        assert!(why.contains(word), "{why}");
    }
    let named = Tls { server_name: Some("washer-1.example".to_owned()), ..ours };
    let why = lost(authority.issue("machine", good), &named).await;
    assert!(why.contains("server-name"), "{why}");
}

#[tokio::test]
async fn what_is_wrong_with_our_certificate_is_told() {
    let (authority, other) = (Authority::new("one"), Authority::new("other"));
    let theirs = authority.issue("machine", good);
    let all = [
        (authority.issue("gateway-old", expired), "our certificate expired"),
        (other.issue("gateway-stranger", good), "who issued our certificate"),
        (other.self_signed("gateway-alone"), "who issued our certificate"),
    ];
    for (ours, word) in all {
        let why = lost(theirs.clone(), &Tls { ca: authority.ca(), ..ours }).await;
        assert!(why.contains(word), "{why}");
    }
}

#[tokio::test]
async fn a_certificate_that_vouches_for_itself_is_trusted_when_it_is_named() {
    let authority = Authority::new("invented authority");
    let theirs = authority.self_signed("alone");
    let ours = Tls { ca: theirs.certificate.clone(), ..authority.issue("gateway", good) };
    let machine = machine(theirs).await;
    let mut gateway = Gateway::start(settings(&machine.local_addr().to_string(), &ours));
    gateway.hear_up().await;
    gateway.stop().await;
}

#[tokio::test]
async fn files_that_are_missing_or_wrong_are_named() {
    let authority = Authority::new("invented authority");
    let ours = authority.issue("gateway", good);
    let second = authority.issue("second", good);
    let nowhere = || authority.ca().with_file_name("nowhere.pem");
    let all = [
        (Tls { ca: nowhere(), ..ours.clone() }, "nowhere.pem"),
        (Tls { key: nowhere(), ..ours.clone() }, "nowhere.pem"),
        (Tls { certificate: nowhere(), ..ours.clone() }, "nowhere.pem"),
        (Tls { certificate: ours.key.clone(), ..ours.clone() }, "holds no certificate"),
        (Tls { key: ours.certificate.clone(), ..ours.clone() }, "no private key"),
        (Tls { key: second.key, ..ours }, "does not belong to the certificate"),
    ];
    for (ours, word) in all {
        let why = lost(authority.issue("machine", good), &ours).await;
        assert!(why.contains(word), "{why}");
    }
}

#[tokio::test]
async fn certificates_may_be_renewed_while_the_gateway_runs() {
    let authority = Authority::new("invented authority");
    let machine = machine(authority.issue("machine", good)).await;
    let ours = authority.issue("gateway", expired);
    let mut gateway = Gateway::start(settings(&machine.local_addr().to_string(), &ours));
    gateway.hear_lost().await;
    // The same files with another content.
    authority.issue("gateway", good);
    gateway.hear_up().await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_port_that_does_not_speak_tls_is_told() {
    let authority = Authority::new("invented authority");
    let ours = authority.issue("gateway", good);
    let peer = Peer::listen().await;
    let mut gateway = Gateway::start(settings(&peer.address().to_string(), &ours));
    let mut connection = peer.accept().await;
    let mut hello = [0; 64];
    within("a greeting", connection.0.read_exact(&mut hello)).await.unwrap();
    connection.0.write_all(b"HTTP/1.1 400 Bad Request\r\n\r\n").await.unwrap();
    let why = gateway.hear_lost().await;
    assert!(why.contains("does not speak TLS"), "{why}");
    drop(connection);
    drop(peer.accept().await);
    gateway.stop().await;
}

#[tokio::test]
async fn who_shows_no_certificate_is_not_served() {
    let authority = Authority::new("invented authority");
    let machine = machine(authority.issue("machine", good)).await;
    let plain = json!({ "address": machine.local_addr().to_string(), "poll": "10ms",
        "timeout": "200ms", "points": counter() });
    let mut gateway = Gateway::start(serde_json::from_value(plain).unwrap());
    gateway.hear_lost().await;
    gateway.stop().await;
}
