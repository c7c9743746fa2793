//! Sparkplug in the configuration: faults with their keys, and which links follow from it.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

use stencilward_config::Wire;

const PLANT: &str = "\
site: Invented Works
brokers: [{ name: floor, address: \"127.0.0.1:1883\", client: stencilward }]
sparkplug:
  - broker: floor
    reorder-timeout: 1s
    publish-as: { group: G, edge-node: Stencils }
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 8s
    sparkplug:
      broker: floor
      group: G
      edge-node: N
      device: D
      metrics:
        - { signal: stroke-total, name: Strokes, width: 32 }
        - { signal: stencil-seated, name: Stencil }
      outputs:
        - { name: lock, drive: print-permit, metric: Permit }
        - { name: alive, drive: heartbeat, metric: Alive }
  - name: rack-1
    kind: rack
    sparkplug: { broker: floor, group: G, edge-node: R }
";

fn faults(text: &str) -> Vec<String> {
    let faults = stencilward_config::parse("plant.yaml", text).unwrap_err();
    faults.into_iter().map(|fault| fault.path).collect()
}

fn wires(text: &str) -> Vec<Wire> {
    stencilward_config::parse("plant.yaml", text).unwrap().wires()
}

fn named(text: &str, name: &str) -> Option<Wire> {
    wires(text).into_iter().find(|wire| wire.name() == name)
}

#[test]
fn each_fault_is_told_with_its_key() {
    for (was, is, key) in [
        ("broker: floor\n    reorder", "broker: hall\n    reorder", "sparkplug[0].broker"),
        ("      broker: floor\n", "      broker: hall\n", "machines[0].sparkplug.broker"),
        ("edge-node: Stencils", "edge-node: N", "sparkplug[0].publish-as.edge-node"),
        ("edge-node: R }", "edge-node: N, device: D }", "machines[1].sparkplug.device"),
        ("edge-node: R }", "edge-node: a/b }", "machines[1].sparkplug.edge-node"),
        ("kind: printer", "kind: other", "machines[0].sparkplug.outputs[0].drive"),
        ("    fastest-cycle: 8s\n", "", "machines[0].fastest-cycle"),
        ("width: 32", "width: 33", "machines[0].sparkplug.metrics[0].width"),
    ] {
        let text = PLANT.replace(was, is);
        assert_ne!(text, PLANT);
        assert!(faults(&text).contains(&key.to_owned()), "{key}: {:?}", faults(&text));
    }
}

#[test]
fn edge_nodes_and_our_own_have_a_link_each() {
    let host = named(PLANT, "edge nodes at floor").unwrap();
    assert_eq!(host.machines().len(), 2);
    let own = named(PLANT, "edge node G/Stencils at floor").unwrap();
    assert!(own.machines().is_empty());
    // What one of them does not need to know leaves it alone.
    let other = PLANT.replace("edge-node: Stencils", "edge-node: Shown");
    assert_eq!(named(&other, "edge nodes at floor"), Some(host.clone()));
    let other = PLANT.replace("reorder-timeout: 1s", "reorder-timeout: 3s");
    assert_ne!(named(&other, "edge nodes at floor"), Some(host));
    assert_eq!(named(&other, "edge node G/Stencils at floor"), Some(own));
}

/// A number for the strokes of an edge node needs no more than the machine itself.
#[test]
fn a_machine_needs_no_list_at_the_top() {
    let at = PLANT.find("machines:").unwrap();
    let text = format!("{}{}", &PLANT[..PLANT.find("sparkplug:").unwrap()], &PLANT[at..]);
    let names: Vec<String> = wires(&text).iter().map(Wire::name).collect();
    assert_eq!(names, ["broker floor", "edge nodes at floor"]);
}

#[test]
fn on_trial_only_the_heartbeat_is_written() {
    let text = PLANT.replace("kind: printer\n", "kind: printer\n    trial: true\n");
    let tried = format!("{:?}", named(&text, "edge nodes at floor").unwrap());
    assert!(tried.contains("Alive") && !tried.contains("Permit"), "{tried}");
}
