//! A printer that is commanded and answers: obeyed, refused, unanswered, and well again.

use std::net::SocketAddr;

use stencilward_tests::http;
use stencilward_tests::wait::eventually;

use crate::files::TWO_PRINTERS;
use crate::{LIMIT, hear, rehearse_text};

/// The second printer is told to permit and to refuse by commands.
fn commanded() -> String {
    let state = "topic: p2/lock, permit: go, refuse: stop, read-back: p2/locked }";
    let command = r#"topic: p2/do, number: /no, permit: '{"print": "on"}', refuse: '{"print": "off"}', answer: { topic: p2/done, number: /no, value: /state, done: [ok], refused: [denied], within: 500ms } }"#;
    assert!(TWO_PRINTERS.contains(state));
    TWO_PRINTERS.replace(state, command)
}

async fn troubled(address: SocketAddr, kind: &str) {
    let line = format!("stencilward_link_troubles_total{{kind=\"{kind}\",machine=\"printer-2\"}} ");
    eventually(kind, LIMIT, async || {
        let metrics = http::get(address, "/metrics").await.map_or_else(String::new, |m| m.body);
        let told = metrics.lines().find_map(|text| text.strip_prefix(line.as_str()));
        if told.is_some_and(|told| told != "0") { Ok(()) } else { Err(format!("{told:?}")) }
    })
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_commanded_printer_obeys_refuses_and_falls_silent() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = rehearse_text(folder.path(), &commanded(), &["--by-hand"]);
    let metrics = hear(&mut child, &["Metrics: http://"]).await;
    let address = metrics.split('/').nth(2).and_then(|address| address.parse().ok());
    let address: SocketAddr = address.unwrap_or_else(|| panic!("no address in {metrics:?}"));
    child.tell("printer-2 seats ST-2");
    hear(&mut child, &["printer-2", "was given ST-2"]).await;
    child.tell("printer-2 prints 3");
    hear(&mut child, &["printer-2", "is done: 3 of 3 strokes"]).await;
    child.tell("printer-2 disobeys");
    hear(&mut child, &["printer-2", "does not follow its outputs"]).await;
    child.tell("printer-2 empties");
    troubled(address, "disobeyed").await;
    child.tell("printer-2 silent");
    hear(&mut child, &["printer-2", "says nothing"]).await;
    troubled(address, "timed-out").await;
    child.tell("printer-2 well");
    hear(&mut child, &["printer-2", "is well again"]).await;
    child.tell("printer-2 seats ST-1");
    hear(&mut child, &["printer-2", "was given ST-1"]).await;
    child.tell("printer-2 prints 2");
    hear(&mut child, &["printer-2", "is done: 2 of 2 strokes"]).await;
    child.tell("end");
    let status = child.exit(LIMIT).await;
    assert!(status.success(), "{}", child.transcript());
}
