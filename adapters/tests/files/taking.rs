//! What is taken in, once, and when it is moved away.

use std::fs;

use stencilward_adapters::files::Machine;
use stencilward_adapters::simulated::{CannotSay, Simulated as _};
use stencilward_domain::event::Event;
use stencilward_domain::names::{OrderName, ProductName, StencilCode};
use stencilward_domain::plant::Plant;
use stencilward_domain::signal::{OrderSpec, Said, Side, Signal};
use stencilward_domain::site::Site;

use crate::support::{Drop, Gateway, name, until};

fn spec() -> OrderSpec {
    OrderSpec {
        product: Some(ProductName::new("Teal sensor").unwrap()),
        side: Some(Side::Top),
        revision: Some("A".to_owned()),
        quantity: Some(400),
        panels_per_stroke: Some(4),
        strokes_per_panel: Some(2),
        setup_strokes: Some(6),
        stencils: vec![StencilCode::new("ST-1").unwrap(), StencilCode::new("ST-2").unwrap()],
        ..OrderSpec::named(OrderName::new("WO-1").unwrap())
    }
}

const LIST: &str = "\
order,product,side,revision,quantity,panels_per_stroke,strokes_per_panel,setup_strokes,stencils
WO-1,Teal sensor,top,A,400,4,2,6,ST-1;ST-2
WO-2,,,,,,,,
";

#[tokio::test]
async fn a_list_is_moved_away_when_all_its_orders_are_durable() {
    let drop = Drop::made();
    let mut gateway = Gateway::up(&drop).await;
    drop.write("week 12.csv", LIST);
    let delivery = gateway.next().await;
    let said: Vec<&Said> = delivery.signals.iter().map(|signal| &signal.said).collect();
    let bare = OrderSpec::named(OrderName::new("WO-2").unwrap());
    assert_eq!(said, [&Said::OrderReleased(spec()), &Said::OrderReleased(bare)]);
    assert_eq!(drop.files(""), ["week 12.csv"]);
    delivery.receipt.send(Vec::new()).unwrap();
    until("the move", || drop.files("").is_empty()).await;
    let done = drop.files("done");
    assert!(done[0].starts_with("week 12.") && done[0].ends_with(".csv"), "{done:?}");
    assert_eq!(fs::read_to_string(drop.path().join("done").join(&done[0])).unwrap(), LIST);
    gateway.stop().await;
}

#[tokio::test]
async fn a_long_list_is_moved_away_after_its_last_lot() {
    let drop = Drop::made();
    let mut gateway = Gateway::up(&drop).await;
    let lines: String = (0..600).map(|row| format!("{{\"order\":\"WO-{row}\"}}\n")).collect();
    drop.write("long.JSONL", lines);
    let mut taken = Vec::new();
    while taken.len() < 600 {
        assert_eq!(drop.files(""), ["long.JSONL"], "after {} orders", taken.len());
        taken.extend(gateway.next_orders().await);
    }
    let all: Vec<String> = (0..600).map(|row| format!("WO-{row}")).collect();
    assert_eq!(taken, all);
    until("the move", || drop.files("").is_empty()).await;
    gateway.stop().await;
}

#[tokio::test]
async fn an_unfinished_file_is_left_alone() {
    let drop = Drop::made();
    let mut gateway = Gateway::up(&drop).await;
    drop.write("half.csv.tmp", "order\nWO-1\nWO");
    drop.write("whole.csv", "order\nWO-9\n");
    assert_eq!(gateway.next_orders().await, ["WO-9"]);
    drop.write("half.csv.tmp", "order\nWO-1\nWO-2\n");
    fs::rename(drop.path().join("half.csv.tmp"), drop.path().join("half.csv")).unwrap();
    assert_eq!(gateway.next_orders().await, ["WO-1", "WO-2"]);
    gateway.stop().await;
}

#[tokio::test]
async fn a_name_that_comes_again_is_another_file() {
    let drop = Drop::made();
    let mut gateway = Gateway::up(&drop).await;
    let mut identities = Vec::new();
    for (content, orders) in [("order\nWO-1\n", 1), ("order\nWO-1\nWO-2\n", 2)] {
        drop.write("orders.csv", content);
        let signals = gateway.next_signals().await;
        assert_eq!(signals.len(), orders);
        identities.extend(signals.into_iter().map(|signal| signal.identity.unwrap()));
        until("the move", || drop.files("").is_empty()).await;
    }
    assert_eq!(drop.files("done").len(), 2);
    identities.sort();
    identities.dedup();
    assert_eq!(identities.len(), 3, "{identities:?}");
    gateway.stop().await;
}

fn releases(site: &mut Site, signals: &[Signal]) -> usize {
    for signal in signals {
        site.hear(signal);
    }
    let fresh = site.take_fresh();
    let released = |event: &Event| matches!(event, Event::OrderReleased { .. });
    fresh.iter().filter(|recorded| released(&recorded.fact.event)).count()
}

/// The gateway ends after the orders are durable and before it has moved the file: the next one
/// takes the file again, and nothing follows from that, though an order was changed meanwhile.
#[tokio::test]
async fn a_crash_before_the_move_changes_nothing() {
    let drop = Drop::made();
    let mut site = Site::new(Plant::default());
    drop.write("orders.csv", LIST);
    let mut gateway = Gateway::up(&drop).await;
    let first = gateway.next().await;
    assert_eq!(releases(&mut site, &first.signals), 2);
    gateway.stop().await;
    assert_eq!(drop.files(""), ["orders.csv"]);

    let changed = Said::OrderReleased(OrderSpec { quantity: Some(300), ..spec() });
    let change = Signal { identity: None, said: changed, ..first.signals[0].clone() };
    assert_eq!(releases(&mut site, &[change]), 1);

    let mut gateway = Gateway::up(&drop).await;
    let again = gateway.next_signals().await;
    assert_eq!(releases(&mut site, &again), 0);
    assert_eq!(site.state().orders[&OrderName::new("WO-1").unwrap()].quantity, Some(300));
    until("the move", || drop.files("").is_empty()).await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_simulated_planner_is_heard_as_it_speaks() {
    let drop = Drop::made();
    let mut gateway = Gateway::up(&drop).await;
    let planner = Machine::start(&drop.path());
    for said in [Said::OrderReleased(spec()), Said::OrderReleased(spec())] {
        planner.say(&said, None).await.unwrap();
        let heard = gateway.next_signals().await.remove(0);
        assert_eq!((heard.machine, heard.said), (name(), said));
    }
    let other = planner.say(&Said::Removed, None).await;
    assert_eq!(other, Err(CannotSay::NotMapped("stencil-removed")));
    gateway.stop().await;
}
