//! Pages that show themselves anew, a connection that is lost and comes back, and pages without a
//! script.

use serde_json::json;
use stencilward_tests::browser::{ENTER, Setup, TAB, Thing};

use super::works::Works;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_page_shows_anew_what_changed_and_keeps_what_is_typed() {
    let mut works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    desk.goto("/stencils/WR-101").await;
    desk.press(Thing::Fold, "Put on hold").await;
    desk.fill("Why", "a scratch near the").await;
    works.prints("printer-1", "WR-101", 7).await;
    desk.sees("Strokes at printer-1: 7").await;
    assert_eq!(desk.filled("Why").await, "a scratch near the");
    // The focus stayed, at the same letter.
    desk.types(" fiducial").await;
    assert_eq!(desk.filled("Why").await, "a scratch near the fiducial");
    assert!(!desk.text().await.contains("Not live at the moment"));

    works.stop();
    desk.sees("Not live at the moment").await;
    assert_eq!(desk.filled("Why").await, "a scratch near the fiducial");
    works.run().await;
    desk.misses("Not live at the moment").await;
    assert_eq!(desk.filled("Why").await, "a scratch near the fiducial");
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_changed_while_the_connection_was_lost_is_shown_when_it_is_back() {
    let mut works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    desk.goto("/stencils/WR-401").await;
    desk.finds(Thing::Heading, "Stencil WR-401").await;
    works.stop();
    desk.sees("Not live at the moment").await;
    works.run().await;
    // Before the page hears of anything again: it must ask.
    let why = json!({ "by": "Q. Example", "why": "seen meanwhile" });
    works.post("/api/v1/stencils/WR-401/hold", why).await;
    desk.misses("Not live at the moment").await;
    desk.sees("seen meanwhile").await;
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn everything_works_without_a_script() {
    let works = Works::start().await;
    let plain = Setup { scripts: false, ..Setup::HANDHELD };
    let Some(handheld) = works.browser(plain).await else { return };
    works.release("WO-4711").await;
    works.fault("washer-1", "E17", "rinse water too dirty", true).await;
    works.prints("printer-1", "WR-302", 12).await;
    works.until("it is told", "/api/v1/alarms", |seen| seen["alarms"][0].is_object()).await;

    handheld.goto("/").await;
    handheld.finds(Thing::Heading, "Worklist of the shift").await;
    assert_eq!(handheld.run("return typeof least").await, "undefined", "no script ran");
    handheld.press(Thing::Link, "Scan something").await;
    handheld.fill("Scan a stencil", "WR-101").await;
    handheld.fill("Who", "L. Example").await;
    handheld.types(ENTER).await;
    handheld.sees("Now scan the order").await;
    handheld.fill("Scan a stencil", "WO-4711").await;
    handheld.press(Thing::Button, "Enter").await;
    handheld.finds(Thing::Heading, "Take it").await;

    handheld.press(Thing::Link, "Alarms").await;
    handheld.press(Thing::Field, "washer-1 E17").await;
    handheld.fill("Who", "L. Example").await;
    handheld.press(Thing::Button, "Acknowledge").await;
    handheld.sees("acknowledged").await;

    handheld.press(Thing::Link, "Stencils").await;
    handheld.fill("Code or product contains", "plover").await;
    handheld.press(Thing::Button, "Show").await;
    handheld.sees("2 found.").await;
    handheld.press(Thing::Link, "WR-301").await;
    handheld.press(Thing::Fold, "Put on hold").await;
    handheld.fill("Why", "tape on it").await;
    handheld.fill("Who", "L. Example").await;
    handheld.press(Thing::Button, "Put on hold").await;
    handheld.sees("Done and kept in the ledger.").await;
    handheld.sees("on hold").await;
    handheld.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_keyboard_is_enough() {
    let works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    desk.goto("/machines").await;
    desk.types(TAB).await;
    assert_eq!(desk.focused().await.1, "Skip to the content");
    assert!(desk.shows_focus().await);
    desk.types(ENTER).await;
    assert_eq!(desk.focused().await.0, "main");
    desk.types(TAB).await;
    assert_eq!(desk.focused().await.1, "printer-1", "the navigation was skipped");

    // In the order in which it is read, and always to be seen.
    desk.goto("/").await;
    let mut order = Vec::new();
    for _ in 0..9 {
        desk.types(TAB).await;
        assert!(desk.shows_focus().await, "{:?}", desk.focused().await);
        order.push(desk.focused().await.1);
    }
    let expected = [
        "Skip to the content",
        "Worklist",
        "Scan",
        "Stencils",
        "Machines",
        "Alarms",
        "Unattributed",
        "Wear",
        "Scan something",
    ];
    assert_eq!(order, expected);
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_reads_german_is_answered_in_german() {
    let works = Works::start().await;
    let german = Setup { language: "de-DE,de,en", ..Setup::DESK };
    let Some(desk) = works.browser(german).await else { return };
    desk.goto("/stencils/WR-202").await;
    assert_eq!(desk.run("return document.documentElement.lang").await, "de");
    desk.sees("9.950").await;
    desk.press(Thing::Link, "Arbeitsliste").await;
    desk.arrives("/").await;
    desk.close().await;
}
