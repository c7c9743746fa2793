//! What else is wrong with a file that cannot be read as a whole.
//!
//! Slips of the pen are read as they were meant, entries that still cannot be read are left out,
//! and the rest is checked, so that nobody has to mend one mistake to be told of the next.

use serde::de::DeserializeOwned;

use crate::configuration::Configuration;
use crate::fault::{Fault, settled};
use crate::lines::Lines;
use crate::read;
use crate::read::tree::Node;

/// A list's entries that can be read, and where each stands in the file.
struct Sound<T> {
    list: &'static str,
    entries: Vec<T>,
    indices: Vec<usize>,
    /// True when none was left out.
    all: bool,
}

impl<T: DeserializeOwned> Sound<T> {
    fn of(root: &Node, list: &'static str) -> Self {
        let (mut entries, mut indices, mut all) = (Vec::new(), Vec::new(), true);
        for (index, node) in root.entry(list).iter().flat_map(|entry| entry.node.items()) {
            match T::deserialize(node.to_json()) {
                Ok(entry) => {
                    entries.push(entry);
                    indices.push(index);
                }
                Err(_) => all = false,
            }
        }
        Self { list, entries, indices, all }
    }
}

/// Adds to faults of the whole what is wrong with all that can be read by itself. `all`: no
/// machine was left out before.
pub(crate) fn with_sound_entries(lines: &Lines, mut faults: Vec<Fault>, all: bool) -> Vec<Fault> {
    let lines = read::mended::<Configuration>(lines);
    let root = lines.root();
    let products = Sound::of(root, "products");
    let stencils = Sound::of(root, "stencils");
    let brokers = Sound::of(root, "brokers");
    let endpoints = Sound::of(root, "cfx");
    let machines = Sound::of(root, "machines");
    let lists = [
        (products.list, products.indices),
        (stencils.list, stencils.indices),
        (brokers.list, brokers.indices),
        (endpoints.list, endpoints.indices),
        (machines.list, machines.indices),
    ];
    let empty = Configuration::empty();
    let known = Configuration {
        listen: value(root, "listen").unwrap_or(empty.listen),
        tls: value(root, "tls"),
        sign_in: value(root, "sign-in"),
        archive: value(root, "archive"),
        zone: value(root, "zone"),
        policy: value(root, "policy").unwrap_or_default(),
        products: products.entries,
        stencils: stencils.entries,
        brokers: brokers.entries,
        cfx: endpoints.entries,
        machines: machines.entries,
        ..empty
    };
    let mut found = known.check_entries();
    // With a faulty machine nobody can say who counts for whom.
    if all && machines.all {
        known.check_counting(&mut found);
    }
    // With a faulty broker nobody can say which names are known.
    if !brokers.all {
        found.retain(|(path, _)| !path.ends_with("mqtt.broker") && !path.ends_with("plug.broker"));
    }
    if !endpoints.all {
        found.retain(|(path, _)| !path.ends_with("cfx.endpoint"));
    }
    for (path, wrong) in &mut found {
        for (list, indices) in &lists {
            *path = restored(indices, list, path);
            *wrong = restored(indices, list, wrong);
        }
    }
    // What is told of a place already may be all that is wrong there.
    found.retain(|(path, _)| faults.iter().all(|fault| fault.path != *path));
    faults.extend(lines.faults(found));
    settled(faults)
}

fn value<T: DeserializeOwned>(root: &Node, key: &str) -> Option<T> {
    T::deserialize(root.entry(key)?.node.to_json()).ok()
}

/// Words in which the entries are counted as in the file.
fn restored(indices: &[usize], list: &str, words: &str) -> String {
    let opening = format!("{list}[");
    let mut parts = words.split(&opening);
    let mut told = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (index, rest) = part.split_once(']').unwrap_or((part, ""));
        let found = index.parse::<usize>().ok().and_then(|index| indices.get(index));
        match found {
            Some(index) => told.push_str(&format!("{opening}{index}]{rest}")),
            None => told.push_str(&format!("{opening}{part}")),
        }
    }
    told
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_slip_elsewhere_hides_neither_zone_nor_address() {
        let text =
            "site: Invented Works\nzone: Mars/Olympus\nlisten: 0.0.0.0:9464\nlanguage: tlh\n";
        let faults = crate::parse("plant.yaml", text).expect_err("it is faulty");
        let paths: Vec<&str> = faults.iter().map(|fault| fault.path.as_str()).collect();
        assert_eq!(paths, ["zone", "listen", "language"]);
    }
}
