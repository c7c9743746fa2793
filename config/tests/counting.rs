//! Who counts for which printer, by which basis, and what is told where that cannot be.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

#[path = "counting/bases.rs"]
mod bases;
#[path = "counting/faults.rs"]
mod faults;
#[path = "counting/rest.rs"]
mod rest;

use stencilward_config::{Configuration, parse};

/// A plant with a broker and these machines.
fn text(machines: &str) -> String {
    format!(
        "site: Invented Works\n\
         brokers: [{{ name: floor, address: \"127.0.0.1:1883\", client: invented }}]\n\
         machines:\n{machines}"
    )
}

fn good(machines: &str) -> Configuration {
    parse("plant.yaml", &text(machines)).unwrap_or_else(|faults| panic!("{machines}{faults:#?}"))
}

/// The faults as path and what is wrong.
fn faulty(text: &str) -> Vec<(String, String)> {
    let faults = parse("plant.yaml", text).expect_err("there is a fault");
    assert!(faults.iter().all(|fault| fault.line.is_some()), "{faults:#?}");
    faults.into_iter().map(|fault| (fault.path, fault.wrong)).collect()
}

/// The only fault of a plant with these machines.
fn fault(machines: &str) -> (String, String) {
    let mut faults = faulty(&text(machines));
    assert_eq!(faults.len(), 1, "{machines}{faults:#?}");
    faults.remove(0)
}
