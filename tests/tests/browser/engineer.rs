//! The controls engineer: finds the machine that is wrong, looks at one on trial, and corrects an
//! event.

use std::time::Duration;

use stencilward_adapters::simulated::Fault;
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Said;
use stencilward_tests::browser::{Setup, Thing};

use super::works::Works;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_machine_that_is_wrong_comes_first() {
    let works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    desk.goto("/machines").await;
    let machines = "return [...document.querySelectorAll('main li')].map(li => li.innerText)";
    let first = async || desk.run(machines).await[0].as_str().unwrap_or_default().to_owned();
    assert!(first().await.starts_with("printer-1"), "all are well, by name");

    let (_, printer) = works.plant.machine("printer-2").unwrap();
    printer.suffer(Fault::Off(true)).await.unwrap();
    desk.sees("lost").await;
    let seen = first().await;
    assert!(seen.starts_with("printer-2") && seen.contains("unit 1 at 127.0.0.1"), "{seen}");
    desk.press(Thing::Link, "printer-2").await;
    desk.sees("Link to printer-2 is lost").await;
    printer.suffer(Fault::Off(false)).await.unwrap();
    works.until("it is up", "/api/v1/machines/printer-2", |machine| machine["link"] == "up").await;
    desk.sees("Link to printer-2 is up").await;
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_on_trial_shows_what_it_says() {
    let works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    let code = StencilCode::new("WR-302").unwrap();
    works.says("printer-3", &Said::Seated { code }).await;
    works.says("printer-3", &Said::StrokesDone { count: 3 }).await;
    desk.goto("/machines").await;
    desk.sees("on trial: shown, changes nothing").await;
    desk.press(Thing::Link, "printer-3").await;
    desk.sees("Heard on trial").await;
    // What is heard on trial is no event, so the page does not show itself anew.
    stencilward_tests::wait::eventually("both are shown", Duration::from_secs(20), async || {
        desk.reload().await;
        let seen = desk.text().await;
        let both = seen.contains("strokes-done") && seen.contains("WR-302");
        if both { Ok(()) } else { Err(seen) }
    })
    .await;
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_event_is_corrected_and_stays() {
    let works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    works.prints("printer-1", "WR-302", 55).await;
    desk.goto("/stencils/WR-302").await;
    let event = "return [...document.querySelectorAll('.history li')]
        .find(li => li.innerText.includes('Strokes at printer-1: 55')).querySelector('a.event').innerText";
    let event = desk.run(event).await.as_str().unwrap().to_owned();
    desk.press(Thing::Link, &event).await;
    desk.sees("Correct this event").await;
    assert_eq!(desk.filled("Strokes").await, "55");
    desk.fill("Strokes", "50").await;
    desk.fill("Why", "five were understencil wipes").await;
    desk.fill("Who", "E. Example").await;
    desk.press(Thing::Button, "Correct this event").await;
    desk.sees("corrected from 55 to 50 strokes by E. Example: five were understencil wipes").await;
    desk.press(Thing::Link, "WR-302").await;
    desk.sees("corrected from 55 to 50 strokes").await;
    desk.sees("Strokes at printer-1: 55").await;
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn strokes_of_nobody_are_given_to_a_stencil_and_the_rest_written_off() {
    let works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    works.says("printer-1", &Said::StrokesDone { count: 30 }).await;
    works
        .until("they are nobody's", "/api/v1/machines/printer-1", |machine| {
            machine["unattributed_strokes"] == 30
        })
        .await;
    desk.goto("/").await;
    desk.press(Thing::Link, "Say whose 30 strokes are").await;
    desk.sees("30 strokes at printer-1").await;
    desk.fill("Why", "the line leader said so").await;
    desk.fill("Who", "E. Example").await;
    desk.press(Thing::Button, "Keep this").await;
    desk.sees("Say of at least one stencil how many strokes it made").await;
    desk.fill("Stencil", "WR-301").await;
    desk.fill("Strokes", "31").await;
    desk.press(Thing::Button, "Keep this").await;
    desk.sees("30").await;
    desk.fill("Stencil", "WR-301").await;
    desk.fill("Strokes", "25").await;
    desk.press(Thing::Button, "Keep this").await;
    desk.sees("5 strokes at printer-1").await;
    desk.fill("Strokes of no stencil, to write off", "5").await;
    desk.fill("Why", "a dry run without a stencil").await;
    desk.fill("Who", "E. Example").await;
    desk.press(Thing::Button, "Keep this").await;
    desk.sees("Every stroke has its stencil.").await;
    works
        .until("they count for it", "/api/v1/stencils/WR-301", |stencil| {
            stencil["strokes_since_wash"] == 25
        })
        .await;
    desk.close().await;
}
