//! Questions are answered, and what is not plainly a yes is a no.

use serde_json::json;
use stencilward_adapters::cfx::Machine;
use stencilward_adapters::simulated::Simulated as _;
use stencilward_domain::decision::{Decision, Rule};
use stencilward_domain::names::{OutputName, StencilCode};
use stencilward_domain::signal::Said;

use crate::gateway::{GATEWAY, Gateway, name, rack, until, within};

fn permit() -> Decision {
    serde_json::from_value(json!({
        "rule": "store", "stencil": "ST-1", "slot": null, "reasons": [],
    }))
    .unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_next_panel_comes_in_while_the_gateway_permits() {
    let gateway = Gateway::start();
    let machine = gateway.printer();
    let shown = machine.output(&OutputName::new("next").unwrap()).unwrap();
    gateway.want(true);
    until("the permit", || *shown.borrow()).await;
    until("what was answered", || gateway.notes.last_output() == Some((true, None))).await;
    gateway.want(false);
    until("the refusal", || !*shown.borrow()).await;
    gateway.want(true);
    until("the permit", || *shown.borrow()).await;
    gateway.stop_deaf().await;
    until("a refusal without an answer", || !*shown.borrow()).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_tool_check_is_decided_by_the_gateway() {
    let mut gateway = Gateway::start();
    let machine = Machine::start(gateway.address, GATEWAY, &name("rack-1"), rack());
    let code = StencilCode::new("ST-1").unwrap();
    let ask = Said::StoreAsked { code, slot: None };
    for (decisions, permitted) in [(vec![permit()], true), (Vec::new(), false)] {
        gateway.decisions = decisions;
        machine.say(&ask, Some("REQUEST-7")).await.unwrap();
        let answered = within("the answer", async {
            loop {
                tokio::select! {
                    answered = machine.answered() => break answered.unwrap(),
                    signal = gateway.next() => {
                        if signal.said == ask {
                            assert_eq!(signal.identity.as_deref(), Some("REQUEST-7#0"));
                        }
                    }
                }
            }
        })
        .await;
        assert_eq!(
            (answered.permitted, answered.request.as_deref()),
            (permitted, Some("REQUEST-7"))
        );
    }
    assert_eq!(permit().rule, Rule::Store);
    gateway.stop().await;
}
