//! The production manager: what to order and by when, a concession for a worn stencil, one that
//! is retired, and paper.

use stencilward_tests::browser::{Setup, Thing};

use super::works::Works;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn sees_what_to_order_and_takes_it_along_on_paper() {
    let works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    desk.goto("/wear").await;
    desk.finds(Thing::Heading, "What to order, the earliest first").await;
    let rows = desk.run("return [...document.querySelectorAll('tbody th')].map(th => th.innerText.split('\\n')[0])").await;
    assert_eq!((rows[0].as_str(), rows[1].as_str()), (Some("WR-202"), Some("WR-201")), "{rows}");
    desk.sees("likely between").await;
    desk.sees("180.00 EUR").await;
    let columns = "return [document.querySelectorAll('svg.chart[role=img] rect').length,
        document.querySelector('svg.chart').getBoundingClientRect().height]";
    let columns = desk.run(columns).await;
    assert!(columns[0].as_u64() >= Some(60), "a column for each day worked: {columns}");
    assert!(columns[1].as_f64() > Some(100.0), "{columns}");

    desk.on_paper(true).await;
    let gone = "return ['header', 'footer', 'form'].filter(name => {
        const found = document.querySelector(name);
        return found && getComputedStyle(found).display !== 'none';
    })";
    assert_eq!(desk.run(gone).await, serde_json::json!([]), "only what is read goes on paper");
    desk.sees("WR-201").await;
    desk.on_paper(false).await;
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn grants_a_concession_and_retires() {
    let works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    desk.goto("/stencils/WR-202").await;
    desk.sees("At the end of its life").await;
    desk.press(Thing::Fold, "Grant a concession").await;
    desk.fill("Strokes", "many").await;
    desk.fill("Strokes", "40").await;
    desk.fill("Why", "its successor comes on Friday").await;
    desk.fill("Who", "M. Example").await;
    desk.press(Thing::Button, "Grant a concession").await;
    desk.sees("Done and kept in the ledger.").await;
    desk.sees("Concession: 0 of 40 strokes used").await;
    desk.sees("Concession for 40 strokes").await;
    desk.goto("/wear").await;
    desk.sees("its successor comes on Friday").await;
    desk.press(Thing::Link, "WR-202").await;

    desk.press(Thing::Fold, "Retire for good").await;
    desk.fill("Why", "bent frame").await;
    desk.fill("Who", "M. Example").await;
    desk.press(Thing::Button, "Retire for good").await;
    desk.sees("Retired: use its successor.").await;
    assert_eq!(desk.count(Thing::Fold, "Grant a concession").await, 0, "nothing is left to do");
    desk.goto("/stencils").await;
    desk.sees("6 found.").await;
    desk.close().await;
}
