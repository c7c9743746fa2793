//! Orders: how they come, and which stencil is right for them.

mod common;

use common::floor::{Floor, codes};
use common::plant::{MUTE, NAMER, RACK, WASHER, plant_with};
use common::words::{code, machine, order, order_spec, product, seated, take_asked};
use stencilward_domain::event::Event;
use stencilward_domain::names::OrderName;
use stencilward_domain::signal::{OrderSpec, Said, Side};
use stencilward_domain::site::{Reply, Request};

fn by() -> String {
    "M. Example".to_owned()
}

fn release(spec: OrderSpec) -> Request {
    Request::ReleaseOrder { spec, by: by() }
}

fn start(at: &str, name: &str) -> Request {
    Request::StartOrder { machine: machine(at), order: order(name), by: by() }
}

fn finish(at: &str, name: &str, made: Option<u64>) -> Request {
    Request::FinishOrder { machine: machine(at), order: order(name), made, by: by() }
}

fn only(names: &[&str]) -> OrderSpec {
    let stencils = names.iter().map(|name| code(name)).collect();
    OrderSpec { stencils, ..order_spec("WO-1") }
}

#[test]
fn an_order_may_name_the_stencils_it_allows() {
    let mut floor = Floor::new();
    floor.does(&release(only(&["B", "C"])));
    let refused = floor.decides(RACK, take_asked("A", Some("WO-1")));
    assert_eq!(codes(&refused), ["not-for-order"]);
    assert_eq!(refused.order, Some(order("WO-1")));
    assert!(floor.decides(RACK, take_asked("B", Some("WO-1"))).permitted());
}

#[test]
fn the_printer_refuses_a_stencil_that_its_order_does_not_allow() {
    let mut floor = Floor::new();
    floor.does(&release(only(&["B"])));
    floor.bring("A", NAMER);
    assert!(floor.may_print(NAMER));
    floor.does(&start(NAMER, "WO-1"));
    assert_eq!(floor.against_printing(NAMER), ["not-for-order"]);
    assert!(!floor.may_print(NAMER), "at once");
    floor.does(&finish(NAMER, "WO-1", Some(10)));
    assert!(floor.may_print(NAMER));
}

#[test]
fn an_unknown_order_refuses_where_policy_says_so() {
    let mut floor = Floor::new();
    assert!(floor.decides(RACK, take_asked("A", Some("WO-9"))).permitted());
    let mut floor = Floor::of(plant_with(|plant| plant.policy.orders_known = true));
    for (asked, expected) in [(Some("WO-9"), "order WO-9"), (None, "name the order")] {
        let decision = floor.decides(RACK, take_asked("A", asked));
        assert_eq!(codes(&decision), ["unknown-order"]);
        assert!(decision.to_string().contains(expected), "{decision}");
    }
    floor.does(&release(order_spec("WO-9")));
    assert!(floor.decides(RACK, take_asked("A", Some("WO-9"))).permitted());
}

#[test]
fn what_the_machine_does_not_say_of_an_order_is_taken_from_its_release() {
    let mut floor = Floor::new();
    let released = OrderSpec {
        product: Some(product("board-7")),
        side: Some(Side::Top),
        revision: Some("C".to_owned()),
        quantity: Some(40),
        ..only(&["A"])
    };
    floor.does(&release(released.clone()));
    let said = OrderSpec { quantity: Some(24), ..order_spec("WO-1") };
    floor.says(NAMER, Said::OrderStarted(said));
    let running = floor.machine(NAMER).order.clone().unwrap();
    assert_eq!(running, OrderSpec { quantity: Some(24), ..released });
}

#[test]
fn a_second_word_about_the_running_order_starts_no_new_run() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, Said::OrderStarted(order_spec("WO-1")));
    floor.says(NAMER, common::words::strokes(5));
    let more = OrderSpec { quantity: Some(24), ..order_spec("WO-1") };
    floor.says(NAMER, Said::OrderStarted(more.clone()));
    assert_eq!(floor.machine(NAMER).run.booked(&stencilward_domain::plant::Bases::default()), 5);
    assert_eq!(floor.machine(NAMER).order, Some(more.clone()));
    let less = OrderSpec { quantity: Some(12), ..more };
    floor.does(&release(less.clone()));
    assert_eq!(floor.machine(NAMER).order, Some(less), "a new release changes the running order");
}

#[test]
fn an_order_that_runs_elsewhere_too_is_still_known() {
    let mut floor = Floor::new();
    floor.does(&release(order_spec("WO-1")));
    floor.does(&start(NAMER, "WO-1"));
    floor.does(&start(MUTE, "WO-1"));
    floor.does(&finish(NAMER, "WO-1", None));
    assert!(floor.site.state().orders.contains_key(&order("WO-1")));
    floor.does(&finish(MUTE, "WO-1", None));
    assert!(floor.site.state().orders.is_empty());
}

#[test]
fn a_released_order_that_never_started_can_be_ended_by_its_machine() {
    let mut floor = Floor::new();
    floor.does(&release(order_spec("WO-1")));
    floor.says(NAMER, Said::OrderFinished { order: order("WO-1"), made: None });
    assert!(floor.site.state().orders.is_empty());
    let stranger = Said::OrderFinished { order: order("WO-2"), made: None };
    assert_eq!(floor.says(NAMER, stranger), []);
}

#[test]
fn people_start_and_finish_only_what_can_be() {
    let mut floor = Floor::new();
    let refused = |floor: &mut Floor, request: &Request| match floor.ask(request) {
        Reply::Refused(why) => why,
        other => unreachable!("not refused: {other:?}"),
    };
    assert!(refused(&mut floor, &start(NAMER, "WO-1")).contains("release it first"));
    assert!(refused(&mut floor, &start(WASHER, "WO-1")).contains("no printer"));
    assert!(refused(&mut floor, &finish(NAMER, "WO-1", None)).contains("does not run"));
}

#[test]
fn who_asked_and_for_which_order_is_in_the_ledger() {
    let mut floor = Floor::new();
    let request = Request::Take {
        stencil: code("A"),
        rack: None,
        order: Some(OrderName::new("WO-1").unwrap()),
        by: Some(by()),
    };
    floor.decides_for(&request);
    let last = floor.ledger.last().unwrap();
    assert!(matches!(&last.fact.event, Event::Decided { decision, .. }
        if decision.by == Some(by()) && decision.order == Some(order("WO-1"))));
}

#[test]
fn a_seated_stencils_decision_names_the_order_it_is_for() {
    let mut floor = Floor::new();
    floor.says(NAMER, Said::OrderStarted(order_spec("WO-1")));
    floor.says(NAMER, seated("A"));
    let decision = floor.site.print_decision(&machine(NAMER), floor.now);
    assert_eq!(decision.order, Some(order("WO-1")));
}
