//! The gateway as an edge node, by table.

use super::*;
use crate::sparkplug::value::Plain;

fn stencil(strokes: u64) -> Arc<ShownStencil> {
    Arc::new(ShownStencil {
        product: None,
        cleanliness: "clean",
        standing: "released",
        wear_band: "in-service",
        place: "slot",
        machine: Some("rack-1".to_owned()),
        slot: Some("A1".to_owned()),
        strokes,
        rated_strokes: 1_000,
        life_ratio: 0.25,
        strokes_since_wash: 0,
        washes: 3,
    })
}

fn shown(stencils: &[(&str, u64)], machines: &[&str]) -> Shown {
    let stencils = stencils.iter().map(|(code, n)| (StencilCode::new(code).unwrap(), stencil(*n)));
    let machine = ShownMachine { up: true, unattributed: 0 };
    let machines = machines.iter().map(|m| (MachineName::new(m).unwrap(), machine.clone()));
    Shown { complete: true, stencils: stencils.collect(), machines: machines.collect() }
}

fn edge() -> Edge {
    Edge::new(NodeName { group: "Plant".to_owned(), node: "Stencils".to_owned() }, 7)
}

fn topics(messages: &[Message]) -> Vec<String> {
    messages.iter().map(|(topic, _)| topic.to_string()).collect()
}

fn names(payload: &Payload) -> Vec<&str> {
    payload.metrics.iter().filter_map(|metric| metric.name.as_deref()).collect()
}

fn seqs(messages: &[Message]) -> Vec<Option<u64>> {
    messages.iter().map(|(_, payload)| payload.seq).collect()
}

/// topics-nbirth-*, topics-dbirth-*, payloads-nbirth-*, payloads-dbirth-order,
/// operational-behavior-data-commands-rebirth-name, -datatype, -value.
#[test]
fn births_come_first_with_every_metric_its_type_and_value() {
    let mut edge = edge();
    let shown = shown(&[("ST-1", 250), ("ST/2", 1)], &["printer-1"]);
    let messages = edge.birth(&shown, 5_000);
    assert_eq!(
        topics(&messages),
        [
            "spBv1.0/Plant/NBIRTH/Stencils",
            "spBv1.0/Plant/DBIRTH/Stencils/ST-1",
            "spBv1.0/Plant/DBIRTH/Stencils/ST%2F2",
        ]
    );
    assert_eq!(seqs(&messages), [Some(0), Some(1), Some(2)]);
    for (_, payload) in &messages {
        assert_eq!(payload.timestamp, Some(5_000));
        for metric in &payload.metrics {
            let null = metric.is_null == Some(true);
            assert!(
                metric.name.is_some() && metric.datatype.is_some() && metric.timestamp.is_some()
            );
            assert_eq!(null, metric.value.is_none(), "{metric:?}");
            Plain::of(metric, metric.datatype).unwrap();
        }
    }
    let node = &messages[0].1.metrics;
    let metric =
        |name: &str| node.iter().find(|metric| metric.name.as_deref() == Some(name)).unwrap();
    let bd_seq = metric("bdSeq");
    assert_eq!((bd_seq.datatype, &bd_seq.value), (Some(datatype::INT64), &Some(Value::Long(7))));
    let rebirth = metric("Node Control/Rebirth");
    assert_eq!(rebirth.datatype, Some(datatype::BOOLEAN));
    assert_eq!((&rebirth.value, rebirth.alias), (&Some(Value::Boolean(false)), None));
    assert_eq!(metric("Machines/printer-1/Up").value, Some(Value::Boolean(true)));
    assert_eq!(metric("Stencils").value, Some(Value::Long(2)));
}

/// topics-ndeath-payload, topics-ndeath-seq, payloads-ndeath-bdseq.
#[test]
fn the_death_bears_the_number_of_the_birth_and_nothing_else() {
    let (topic, death) = edge().death(5_000);
    assert_eq!(topic.to_string(), "spBv1.0/Plant/NDEATH/Stencils");
    assert_eq!(death.seq, None);
    assert_eq!(names(&death), ["bdSeq"]);
    assert_eq!(death.metrics[0].value, Some(Value::Long(7)));
}

/// operational-behavior-data-publish-dbirth-change, topics-ddata-seq-num, topics-ddeath-seq-num.
#[test]
fn only_what_changes_is_told_and_devices_come_and_go() {
    let mut edge = edge();
    edge.birth(&shown(&[("A", 1), ("B", 1)], &["p"]), 0);
    let same = shown(&[("A", 1), ("B", 1)], &["p"]);
    assert_eq!(edge.change(&same, 1), [], "equal values are no news");
    let messages = edge.change(&shown(&[("A", 2), ("B", 1)], &["p"]), 2);
    assert_eq!(topics(&messages), ["spBv1.0/Plant/DDATA/Stencils/A"]);
    assert_eq!(names(&messages[0].1), ["Strokes"]);
    assert_eq!(messages[0].1.metrics[0].datatype, None);
    assert_eq!(seqs(&messages), [Some(3)]);
    let messages = edge.change(&shown(&[("A", 2), ("C", 1), ("D", 1)], &["p"]), 3);
    assert_eq!(
        topics(&messages),
        [
            "spBv1.0/Plant/NDATA/Stencils",
            "spBv1.0/Plant/DDEATH/Stencils/B",
            "spBv1.0/Plant/DBIRTH/Stencils/C",
            "spBv1.0/Plant/DBIRTH/Stencils/D",
        ]
    );
    assert_eq!(names(&messages[0].1), ["Stencils"]);
    assert_eq!(seqs(&messages), [Some(4), Some(5), Some(6), Some(7)]);
    let mut down = shown(&[("A", 2), ("C", 1), ("D", 1)], &["p"]);
    for machine in down.machines.values_mut() {
        machine.up = false;
    }
    let messages = edge.change(&down, 4);
    assert_eq!(names(&messages[0].1), ["Machines/p/Up"]);
}

/// operational-behavior-data-publish-nbirth: every metric that will ever be told is in the birth.
#[test]
fn another_machine_is_another_birth() {
    let mut edge = edge();
    edge.birth(&shown(&[("A", 1)], &["p"]), 0);
    let messages = edge.change(&shown(&[("A", 1)], &["p", "q"]), 1);
    assert_eq!(
        topics(&messages),
        ["spBv1.0/Plant/NBIRTH/Stencils", "spBv1.0/Plant/DBIRTH/Stencils/A"]
    );
    assert_eq!(seqs(&messages), [Some(0), Some(1)]);
}

/// payloads-sequence-num-incrementing.
#[test]
fn numbers_go_round() {
    let mut edge = edge();
    let mut last = edge.birth(&shown(&[("A", 0)], &[]), 0).len() as u64 - 1;
    for strokes in 1..600 {
        let messages = edge.change(&shown(&[("A", strokes)], &[]), 1);
        assert_eq!(seqs(&messages), [Some((last + 1) % 256)]);
        last = (last + 1) % 256;
    }
}

/// operational-behavior-data-commands-rebirth-action-2, -action-3.
#[test]
fn a_rebirth_keeps_its_number() {
    let mut edge = edge();
    let shown = shown(&[("A", 1)], &[]);
    let first = edge.birth(&shown, 0);
    edge.change(&Shown::clone(&shown), 1);
    assert_eq!(edge.birth(&shown, 0), first);
}
