//! What a simulated machine says is what the link hears.

use std::time::Duration;

use proptest::prelude::*;
use proptest::strategy::{Union, ValueTree as _};
use proptest::test_runner::TestRunner;
use serde_json::json;
use stencilward_adapters::mqtt::{Machine, Settings};
use stencilward_adapters::simulated::{CannotSay, Simulated as _};
use stencilward_domain::names::{
    CounterName, MachineName, OrderName, ProductName, SlotName, StencilCode,
};
use stencilward_domain::signal::{
    MachineState, Measurement, OrderSpec, Reading, Said, Side, WashOutcome, Width,
};

use crate::brokers::Embedded;
use crate::gateway::{Gateway, name, printer, settings};

/// Every signal but the machine's own link, each on a topic of its own.
fn everything() -> Settings {
    let order = json!({
        "identity": "/id", "order": "/order", "product": "/p~1q", "side": "/side",
        "revision": "/rev~0", "boards": "/boards", "panels-per-stroke": "/panel/boards",
        "strokes-per-panel": "/panel/strokes", "setup-strokes": "/kneading", "stencils": "/stencils",
    });
    let (mut released, mut started) = (order.clone(), order);
    released["topic"] = json!("released");
    released["signal"] = json!("order-released");
    started["topic"] = json!("started");
    started["signal"] = json!("order-started");
    let messages = json!([
        { "topic": "total", "signal": "stroke-total", "identity": "/id", "width": 64, "value": "/n" },
        { "topic": "done", "signal": "strokes-done", "identity": "/id", "count": "/deep/0/n" },
        { "topic": "wipes", "signal": "wipe-total", "identity": "/id", "width": 64, "value": "/n" },
        { "topic": "wiped", "signal": "wipes-done", "identity": "/id", "count": "/n" },
        { "topic": "boards", "signal": "boards-counted", "identity": "/id", "count": "/n" },
        { "topic": "seat", "signal": "stencil-seated", "identity": "/id", "stencil": "/code" },
        { "topic": "wash", "signal": "wash-began", "identity": "/id", "stencil": "/code",
          "programme": "/programme", "when": { "/event": "began" } },
        { "topic": "wash", "signal": "wash-ended", "identity": "/id", "stencil": "/code",
          "programme": "/programme", "when": { "/event": "ended" }, "outcome": "/how",
          "outcomes": { "ok": "passed", "nok": "failed", "off": "aborted" },
          "measured": [{ "at": "/r", "quantity": "resistivity", "unit": "MΩ·cm" }] },
        { "topic": "full", "signal": "slot-occupied", "identity": "/id", "slot": "/slot",
          "stencil": "/code" },
        { "topic": "empty", "signal": "slot-emptied", "identity": "/id", "slot": "/slot",
          "stencil": "/code" },
        { "topic": "store", "signal": "store-asked", "identity": "/id", "stencil": "/code",
          "slot": "/slot" },
        { "topic": "take", "signal": "take-asked", "identity": "/id", "stencil": "/code",
          "order": "/order", "destination": "/to" },
        { "topic": "state", "signal": "machine-state", "identity": "/id", "value": "/word",
          "states": { "RUN": "running", "IDLE": "idle", "SETUP": "set-up", "DOWN": "down" } },
        { "topic": "fault", "signal": "fault", "identity": "/id", "code": "/code",
          "active": "/active", "text": "/text" },
        { "topic": "tension", "signal": "measured", "identity": "/id", "quantity": "tension",
          "unit": "N/cm", "value": "/value", "stencil": "/code" },
        released,
        started,
        { "topic": "finished", "signal": "order-finished", "identity": "/id", "order": "/order",
          "made": "/made" },
    ]);
    settings(&messages, &json!([]))
}

fn text() -> impl Strategy<Value = String> {
    "\\PC{1,64}".prop_filter("not blank", |text| StencilCode::new(text).is_ok())
}

fn code() -> impl Strategy<Value = StencilCode> {
    text().prop_map(|text| StencilCode::new(&text).unwrap())
}

fn slot() -> impl Strategy<Value = SlotName> {
    text().prop_map(|text| SlotName::new(&text).unwrap())
}

fn order() -> impl Strategy<Value = OrderName> {
    text().prop_map(|text| OrderName::new(&text).unwrap())
}

fn decimal() -> impl Strategy<Value = f64> {
    proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL | proptest::num::f64::ZERO
}

fn order_spec() -> impl Strategy<Value = OrderSpec> {
    let side = prop_oneof![Just(None), Just(Some(Side::Top)), Just(Some(Side::Bottom))];
    let product = proptest::option::of(text());
    let revision = proptest::option::of(text());
    let factor = || proptest::option::of(1..=u32::MAX);
    let numbers = (any::<Option<u64>>(), factor(), factor(), any::<Option<u32>>());
    let stencils = proptest::collection::vec(code(), 0..4);
    (order(), product, side, revision, numbers, stencils).prop_map(
        |(order, product, side, revision, numbers, stencils)| OrderSpec {
            order,
            product: product.map(|text| ProductName::new(&text).unwrap()),
            side,
            revision,
            quantity: numbers.0,
            panels_per_stroke: numbers.1,
            strokes_per_panel: numbers.2,
            setup_strokes: numbers.3,
            stencils,
        },
    )
}

fn counted() -> Vec<BoxedStrategy<Said>> {
    let counter = prop_oneof![Just("strokes"), Just("wipes")];
    let read = |(counter, raw)| Said::CounterRead {
        counter: CounterName::new(counter).unwrap(),
        raw,
        width: Width::Bits64,
        reading: Reading::Reported,
    };
    vec![
        (counter, any::<u64>()).prop_map(read).boxed(),
        any::<u64>().prop_map(|count| Said::WipesDone { count }).boxed(),
        any::<u64>().prop_map(|count| Said::StrokesDone { count }).boxed(),
        any::<u64>().prop_map(|count| Said::BoardsCounted { count }).boxed(),
    ]
}

fn washed() -> Vec<BoxedStrategy<Said>> {
    let outcome = prop_oneof![
        Just(WashOutcome::Passed),
        Just(WashOutcome::Failed),
        Just(WashOutcome::Aborted)
    ];
    let measured = proptest::option::of(decimal().prop_map(|value| Measurement {
        quantity: "resistivity".to_owned(),
        value,
        unit: "MΩ·cm".to_owned(),
    }));
    let which = || (proptest::option::of(code()), proptest::option::of(text()));
    vec![
        which().prop_map(|(code, programme)| Said::WashBegan { code, programme }).boxed(),
        (which(), outcome, measured)
            .prop_map(|((code, programme), outcome, measured)| Said::WashEnded {
                code,
                programme,
                outcome,
                measured: measured.into_iter().collect(),
            })
            .boxed(),
    ]
}

fn stored() -> Vec<BoxedStrategy<Said>> {
    let asked = (code(), proptest::option::of(order()), proptest::option::of(text()));
    let held = || (slot(), proptest::option::of(code()));
    vec![
        code().prop_map(|code| Said::Seated { code }).boxed(),
        Just(Said::Removed).boxed(),
        held().prop_map(|(slot, code)| Said::SlotOccupied { slot, code }).boxed(),
        held().prop_map(|(slot, code)| Said::SlotEmptied { slot, code }).boxed(),
        (code(), proptest::option::of(slot()))
            .prop_map(|(code, slot)| Said::StoreAsked { code, slot })
            .boxed(),
        asked
            .prop_map(|(code, order, destination)| Said::TakeAsked {
                code,
                order,
                destination: destination.map(|text| MachineName::new(&text).unwrap()),
            })
            .boxed(),
    ]
}

fn told() -> Vec<BoxedStrategy<Said>> {
    let state = prop_oneof![
        Just((MachineState::Running, "RUN".to_owned())),
        Just((MachineState::Idle, "IDLE".to_owned())),
        Just((MachineState::SetUp, "SETUP".to_owned())),
        Just((MachineState::Down, "DOWN".to_owned())),
        text().prop_map(|word| (MachineState::Unknown, format!("?{word}"))),
    ];
    let tension = (proptest::option::of(code()), decimal());
    vec![
        state.prop_map(|(state, word)| Said::State { state, word }).boxed(),
        (text(), text()).prop_map(|(code, text)| Said::FaultRaised { code, text }).boxed(),
        text().prop_map(|code| Said::FaultEnded { code }).boxed(),
        tension
            .prop_map(|(code, value)| Said::Measured {
                code,
                measurement: Measurement {
                    quantity: "tension".to_owned(),
                    value,
                    unit: "N/cm".to_owned(),
                },
            })
            .boxed(),
        order_spec().prop_map(Said::OrderReleased).boxed(),
        order_spec().prop_map(Said::OrderStarted).boxed(),
        (order(), any::<Option<u64>>())
            .prop_map(|(order, made)| Said::OrderFinished { order, made })
            .boxed(),
    ]
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_it_says_is_heard() {
    let broker = Embedded::start().await;
    let mut gateway = Gateway::up(broker.address, everything()).await;
    let machine = Machine::start(broker.address, &name("printer-1"), everything());
    let mut runner = TestRunner::default();
    let kinds = [counted(), washed(), stored(), told()].concat();
    let each = kinds.iter().cloned().cycle().take(20 * kinds.len());
    for kind in each {
        let both = (Union::new([kind]), text()).new_tree(&mut runner).unwrap();
        let (said, identity) = both.current();
        machine.say(&said, Some(&identity)).await.unwrap();
        let heard = gateway.next().await;
        assert_eq!((heard.said, heard.identity), (said, Some(identity)));
        assert_eq!(gateway.notes.troubles(), Vec::new());
    }
    gateway.stop().await;
}

/// A machine that tells of its link by itself: the broker's being there says nothing of it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_tells_of_its_own_link() {
    let broker = Embedded::start().await;
    let link = json!({ "topic": "l", "signal": "link", "up": ["online"], "lost": ["offline"] });
    let made_of = settings(&json!([link]), &json!([]));
    let mut gateway = Gateway::start(broker.address, made_of.clone());
    let machine = Machine::start(broker.address, &name("printer-1"), made_of);
    // The first may come before the gateway has subscribed.
    let first = loop {
        machine.say(&Said::LinkUp { resumed: false }, None).await.unwrap();
        let heard = tokio::time::timeout(Duration::from_millis(100), gateway.next()).await;
        if let Ok(signal) = heard {
            break signal.said;
        }
    };
    assert_eq!(first, Said::LinkUp { resumed: false });
    machine.say(&Said::LinkLost { why: String::new() }, None).await.unwrap();
    assert!(gateway.hear_lost().await.contains("says it is gone"));
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_cannot_say_what_its_settings_do_not_map() {
    let broker = Embedded::start().await;
    let machine = Machine::start(broker.address, &name("printer-1"), printer());
    let outcome = machine.say(&Said::Removed, None).await;
    assert_eq!(outcome, Err(CannotSay::NotMapped("stencil-removed")));
    assert_eq!(machine.answered().await, None);
}
