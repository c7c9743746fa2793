//! The demo as people watch it: its pages live while the plant works, through the moment in which
//! its gateway is killed.

use std::net::SocketAddr;
use std::process::Command;

use stencilward_tests::browser::{Browser, LIMIT, Setup, Thing};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::wait::eventually;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_is_watched_live_through_a_kill() {
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let Some(desk) = Browser::open(address, Setup::DESK).await else { return };
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.args(["demo", "--listen", &address.to_string()]);
    let mut demo = Child::start(&command);
    let line = |wanted: &'static str| move |line: &str| line.contains(wanted).then_some(());
    demo.line("where it is", LIMIT, line("Metrics: http://")).await;

    // A stencil's strokes go up by themselves.
    desk.goto("/stencils/ST-101").await;
    desk.sees("Strokes at printer-1: ").await;
    let wear = async || {
        let wear = desk.run("return document.querySelector('svg.ruler').ariaLabel").await;
        let wear = wear.as_str().unwrap_or_default().to_owned();
        wear.split(' ').next().unwrap_or_default().replace(',', "").parse::<u64>().unwrap_or(0)
    };
    let before = wear().await;
    eventually("strokes go up", LIMIT, async || {
        let now = wear().await;
        if now > before { Ok(()) } else { Err(now) }
    })
    .await;

    // Somebody tried to put it back unwashed; the worklist tells it.
    demo.line("a refusal at the rack", LIMIT, line("refused store ST-101: printed with")).await;
    desk.press(Thing::Link, "Worklist").await;
    desk.sees("May not be stored: ST-101").await;

    demo.line("the kill", LIMIT, line("is killed without warning")).await;
    desk.sees("Not live at the moment").await;
    demo.line("the restart", LIMIT, line("starts again")).await;
    desk.misses("Not live at the moment").await;

    // The worn stencil stops, and the manager sees the concession that was granted.
    demo.line("the concession", 2 * LIMIT, line("grants ST-201 a concession")).await;
    desk.press(Thing::Link, "Wear").await;
    desk.sees("its successor is not qualified yet").await;
    desk.close().await;
}
