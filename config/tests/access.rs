//! Who may come in: what is read of it, and what is wrong with it.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::time::Duration;

use stencilward_config::Configuration;

fn read(more: &str) -> Result<Configuration, Vec<String>> {
    let text = format!("site: Invented Works\n{more}\n");
    stencilward_config::parse("plant.yaml", &text)
        .map_err(|faults| faults.into_iter().map(|fault| fault.path).collect())
}

#[test]
fn beyond_loopback_there_is_tls() {
    for listen in ["127.0.0.1:1", "'[::1]:1'", "localhost:1"] {
        assert!(read(&format!("listen: {listen}")).is_ok(), "{listen}");
    }
    let tls = "tls: { certificate: own.pem, key: own.key }";
    for listen in ["0.0.0.0:1", "10.0.0.1:1", "'[::]:1'"] {
        assert_eq!(read(&format!("listen: {listen}")).unwrap_err(), ["listen"], "{listen}");
        assert!(read(&format!("listen: {listen}\n{tls}")).is_ok(), "{listen}");
    }
    assert_eq!(read("tls: { certificate: own.pem }").unwrap_err(), ["tls.key"]);
}

#[test]
fn what_cannot_be_is_told() {
    let set = read("sign-in: { stations: [10.0.3.21, 10.0.4.0/24], idle: 10min }").unwrap();
    let sign_in = set.sign_in.unwrap();
    assert_eq!(sign_in.idle.map(|span| span.0), Some(Duration::from_secs(600)));
    for (wrong, path) in [
        ("stations: [desk]", "sign-in.stations[0]"),
        ("stations: [10.0.3.21, 10.0.3.0/33]", "sign-in.stations[1]"),
        ("idle: 5s", "sign-in.idle"),
        ("station-longest: 0s", "sign-in.station-longest"),
        ("second-person: [hold]", "sign-in.second-person[0]"),
        ("password: secret", "sign-in.password"),
    ] {
        assert_eq!(read(&format!("sign-in: {{ {wrong} }}")).unwrap_err(), [path], "{wrong}");
    }
}
