//! The demo as its user sees it: it tells the whole story, serves metrics meanwhile, and ends
//! with nothing lost.

use std::net::SocketAddr;
use std::process::Command;
use std::time::Duration;

use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http;
use stencilward_tests::promtool;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_plays_to_its_end_without_a_difference() {
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.args(["demo", "--for", "55s", "--listen", &address.to_string()]);
    let mut demo = Child::start(&command);
    let line = |wanted: &'static str| move |line: &str| line.contains(wanted).then_some(());
    let limit = Duration::from_secs(60);

    demo.line("a refusal at the rack", limit, line("refused store ST-101: printed with")).await;
    demo.line("the restart", limit, line("gateway    starts again")).await;
    demo.line("the concession", limit, line("grants ST-201 a concession")).await;
    let metrics = http::get(address, "/metrics").await.expect("metrics are served").body;
    let status = demo.exit(limit).await;
    let told = demo.transcript();

    for part in [
        "its counter wrapped",
        "ST-101 is washed",
        "ST-101 is stored in A1",
        "ST-301 is washed",
        "ST-201 is now reorder",
        "ST-201 is now stopped",
        "refused print ST-201: at the end of its life",
        "refused take ST-201: at the end of its life",
        "refused print ST-201: the concession's 25 strokes are used up",
        "Differences: 0",
    ] {
        assert!(told.contains(part), "the demo did not tell {part:?}:\n{told}");
    }
    assert!(status.success(), "{status}:\n{told}");
    check_metrics(&metrics);
}

/// What a manager looks for in `/metrics` while the demo runs.
fn check_metrics(metrics: &str) {
    for part in [
        "stencilward_stencil_strokes_total{stencil=\"ST-101\"} ",
        "stencilward_stencil_life_ratio{stencil=\"ST-201\"} ",
        "stencilward_stencil_cleanliness{cleanliness=\"printed\",stencil=\"ST-102\"} ",
        "stencilward_decisions_total{outcome=\"refused\",reason=\"unwashed\",rule=\"store\"} ",
        "stencilward_decisions_total{outcome=\"refused\",reason=\"worn-out\",rule=\"take\"} 1",
        "stencilward_decisions_total{outcome=\"permitted\",reason=\"none\",rule=\"print\"} ",
        "stencilward_unattributed_strokes{machine=\"printer-1\"} 0",
        "stencilward_machine_up{machine=\"washer-1\"} 1",
        "stencilward_machine_up{machine=\"printer-3\"} 1",
        "stencilward_machine_up{machine=\"washer-2\"} 1",
    ] {
        assert!(metrics.contains(part), "no {part:?} in:\n{metrics}");
    }
    promtool::check_metrics(metrics);
}
