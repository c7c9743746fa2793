//! Signing in: at a shared station with badge and PIN, elsewhere with a password that must be
//! changed first; what each role is offered; and showing again who one is.

use serde_json::Value;
use stencilward_tests::browser::{Browser, Setup, Thing};

use super::pages::Inspector;
use super::works::Works;

const SIGN_IN: &str = "sign-in: { stations: [127.0.0.1] }\n";
const NEW: &str = "kettle orbit lamp sand";
const NAME: &str = "Name or badge";
const SECRET: &str = "Password, or PIN";

async fn sign_in(browser: &Browser, name: &str, secret: &str) {
    browser.fill(NAME, name).await;
    browser.fill(SECRET, secret).await;
    browser.press(Thing::Button, "Sign in").await;
}

/// The first password is for coming in once.
async fn first_time(browser: &Browser, name: &str, first: &str) {
    browser.arrives("/sign-in?next=%2F").await;
    sign_in(browser, name, first).await;
    browser.finds(Thing::Heading, "Change your password").await;
    browser.fill("Password so far", first).await;
    browser.fill("New password", NEW).await;
    browser.press(Thing::Button, "Change your password").await;
    browser.arrives("/sign-in").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_operator_comes_in_with_badge_and_pin() {
    let works = Works::with(SIGN_IN).await;
    let Some(handheld) = works.browser(Setup::HANDHELD).await else { return };
    let said = works.admit("L. Example", "operator", &["--pin", "--badge", "B-17"]);
    let pin = said["PIN"].as_str().unwrap();
    handheld.goto("/").await;
    first_time(&handheld, "L. Example", said["first password"].as_str().unwrap()).await;
    handheld.goto("/scan").await;
    handheld.arrives("/sign-in?next=%2Fscan").await;
    assert!(handheld.focused().await.1.starts_with(NAME));
    sign_in(&handheld, "B-17", pin).await;
    handheld.arrives("/scan").await;
    handheld.sees("L. Example, line operator").await;
    assert_eq!(handheld.count(Thing::Field, "Who").await, 0, "that is known");

    // What is somebody else's to do is not offered.
    handheld.goto("/stencils/WR-202").await;
    handheld.finds(Thing::Fold, "Put on hold").await;
    for other in ["Grant a concession", "Retire for good", "Enter strokes by hand"] {
        assert_eq!(handheld.count(Thing::Fold, other).await, 0, "{other}");
    }
    works.fault("washer-1", "E17", "rinse water too dirty", true).await;
    handheld.goto("/alarms").await;
    handheld.finds(Thing::Button, "Acknowledge").await;
    assert_eq!(handheld.count(Thing::Button, "Shelve").await, 0);
    handheld.press(Thing::Field, "washer-1 E17").await;
    handheld.press(Thing::Button, "Acknowledge").await;
    works
        .until("it is known who did", "/api/v1/alarms", |seen| {
            seen["alarms"][0]["state"] == "acknowledged"
        })
        .await;

    handheld.press(Thing::Button, "Sign out").await;
    handheld.arrives("/sign-in").await;
    handheld.goto("/alarms").await;
    handheld.arrives("/sign-in?next=%2Falarms").await;
    handheld.close().await;
}

async fn a_manager_signs_in(works: &Works, desk: &Browser) {
    let said = works.admit("M. Example", "manager", &[]);
    desk.goto("/").await;
    first_time(desk, "M. Example", said["first password"].as_str().unwrap()).await;
    sign_in(desk, "M. Example", NEW).await;
    desk.arrives("/").await;
}

/// Grants a concession on the page of a stencil, once that may be.
async fn grant(desk: &Browser) {
    desk.press(Thing::Fold, "Grant a concession").await;
    desk.fill("Strokes", "40").await;
    desk.fill("Why", "its successor comes on Friday").await;
    desk.press(Thing::Button, "Grant a concession").await;
    desk.sees("Concession: 0 of 40 strokes used").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_manager_shows_again_who_they_are_for_a_concession() {
    let works = Works::with(SIGN_IN).await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    a_manager_signs_in(&works, &desk).await;
    desk.goto("/stencils/WR-202").await;
    desk.press(Thing::Fold, "Grant a concession").await;
    desk.sees("Before this can be done, confirm that it is you.").await;
    desk.press(Thing::Link, "Confirm that it is you").await;
    desk.fill(SECRET, "not it").await;
    desk.press(Thing::Button, "Confirm that it is you").await;
    desk.sees("refused").await;
    desk.fill(SECRET, NEW).await;
    desk.press(Thing::Button, "Confirm that it is you").await;
    desk.arrives("/stencils/WR-202").await;
    grant(&desk).await;
    desk.sees("by M. Example: its successor comes on Friday").await;
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_second_person_confirms_where_the_plant_says_so() {
    let works =
        Works::with("sign-in: { stations: [127.0.0.1], second-person: [concession] }\n").await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    let technician = works.admit("T. Example", "technician", &["--pin"]);
    a_manager_signs_in(&works, &desk).await;
    desk.goto("/stencils/WR-202").await;
    desk.press(Thing::Fold, "Grant a concession").await;
    desk.press(Thing::Link, "Confirm that it is you").await;
    desk.fill(SECRET, NEW).await;
    desk.press(Thing::Button, "Confirm that it is you").await;
    desk.goto("/stencils/WR-202").await;
    desk.press(Thing::Fold, "Grant a concession").await;
    assert_eq!(desk.count(Thing::Button, "Grant a concession").await, 0, "one is not enough");
    desk.press(Thing::Link, "Confirm that it is you").await;
    desk.fill(SECRET, NEW).await;
    desk.fill("Name of a second person", "M. Example").await;
    desk.fill("Their password or PIN", NEW).await;
    desk.press(Thing::Button, "Confirm that it is you").await;
    desk.sees("The second person must be another one").await;
    desk.fill(SECRET, NEW).await;
    desk.fill("Name of a second person", "T. Example").await;
    desk.fill("Their password or PIN", technician["PIN"].as_str().unwrap()).await;
    desk.press(Thing::Button, "Confirm that it is you").await;
    desk.arrives("/stencils/WR-202").await;
    grant(&desk).await;
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_guesses_waits() {
    let works = Works::with(SIGN_IN).await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    let said = works.admit("T. Example", "technician", &["--pin"]);
    desk.goto("/sign-in").await;
    for guess in ["123456", "234567", "345678"] {
        sign_in(&desk, "T. Example", guess).await;
        desk.sees("Signing in was refused").await;
    }
    // Now even the right one is not looked at, for a while.
    sign_in(&desk, "T. Example", said["PIN"].as_str().unwrap()).await;
    desk.sees("wait a little and try again").await;
    assert!(desk.path().await.starts_with("/sign-in"));
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_pages_of_the_door() {
    let works = Works::with(SIGN_IN).await;
    let Some(mut inspector) = Inspector::new(&works, Setup::DESK).await else { return };
    let said: Value = works.admit("M. Example", "manager", &[]);
    inspector.visit("sign-in", "/sign-in").await;
    sign_in(&inspector.browser, "M. Example", "not it").await;
    inspector.browser.sees("refused").await;
    inspector.look("sign-in-refused").await;
    inspector.browser.goto("/").await;
    first_time(&inspector.browser, "M. Example", said["first password"].as_str().unwrap()).await;
    sign_in(&inspector.browser, "M. Example", NEW).await;
    inspector.browser.arrives("/").await;
    for (name, path) in [
        ("signed-in-worklist", "/"),
        ("signed-in-scan", "/scan"),
        ("secret", "/secret"),
        ("confirm", "/confirm?next=%2Fstencils%2FWR-202"),
    ] {
        inspector.visit(name, path).await;
    }
    inspector.browser.goto("/stencils/WR-202").await;
    inspector.browser.press(Thing::Fold, "Grant a concession").await;
    inspector.look("signed-in-stencil").await;
    inspector.tell(7).await;
}
