//! The line operator at the handheld: scans, reads the big answer, does what it says. A scanner is
//! a keyboard that ends with Enter; nothing here needs a pointer.

use stencilward_domain::names::{SlotName, StencilCode};
use stencilward_domain::signal::Said;
use stencilward_tests::browser::{Browser, ENTER, Setup, TAB, Thing};

use super::works::Works;

/// Scans a code.
async fn scan(handheld: &Browser, code: &str) {
    handheld.types(code).await;
    handheld.types(ENTER).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn takes_prints_washes_and_stores() {
    let works = Works::start().await;
    let Some(handheld) = works.browser(Setup::HANDHELD).await else { return };
    works.release("WO-4711").await;

    handheld.goto("/scan").await;
    assert_eq!(handheld.focused().await.1, "Scan a stencil, order, slot, printer or washer");
    handheld.types("WR-101").await;
    handheld.types(TAB).await;
    handheld.types("L. Example").await;
    handheld.types(ENTER).await;
    handheld.sees("Now scan the order").await;
    scan(&handheld, "WO-4711").await;
    handheld.finds(Thing::Heading, "Take it").await;
    handheld.sees("Take it out now, then scan it with the printer.").await;
    let slot = SlotName::new("A1").unwrap();
    works.says("rack-1", &Said::SlotEmptied { slot, code: StencilCode::new("WR-101").ok() }).await;

    works.prints("printer-1", "WR-101", 42).await;
    works.says("printer-1", &Said::Removed).await;

    // Back to its slot, unwashed: no, and why, and what to do.
    scan(&handheld, "WR-101").await;
    handheld.sees("Now scan the order").await;
    scan(&handheld, "A1").await;
    handheld.finds(Thing::Heading, "Do not store it").await;
    handheld.sees("Printed with since its last wash (strokes: 42): wash it first.").await;
    assert!(handheld.overflow().await <= 0);

    scan(&handheld, "WR-101").await;
    handheld.finds(Thing::Button, "I washed it").await;
    reach(&handheld, "I washed it").await;
    handheld.types(ENTER).await;
    handheld.finds(Thing::Heading, "Done").await;

    scan(&handheld, "WR-101").await;
    handheld.sees("Now scan the order").await;
    scan(&handheld, "A1").await;
    handheld.finds(Thing::Heading, "Store it").await;
    handheld.sees("Put it into its slot now.").await;
    handheld.close().await;
}

/// Goes on with the Tab key until this has the focus, which must be seen wherever it is.
async fn reach(browser: &Browser, name: &str) {
    for _ in 0..60 {
        browser.types(TAB).await;
        assert!(browser.shows_focus().await, "{:?}", browser.focused().await);
        if browser.focused().await.1 == name {
            return;
        }
    }
    panic!("the Tab key never comes to {name:?}");
}
