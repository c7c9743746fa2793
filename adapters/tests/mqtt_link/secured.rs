//! Secured connections and users, against Mosquitto: what works, and what is said when it does not.

use std::path::Path;
use std::process::{Command, Stdio};

use rcgen::CertificateParams;
use serde_json::json;
use stencilward_adapters::link::Trouble;
use stencilward_adapters::modbus::Tls as Files;
use stencilward_adapters::mqtt::{Broker, Machine, Tls};
use stencilward_adapters::simulated::Simulated as _;
use stencilward_domain::names::CounterName;
use stencilward_domain::signal::{Reading, Said, Width};

use crate::brokers::Mosquitto;
use crate::certificates::{Authority, expired, for_clients_only, not_valid_yet};
use crate::gateway::{Gateway, broker, name, printer};

/// A listener that shows this certificate; `own` asks for those of its clients.
fn listener(files: &Files, own: bool) -> String {
    format!(
        "allow_anonymous true\ncertfile {}\nkeyfile {}\ncafile {}\nrequire_certificate {own}\n",
        files.certificate.display(),
        files.key.display(),
        files.ca.display(),
    )
}

fn trusting(ca: &Path) -> Tls {
    Tls { ca: ca.to_owned(), certificate: None, key: None, server_name: None }
}

fn showing(files: &Files) -> Tls {
    Tls {
        ca: files.ca.clone(),
        certificate: Some(files.certificate.clone()),
        key: Some(files.key.clone()),
        server_name: None,
    }
}

fn secured(mosquitto: &Mosquitto, tls: Tls, version: &str) -> Broker {
    let mut broker = broker(mosquitto.address);
    broker.version = serde_json::from_value(json!(version)).unwrap();
    broker.tls = Some(tls);
    assert_eq!(broker.check(), Vec::new());
    broker
}

/// It is let in, and a total of a machine that is secured alike arrives.
async fn works(broker: Broker) {
    let mut gateway = Gateway::with(broker.clone(), printer(), 8);
    gateway.hear_up().await;
    let machine = Machine::at(broker, &name("printer-1"), printer());
    let counter = CounterName::new("strokes").unwrap();
    let total =
        Said::CounterRead { counter, raw: 7, width: Width::Bits32, reading: Reading::Reported };
    machine.say(&total, None).await.unwrap();
    assert_eq!(gateway.next_but_link().await.said, total);
    assert_eq!(gateway.notes.troubles(), Vec::new());
    gateway.stop().await;
}

async fn fails(broker: Broker, words: &str) {
    let mut gateway = Gateway::with(broker, printer(), 8);
    let why = gateway.hear_lost().await;
    assert!(why.contains(words), "{words}: {why}");
    assert!(gateway.notes.has(Trouble::Refused, words));
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_a_certificate_of_the_broker() {
    let test = "with_a_certificate_of_the_broker";
    let authority = Authority::new("Invented Authority");
    let other = Authority::new("Another Invented Authority");
    let files = authority.issue("broker", |_| {});
    let Some(mosquitto) = Mosquitto::configured(test, false, &listener(&files, false)) else {
        return;
    };
    works(secured(&mosquitto, trusting(&authority.ca()), "3.1.1")).await;
    works(secured(&mosquitto, trusting(&authority.ca()), "5.0")).await;
    fails(
        secured(&mosquitto, trusting(&other.ca()), "3.1.1"),
        "nobody in the file of `ca` vouches for the broker's certificate",
    )
    .await;
    let mut misnamed = trusting(&authority.ca());
    misnamed.server_name = Some("broker.invalid".to_owned());
    fails(secured(&mosquitto, misnamed, "3.1.1"), "made out to another name").await;
    let missing = trusting(Path::new("/nowhere/ca.pem"));
    fails(secured(&mosquitto, missing, "3.1.1"), "no certificate can be read from it").await;
}

type Change = fn(&mut CertificateParams);

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_a_bad_certificate_of_the_broker() {
    let test = "with_a_bad_certificate_of_the_broker";
    let authority = Authority::new("Invented Authority");
    let bad: [(&str, Change, &str); 3] = [
        ("expired", expired, "the broker's certificate has expired"),
        ("early", not_valid_yet, "is not valid yet"),
        ("client", for_clients_only, "is not meant for servers"),
    ];
    for (owner, change, words) in bad {
        let files = authority.issue(owner, change);
        let Some(mosquitto) = Mosquitto::configured(test, false, &listener(&files, false)) else {
            return;
        };
        fails(secured(&mosquitto, trusting(&authority.ca()), "3.1.1"), words).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_a_certificate_of_our_own() {
    let test = "with_a_certificate_of_our_own";
    let authority = Authority::new("Invented Authority");
    let other = Authority::new("Another Invented Authority");
    let files = authority.issue("broker", |_| {});
    let Some(mosquitto) = Mosquitto::configured(test, false, &listener(&files, true)) else {
        return;
    };
    works(secured(&mosquitto, showing(&authority.issue("gateway", |_| {})), "3.1.1")).await;
    fails(secured(&mosquitto, trusting(&authority.ca()), "3.1.1"), "wants a certificate of ours")
        .await;
    let mut stranger = showing(&other.issue("stranger", |_| {}));
    stranger.ca = authority.ca();
    fails(secured(&mosquitto, stranger, "5.0"), "does not know who issued our certificate").await;
    let old = showing(&authority.issue("old", expired));
    fails(secured(&mosquitto, old, "3.1.1"), "finds our certificate expired").await;
}

/// Secured where the broker is not, and the other way round.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn at_the_wrong_port() {
    let authority = Authority::new("Invented Authority");
    let Some(plain) = Mosquitto::start("at_the_wrong_port", false) else { return };
    let mut gateway =
        Gateway::with(secured(&plain, trusting(&authority.ca()), "3.1.1"), printer(), 8);
    let why = gateway.hear_lost().await;
    assert!(why.contains("secured port, 8883 unless"), "{why}");
    gateway.stop().await;
    let files = authority.issue("broker", |_| {});
    let tls = Mosquitto::configured("at_the_wrong_port", false, &listener(&files, false)).unwrap();
    let mut gateway = Gateway::with(broker(tls.address), printer(), 8);
    assert!(!gateway.hear_lost().await.is_empty());
    gateway.stop().await;
}

/// A password is read anew for each connection, so that it can be changed while the gateway runs.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_a_user() {
    let folder = tempfile::tempdir().unwrap();
    let users = folder.path().join("users");
    let made = Command::new("mosquitto_passwd")
        .arg("-c")
        .arg("-b")
        .args([&users])
        .args(["gateway", "right"])
        .stderr(Stdio::null())
        .status();
    if !made.is_ok_and(|status| status.success()) {
        assert!(std::env::var("CI").as_deref() != Ok("true"), "mosquitto_passwd is not installed");
        eprintln!("SKIPPED with_a_user: mosquitto_passwd is not installed");
        return;
    }
    let lines = format!("allow_anonymous false\npassword_file {}\n", users.display());
    let Some(mosquitto) = Mosquitto::configured("with_a_user", false, &lines) else { return };
    for version in ["3.1.1", "5.0"] {
        let secret = folder.path().join("secret");
        std::fs::write(&secret, "wrong\n").unwrap();
        let mut known = broker(mosquitto.address);
        known.version = serde_json::from_value(json!(version)).unwrap();
        known.user = Some("gateway".to_owned());
        known.password_file = Some(secret.display().to_string());
        let mut gateway = Gateway::with(known, printer(), 8);
        let why = gateway.hear_lost().await;
        assert!(why.contains("user"), "{why}");
        std::fs::write(&secret, "right\n").unwrap();
        gateway.hear_up().await;
        std::fs::remove_file(&secret).unwrap();
        gateway.stop().await;
    }
}
