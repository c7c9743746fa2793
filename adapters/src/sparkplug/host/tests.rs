//! The host application by table: each test is named after what the specification asks.

use serde_json::json;
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::Said;

use super::*;
use crate::sparkplug::payload::{Metric, PropertySet, PropertyValue, Value, datatype};

const REORDER: Duration = Duration::from_secs(2);
const NODE: &str = "spBv1.0/G/NBIRTH/N";

/// A host, the time, and everything it did.
struct Floor {
    host: Host,
    clock: Duration,
}

fn settings(device: Option<&str>) -> Settings {
    let settings = json!({
        "broker": "b", "group": "G", "edge-node": "N", "device": device,
        "metrics": [
            { "signal": "stencil-seated", "name": "Seated" },
            { "signal": "stroke-total", "name": "Strokes", "width": 32 },
        ],
        "outputs": [{ "name": "lock", "drive": "print-permit", "metric": "Permit" }],
    });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

fn machine() -> MachineName {
    MachineName::new("printer").unwrap()
}

impl Floor {
    fn of(device: Option<&str>) -> Self {
        let host = Host::new(&[(machine(), settings(device))], REORDER);
        Self { host, clock: Duration::from_secs(100) }
    }

    /// Connected, and born with seven strokes.
    fn born() -> Self {
        let mut floor = Self::of(None);
        floor.host.connected(floor.now());
        assert_eq!(floor.say(NODE, birth(0, 0, 7)), ["up", "total 7", "seated ST-1"]);
        assert_eq!(floor.pass(10_000), [""; 0]);
        floor
    }

    fn now(&self) -> Moment {
        Moment { at: Timestamp(i64::try_from(self.clock.as_millis()).unwrap()), clock: self.clock }
    }

    #[expect(clippy::needless_pass_by_value, reason = "each message is made where it is said")]
    fn say(&mut self, topic: &str, payload: Payload) -> Vec<String> {
        let topic = Topic::parse(topic).unwrap();
        words(self.host.hear(&topic, &payload.bytes(), self.now()))
    }

    fn data(&mut self, seq: u64, strokes: u64) -> Vec<String> {
        self.say("spBv1.0/G/NDATA/N", message(seq, vec![total(strokes)]))
    }

    fn pass(&mut self, millis: u64) -> Vec<String> {
        self.clock += Duration::from_millis(millis);
        words(self.host.tick(self.now()))
    }
}

fn words(deeds: Vec<Deed>) -> Vec<String> {
    let mut words = Vec::new();
    for deed in deeds {
        match deed {
            Deed::Ask(node) => words.push(format!("ask {node}")),
            Deed::Trouble(_, kind, _) => words.push(kind.as_str().to_owned()),
            Deed::Deliver(_, signals) => words.extend(signals.into_iter().map(|s| match s.said {
                Said::LinkUp { resumed } => {
                    assert!(!resumed, "nobody keeps what was said meanwhile");
                    "up".to_owned()
                }
                Said::LinkLost { .. } => "lost".to_owned(),
                Said::CounterRead { raw, .. } => format!("total {raw}"),
                Said::Seated { code } => format!("seated {code}"),
                said => said.kind().to_owned(),
            })),
        }
    }
    words
}

fn total(strokes: u64) -> Metric {
    Metric { alias: Some(1), value: Some(Value::Long(strokes)), ..Metric::default() }
}

fn message(seq: u64, metrics: Vec<Metric>) -> Payload {
    Payload { timestamp: Some(1_000 + seq), metrics, seq: Some(seq) }
}

fn named(alias: u64, name: &str, kind: u32, value: Value) -> Metric {
    Metric { alias: Some(alias), ..Metric::new(name, kind, Some(value), 1_000) }
}

fn values(strokes: u64) -> Vec<Metric> {
    vec![
        named(2, "Seated", datatype::STRING, Value::String("ST-1".to_owned())),
        named(1, "Strokes", datatype::UINT64, Value::Long(strokes)),
        named(3, "Permit", datatype::BOOLEAN, Value::Boolean(false)),
    ]
}

fn bd_seq(number: u64) -> Metric {
    Metric::new("bdSeq", datatype::INT64, Some(Value::Long(number)), 1_000)
}

fn birth(number: u64, seq: u64, strokes: u64) -> Payload {
    let mut metrics = vec![bd_seq(number)];
    metrics.extend(values(strokes));
    message(seq, metrics)
}

fn death(number: u64) -> Payload {
    Payload { timestamp: None, metrics: vec![bd_seq(number)], seq: None }
}

const DEATH: &str = "spBv1.0/G/NDEATH/N";

#[test]
fn a_connection_asks_every_edge_node_for_its_birth() {
    let mut floor = Floor::of(None);
    assert_eq!(words(floor.host.connected(floor.now())), ["ask G/N"]);
    assert_eq!(floor.pass(6_900), [""; 0]);
    assert_eq!(floor.pass(200), ["lost"], "who does not answer is not there");
    assert_eq!(floor.pass(3_000), ["ask G/N"], "again, for the first may be lost");
    assert_eq!(floor.pass(600_000), ["ask G/N"], "and is told to be lost once");
    assert_eq!(floor.say(NODE, birth(0, 0, 7)), ["up", "total 7", "seated ST-1"]);
}

/// payloads-alias-data-cmd-requirement, payloads-name-requirement.
#[test]
fn data_are_known_by_alias_or_name() {
    let mut floor = Floor::born();
    assert_eq!(floor.data(1, 8), ["total 8"]);
    let by_name = Metric { name: Some("Strokes".to_owned()), alias: None, ..total(9) };
    assert_eq!(floor.say("spBv1.0/G/NDATA/N", message(2, vec![by_name])), ["total 9"]);
    let strange = Metric { alias: Some(99), ..total(1) };
    let said = floor.say("spBv1.0/G/NDATA/N", message(3, vec![strange, total(10)]));
    assert_eq!(said, ["total 10", "unmapped", "ask G/N"], "the rest counts");
}

/// operational-behavior-host-reordering-start, -success, -rebirth, -param.
#[test]
fn what_comes_out_of_order_is_put_in_order_within_the_time_out() {
    let mut floor = Floor::born();
    assert_eq!(floor.data(1, 8), ["total 8"]);
    assert_eq!(floor.data(3, 10), [""; 0], "it waits for the second");
    assert_eq!(floor.data(4, 11), [""; 0]);
    assert_eq!(floor.pass(1_900), [""; 0]);
    assert_eq!(floor.data(2, 9), ["total 9", "total 10", "total 11"]);
    assert_eq!(floor.host.deadline(), None, "the timer is off");
    assert_eq!(floor.data(6, 13), [""; 0]);
    assert_eq!(floor.pass(1_999), [""; 0]);
    assert_eq!(floor.pass(1), ["missing", "lost", "ask G/N"], "what is known is stale");
    assert_eq!(floor.data(7, 14), [""; 0], "nothing counts before the birth");
    assert_eq!(floor.say(NODE, birth(0, 0, 14)), ["up", "total 14", "seated ST-1"]);
    assert_eq!(floor.data(1, 15), ["total 15"]);
}

#[test]
fn a_repeat_changes_nothing_and_a_jump_back_is_a_gap() {
    let mut floor = Floor::born();
    assert_eq!(floor.data(1, 8), ["total 8"]);
    assert_eq!(floor.data(3, 10), [""; 0]);
    assert_eq!(floor.data(3, 10), [""; 0]);
    assert_eq!(floor.data(2, 9), ["total 9", "total 10"]);
    assert_eq!(floor.data(3, 10), [""; 0]);
    assert_eq!(floor.host.deadline(), None, "the last again leaves no gap");
    floor.pass(5_000);
    assert_eq!(floor.data(2, 9), [""; 0]);
    assert_eq!(floor.pass(2_000), ["missing", "lost", "ask G/N"]);
}

/// topics-ndata-seq-num: 0 follows 255.
#[test]
fn numbers_go_round() {
    let mut floor = Floor::born();
    for round in 0..3_u64 {
        for seq in 0..256_u64 {
            if (round, seq) != (0, 0) {
                let strokes = 7 + round * 256 + seq;
                assert_eq!(floor.data(seq, strokes), [format!("total {strokes}")]);
            }
        }
    }
}

#[test]
fn a_birth_may_have_any_number() {
    let mut floor = Floor::of(None);
    assert_eq!(floor.say(NODE, birth(0, 200, 7)), ["up", "total 7", "seated ST-1"]);
    assert_eq!(floor.data(201, 8), ["total 8"]);
}

/// operational-behavior-edge-node-termination-host-action-ndeath-node-offline, -node-tags-stale.
#[test]
fn a_death_counts_when_it_is_that_of_the_birth() {
    for (number, said) in [(4, vec![]), (5, vec!["lost"]), (6, vec![])] {
        let mut floor = Floor::of(None);
        floor.host.connected(floor.now());
        floor.say(NODE, birth(5, 0, 7));
        assert_eq!(floor.say(DEATH, death(number)), said, "{number}");
    }
    let mut floor = Floor::born();
    assert_eq!(floor.say(DEATH, death(0)), ["lost"]);
    assert!(floor.host.writable(&machine(), "Permit").is_none(), "nothing is written to the dead");
    assert_eq!(floor.data(1, 9), ["ask G/N"], "stale until reborn");
    let later = Payload { timestamp: Some(5_000), ..birth(1, 0, 9) };
    assert_eq!(floor.say(NODE, later), ["up", "total 9", "seated ST-1"]);
    assert_eq!(floor.say(DEATH, death(0)), [""; 0], "the will of the session before");
    assert_eq!(floor.data(1, 10), ["total 10"]);
}

#[test]
fn a_death_without_a_number_must_be_confirmed_by_silence() {
    let mut floor = Floor::born();
    let nameless = Payload { timestamp: None, metrics: vec![], seq: None };
    assert_eq!(floor.say(DEATH, nameless.clone()), ["missing", "ask G/N"]);
    floor.pass(5_000);
    assert_eq!(floor.say(NODE, birth(0, 0, 8)), ["up", "total 8", "seated ST-1"]);
    assert_eq!(floor.say(DEATH, nameless), ["missing", "ask G/N"]);
    floor.pass(5_000);
    assert!(floor.pass(8_000).contains(&"lost".to_owned()), "nobody was born");
}

#[test]
fn a_rebirth_is_not_asked_for_as_fast_as_it_is_answered() {
    let mut floor = Floor::born();
    let strange = || message(1, vec![Metric { alias: Some(99), ..total(1) }]);
    let mut asked = 0;
    for _ in 0..100 {
        let said = floor.say("spBv1.0/G/NDATA/N", strange());
        asked += said.iter().filter(|word| word.starts_with("ask")).count();
        floor.say(NODE, birth(0, 0, 7));
        floor.pass(100);
    }
    assert!((1..=3).contains(&asked), "{asked} in ten seconds");
}

#[test]
fn births_may_overtake_each_other() {
    let mut floor = Floor::of(Some("D"));
    floor.host.connected(floor.now());
    let device = |seq, strokes| message(seq, values(strokes));
    assert_eq!(floor.say("spBv1.0/G/DBIRTH/N/D", device(1, 7)), [""; 0]);
    assert_eq!(floor.say(NODE, message(0, vec![bd_seq(0)])), ["up", "total 7", "seated ST-1"]);
    // What was sent before the next birth is not of that session.
    let early = Payload { timestamp: Some(10), ..message(1, vec![total(9)]) };
    assert_eq!(floor.say("spBv1.0/G/DDATA/N/D", early), [""; 0]);
}

/// operational-behavior-device-ddeath, and of the host: ddeath-devices-offline, -tags-stale;
/// ndeath-devices-offline.
#[test]
fn a_device_dies_alone_or_with_its_edge_node() {
    let mut floor = Floor::of(Some("D"));
    floor.host.connected(floor.now());
    assert_eq!(floor.say(NODE, message(0, vec![bd_seq(0)])), [""; 0]);
    let born = floor.say("spBv1.0/G/DBIRTH/N/D", message(1, values(7)));
    assert_eq!(born, ["up", "total 7", "seated ST-1"]);
    assert_eq!(floor.say("spBv1.0/G/DBIRTH/N/Other", message(2, values(99))), [""; 0]);
    assert_eq!(floor.say("spBv1.0/G/DDATA/N/D", message(3, vec![total(8)])), ["total 8"]);
    assert_eq!(floor.say("spBv1.0/G/DDEATH/N/D", message(4, vec![])), ["lost"]);
    floor.pass(5_000);
    assert_eq!(floor.say("spBv1.0/G/DDATA/N/D", message(5, vec![total(9)])), ["ask G/N"]);
    assert_eq!(floor.say(NODE, message(0, vec![bd_seq(0)])), [""; 0]);
    floor.say("spBv1.0/G/DBIRTH/N/D", message(1, values(9)));
    assert_eq!(floor.say(DEATH, death(0)), ["lost"], "all of them");
}

#[test]
fn a_device_that_is_never_born_is_lost() {
    let mut floor = Floor::of(Some("D"));
    floor.host.connected(floor.now());
    floor.say(NODE, message(0, vec![bd_seq(0)]));
    assert_eq!(floor.pass(6_900), [""; 0]);
    assert_eq!(floor.pass(200), ["lost"]);
}

#[test]
fn the_past_the_stale_and_the_unsupported_are_not_taken_for_now() {
    let quality = |code| {
        let value = PropertyValue { datatype: Some(datatype::INT32), int: Some(code) };
        Some(PropertySet { keys: vec!["Quality".to_owned()], values: vec![value] })
    };
    for (metric, said) in [
        (Metric { is_historical: Some(true), ..total(8) }, vec!["stale"]),
        (Metric { properties: quality(500), ..total(8) }, vec!["stale"]),
        (Metric { properties: quality(0), ..total(8) }, vec!["senseless"]),
        (Metric { properties: quality(192), ..total(8) }, vec!["total 8"]),
        (Metric { value: Some(Value::DataSet(vec![])), ..total(8) }, vec!["unreadable"]),
        (Metric { value: Some(Value::Template(vec![])), ..total(8) }, vec!["unreadable"]),
        (Metric { value: Some(Value::String("x".to_owned())), ..total(8) }, vec!["unreadable"]),
        (Metric { value: Some(Value::Long(1 << 40)), ..total(8) }, vec!["senseless"]),
        (Metric { is_null: Some(true), value: None, ..total(8) }, vec![]),
        (Metric { value: None, ..total(8) }, vec!["missing"]),
    ] {
        let mut floor = Floor::born();
        let case = format!("{metric:?}");
        assert_eq!(floor.say("spBv1.0/G/NDATA/N", message(1, vec![metric])), said, "{case}");
        assert_eq!(floor.data(2, 9), ["total 9"], "it goes on");
    }
}

#[test]
fn a_metric_that_was_not_born_is_told() {
    let mut floor = Floor::of(None);
    let birth = message(0, vec![bd_seq(0), named(1, "strokes", datatype::UINT64, Value::Long(1))]);
    assert_eq!(floor.say(NODE, birth), ["missing", "missing", "up"], "Seated and Strokes");
}

#[test]
fn rubbish_is_counted_and_the_gap_it_leaves_is_seen() {
    let mut floor = Floor::born();
    let topic = Topic::parse("spBv1.0/G/NDATA/N").unwrap();
    assert_eq!(words(floor.host.hear(&topic, &[0xff; 9], floor.now())), ["unreadable"]);
    let numberless = Payload { seq: None, ..message(0, vec![total(8)]) };
    assert_eq!(floor.say("spBv1.0/G/NDATA/N", numberless), ["garbled", "ask G/N"]);
    assert_eq!(floor.data(2, 9), [""; 0]);
    assert_eq!(floor.pass(2_000), ["missing", "lost"]);
}

#[test]
fn a_flood_out_of_order_does_not_wait_for_the_time_out() {
    let mut floor = Floor::born();
    let mut said = Vec::new();
    for seq in 2..200 {
        said.extend(floor.data(seq, 8));
    }
    assert_eq!(said, ["missing", "lost", "ask G/N"]);
}

#[test]
fn a_broker_that_goes_makes_all_of_it_stale() {
    let mut floor = Floor::born();
    assert_eq!(words(floor.host.lost("the broker is gone", floor.now())), ["lost"]);
    assert_eq!(words(floor.host.lost("the broker is gone", floor.now())), [""; 0]);
    assert_eq!(words(floor.host.connected(floor.now())), ["ask G/N"]);
}

proptest::proptest! {
    #[test]
    fn no_message_makes_it_panic(
        messages in proptest::collection::vec(
            (0..6_usize, proptest::collection::vec(proptest::num::u8::ANY, 0..60), 0..300_u64, 0..20_u64),
            0..60,
        ),
    ) {
        let mut floor = Floor::of(Some("D"));
        floor.host.connected(floor.now());
        for (topic, noise, seq, strokes) in messages {
            let topics = ["NBIRTH/N", "NDATA/N", "NDEATH/N", "DBIRTH/N/D", "DDATA/N/D", "DDEATH/N/D"];
            let (kind, rest) = topics[topic].split_once('/').unwrap();
            let topic = Topic::parse(&format!("spBv1.0/G/{kind}/{rest}")).unwrap();
            let payload = if noise.len() % 2 == 0 { noise } else { birth(strokes, seq, strokes).bytes() };
            floor.host.hear(&topic, &payload, floor.now());
            floor.pass(strokes * 100);
        }
    }
}
