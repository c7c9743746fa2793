//! A simulated machine that fails on demand, and one that speaks of others.

use serde_json::json;
use stencilward_adapters::mqtt::Machine;
use stencilward_adapters::simulated::{Fault, Simulated};
use stencilward_domain::signal::Said;

use crate::brokers::Embedded;
use crate::gateway::{Gateway, name, settings, within};

fn count(count: u64) -> Said {
    Said::StrokesDone { count }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_says_that_it_is_gone_and_what_waited_when_it_is_back() {
    let broker = Embedded::start().await;
    let made_of = settings(
        &json!([
            { "topic": "p", "signal": "strokes-done", "count": "/n", "identity": "/id" },
            { "topic": "l", "signal": "link", "up": ["there"], "lost": ["gone"] },
        ]),
        &json!([]),
    );
    let mut gateway = Gateway::start(broker.address, made_of.clone());
    let machine = Machine::start_announcing(broker.address, &name("printer-1"), made_of);
    gateway.hear_up().await;
    machine.suffer(Fault::Off(true)).await.unwrap();
    assert!(gateway.hear_lost().await.contains("says it is gone"));
    let one = count(1);
    let mut waiting = Box::pin(machine.say(&one, Some("1")));
    let early = std::time::Duration::from_millis(100);
    assert!(tokio::time::timeout(early, &mut waiting).await.is_err(), "it has no power");
    machine.suffer(Fault::Off(false)).await.unwrap();
    within("it has said what waited", waiting).await.unwrap();
    assert_eq!(gateway.next_but_link().await.said, count(1));
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_is_silent_repeats_itself_and_floods() {
    let broker = Embedded::start().await;
    let made_of = settings(
        &json!([{ "topic": "p", "signal": "strokes-done", "count": "/n", "identity": "/id" }]),
        &json!([]),
    );
    let mut gateway = Gateway::up(broker.address, made_of.clone()).await;
    let machine = Machine::start(broker.address, &name("printer-1"), made_of);
    assert!(machine.suffer(Fault::Repeating(1)).await.is_err(), "it has said nothing yet");
    assert!(machine.suffer(Fault::Refusing(Some(6))).await.is_err(), "nobody asks it");
    machine.suffer(Fault::Silent(true)).await.unwrap();
    machine.say(&count(1), Some("1")).await.unwrap();
    machine.suffer(Fault::Silent(false)).await.unwrap();
    machine.say(&count(2), Some("2")).await.unwrap();
    machine.suffer(Fault::Repeating(2)).await.unwrap();
    machine.suffer(Fault::Flooding(3)).await.unwrap();
    machine.say(&count(3), Some("3")).await.unwrap();
    for (said, identity) in [(2, "2"), (2, "2"), (2, "2"), (3, "3")] {
        let heard = gateway.next().await;
        assert_eq!((heard.said, heard.identity.as_deref()), (count(said), Some(identity)));
    }
    assert_eq!(gateway.notes.troubles().len(), 3, "{:?}", gateway.notes.troubles());
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_names_the_machine_it_speaks_of() {
    let broker = Embedded::start().await;
    let made_of = settings(
        &json!([{ "topic": "s", "signal": "stencil-seated", "stencil": "/code", "machine": "/at" }]),
        &json!([]),
    );
    let mut gateway = Gateway::up(broker.address, made_of.clone()).await;
    let machine = Machine::start(broker.address, &name("scanner-1"), made_of);
    assert!(machine.wired_for_others().seat && !machine.wired().seat);
    machine.say_of(&name("printer-9"), &Said::Removed, None).await.unwrap();
    let heard = gateway.next().await;
    assert_eq!((heard.machine, heard.said), (name("printer-9"), Said::Removed));
    gateway.stop().await;
}
