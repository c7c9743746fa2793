//! Pages for who is signed in: what each role is offered, and what a page that renews itself may.

mod common;

use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use common::browser::{Browser, DESK, text};
use common::people::{Hall, PASSWORD, admit, hall, hall_with};
use http_body_util::BodyExt as _;
use serde_json::json;
use stencilward_domain::event::Role;
use stencilward_web::{Language, Limits};

async fn signed_in<'a>(hall: &'a Hall, role: Role) -> Browser<'a> {
    admit(hall, role.as_str(), role);
    let mut browser = Browser::at(hall, DESK);
    assert_eq!(browser.sign_in(role.as_str(), PASSWORD).await.status(), StatusCode::OK);
    browser
}

/// The token in the first form of a page.
fn form_token(page: &str) -> String {
    let rest = page.split(r#"name="form-token" value=""#).nth(1).expect("a form's token");
    rest.split('"').next().expect("its end").to_owned()
}

#[tokio::test]
async fn each_role_is_offered_what_it_may_do() {
    let hall = hall_with(|settings| settings.second_person.clear());
    for (role, offered) in [
        (Role::Operator, vec!["wash", "hold"]),
        (Role::Technician, vec!["wash", "hold", "strokes"]),
        (Role::Engineer, vec!["wash", "hold", "strokes"]),
        (Role::Manager, vec!["wash", "hold", "strokes", "concession", "retire"]),
    ] {
        let mut browser = signed_in(&hall, role).await;
        let page = text(browser.get("/stencils/ST-1").await).await;
        for action in ["wash", "hold", "strokes", "concession", "retire"] {
            let shown = page.contains(&format!("id=\"do-{action}\""));
            assert_eq!(shown, offered.contains(&action), "{action} to {role:?}");
        }
        assert!(!page.contains("name=\"by\""), "who acts is known");
        assert!(page.contains(&format!("<strong>{}</strong>", role.as_str())), "{page}");
        assert_eq!(page.contains("/confirm?next=%2Fstencils%2FST-1"), role == Role::Manager);
    }
}

#[tokio::test]
async fn a_form_acts_in_the_name_of_who_is_signed_in() {
    let hall = hall();
    let mut browser = signed_in(&hall, Role::Operator).await;
    let page = text(browser.get("/stencils/ST-1").await).await;
    let token = form_token(&page);
    for planted in ["", "form-token=0000"] {
        let refused = browser.form("/stencils/ST-1/hold", &format!("why=bent&{planted}")).await;
        assert_eq!(refused.status(), StatusCode::FORBIDDEN, "{planted}");
    }
    let fields = format!("why=bent&by=somebody+else&form-token={token}");
    let done = browser.form("/stencils/ST-1/hold", &fields).await;
    assert_eq!(done.status(), StatusCode::SEE_OTHER);
    let page = text(browser.get("/stencils/ST-1").await).await;
    assert!(page.contains("on hold by operator: bent"), "{page}");
    assert!(!page.contains("somebody else"), "{page}");
    // What is not theirs is refused, whatever the page offers.
    for path in ["/stencils/ST-1/release", "/alarms/shelve", "/events/1/correct"] {
        let refused = browser.form(path, &format!("why=x&form-token={token}")).await;
        assert_eq!(refused.status(), StatusCode::FORBIDDEN, "{path}");
    }
}

#[tokio::test]
async fn a_concession_is_offered_once_it_was_confirmed() {
    let hall = hall();
    let mut browser = signed_in(&hall, Role::Manager).await;
    let page = text(browser.get("/stencils/ST-1").await).await;
    assert!(!page.contains("action=\"/stencils/ST-1/concession\""), "{page}");
    let confirm = "/confirm?next=%2Fstencils%2FST-1";
    assert!(page.contains(confirm), "{page}");
    let page = text(browser.get(confirm).await).await;
    let wrong = format!("secret=wrong&next=%2Fstencils%2FST-1&form-token={}", form_token(&page));
    let again = browser.form("/confirm", &wrong).await;
    assert_eq!(again.status(), StatusCode::UNAUTHORIZED);
    let secret = PASSWORD.replace(' ', "+");
    let token = form_token(&text(again).await);
    let right = format!("secret={secret}&next=%2Fstencils%2FST-1&form-token={token}");
    let led = browser.form("/confirm", &right).await;
    assert_eq!(led.headers()["location"].to_str().ok(), Some("/stencils/ST-1"));
    let page = text(browser.get("/stencils/ST-1").await).await;
    assert!(page.contains("action=\"/stencils/ST-1/concession\""), "{page}");
    assert!(!page.contains("action=\"/stencils/ST-1/retire\""), "that needs a second person");
    let fields = format!("strokes=10&why=the+last+lot&form-token={}", form_token(&page));
    let done = browser.form("/stencils/ST-1/concession", &fields).await;
    assert_eq!(done.status(), StatusCode::SEE_OTHER);
    let page = text(browser.get("/stencils/ST-1").await).await;
    assert!(!page.contains("action=\"/stencils/ST-1/concession\""), "once");
}

/// A page that renews itself would keep somebody signed in for ever who left.
#[tokio::test]
async fn what_a_page_asks_by_itself_keeps_nobody_signed_in() {
    let idle = Duration::from_secs(2);
    let hall = hall_with(|settings| settings.elsewhere = Limits { idle, ..settings.elsewhere });
    let mut browser = signed_in(&hall, Role::Operator).await;
    let begun = std::time::Instant::now();
    let renewed = loop {
        let request = Request::get("/").header("stencilward-renewal", "1");
        let request = request.header("accept", "text/html").body(Body::empty());
        let answer = browser.send(request.expect("a request")).await;
        if answer.status() != StatusCode::OK || begun.elapsed() > 5 * idle {
            break answer.status();
        }
        tokio::time::sleep(idle / 10).await;
    };
    assert_eq!(renewed, StatusCode::SEE_OTHER, "led to sign in");
}

/// Whoever signs out, or is changed, sees nothing live any more (ASVS 5.0, 7.4.1).
#[tokio::test]
async fn what_is_live_ends_with_the_session() {
    let hall = hall();
    let mut browser = signed_in(&hall, Role::Technician).await;
    let live = browser.get("/live").await;
    assert_eq!(live.status(), StatusCode::OK);
    assert_eq!(browser.post("/api/v1/sign-out", json!({})).await.status(), StatusCode::OK);
    let mut body = live.into_body();
    let ended = async { while let Some(Ok(_)) = body.frame().await {} };
    let limit = Duration::from_secs(30);
    assert!(tokio::time::timeout(limit, ended).await.is_ok(), "it goes on");
}

#[tokio::test]
async fn the_door_speaks_german_too() {
    let mut hall = hall();
    hall.surface.premises.language = Language::German;
    let mut browser = Browser::at(&hall, DESK);
    let page = text(browser.get("/sign-in").await).await;
    assert!(page.contains("<h1>Anmelden</h1>") && page.contains("lang=\"de\""), "{page}");
    let page = text(browser.form("/sign-in", "name=x&secret=y").await).await;
    assert!(page.contains("Die Anmeldung wurde abgelehnt"), "{page}");
}
