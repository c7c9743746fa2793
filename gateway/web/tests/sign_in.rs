//! Signing in as browsers do, and what those try who are not who they say.

mod common;

use std::sync::Arc;

use axum::body::Body;
use axum::http::{Request, StatusCode, header};

use common::browser::{Browser, DESK, STATION, text};
use common::people::{Hall, PASSWORD, PIN, admit, hall, hall_with};

use serde_json::{Value, json};
use stencilward_domain::event::Role;
use stencilward_web::{Changes, Door, DoorSettings, Fresh};

#[tokio::test]
async fn a_cookie_is_for_this_host_and_no_script() {
    let hall = hall();
    admit(&hall, "Anna", Role::Operator);
    let mut browser = Browser::at(&hall, DESK);
    let answer = browser.sign_in("anna", PASSWORD).await;
    assert_eq!(answer.status(), StatusCode::OK);
    let set = answer.headers()[header::SET_COOKIE].to_str().expect("text").to_owned();
    let id = set.split(['=', ';']).nth(1).expect("an id");
    assert_eq!(set, format!("stencilward={id}; Path=/; HttpOnly; SameSite=Strict"));
    assert!(id.len() == 64 && id.bytes().all(|byte| byte.is_ascii_hexdigit()), "{id}");
    assert_eq!(browser.status().await, 200);

    // Under TLS it is bound to the host (RFC 6265bis, 4.1.3.2).
    let hall = hall_with(|settings| settings.secure = true);
    admit(&hall, "Anna", Role::Operator);
    let answer = Browser::at(&hall, DESK).sign_in("Anna", PASSWORD).await;
    let set = answer.headers()[header::SET_COOKIE].to_str().expect("text").to_owned();
    assert!(set.starts_with("__Host-stencilward=") && set.ends_with("; Secure"), "{set}");
    assert!(!set.to_lowercase().contains("domain"), "{set}");
}

#[tokio::test]
async fn each_answer_says_what_browsers_may_not_do() {
    let hall = hall();
    for path in ["/sign-in", "/healthz", "/nowhere", "/api/v1/me"] {
        let answer = Browser::at(&hall, DESK).get(path).await;
        let value = |name: &str| answer.headers()[name].to_str().expect("text");
        assert_eq!(value("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(value("referrer-policy"), "same-origin", "{path}");
        assert_eq!(value("cache-control"), "no-store", "{path}");
        let policy = value("content-security-policy");
        assert!(policy.contains("default-src 'self'"), "{path}");
        assert!(policy.contains("frame-ancestors 'none'") && !policy.contains("unsafe"), "{path}");
    }
}

/// One id that somebody planted is not the one that is signed in.
#[tokio::test]
async fn a_session_cannot_be_planted() {
    let hall = hall();
    admit(&hall, "Anna", Role::Operator);
    let mut browser = Browser::at(&hall, DESK);
    let planted = format!("stencilward={}", "a".repeat(64));
    browser.cookie = Some(planted.clone());
    browser.sign_in("Anna", PASSWORD).await;
    let first = browser.cookie.clone().expect("a cookie");
    assert_ne!(first, planted);
    // Signing in again is a new session, and the old one is over.
    browser.sign_in("Anna", PASSWORD).await;
    assert_ne!(browser.cookie.as_ref(), Some(&first));
    assert_eq!(browser.status().await, 200);
    for old in [planted, first] {
        browser.cookie = Some(old);
        assert_eq!(browser.status().await, 401);
    }
}

#[tokio::test]
async fn signing_out_and_changing_the_password_end_sessions() {
    let hall = hall();
    admit(&hall, "Anna", Role::Operator);
    let (mut here, mut there) = (Browser::at(&hall, DESK), Browser::at(&hall, "192.0.2.8"));
    here.sign_in("Anna", PASSWORD).await;
    there.sign_in("Anna", PASSWORD).await;
    let cookie = here.cookie.clone();
    here.post("/api/v1/sign-out", json!({})).await;
    assert_eq!(here.cookie, None);
    here.cookie = cookie;
    assert_eq!((here.status().await, there.status().await), (401, 200));

    here.cookie = None;
    here.sign_in("Anna", PASSWORD).await;
    let change = |old: &str, new: &str| json!({ "old": old, "password": new });
    let new = "seven blue doors sing";
    for (old, new, status) in [
        ("wrong wrong wrong", new, 401),
        (PASSWORD, "short", 422),
        (PASSWORD, PASSWORD, 422),
        (PASSWORD, new, 200),
    ] {
        let answer = here.post("/api/v1/me/secret", change(old, new)).await;
        assert_eq!(answer.status(), status, "{new}");
    }
    assert_eq!((here.status().await, there.status().await), (401, 401), "everywhere");
    assert_eq!(there.sign_in("Anna", PASSWORD).await.status(), 401);
    assert_eq!(there.sign_in("Anna", new).await.status(), 200);
}

/// A change of role from outside ends the session that had the old one.
#[tokio::test]
async fn a_new_role_needs_a_new_session() {
    let hall = hall();
    admit(&hall, "Anna", Role::Manager);
    admit(&hall, "Ben", Role::Manager);
    let mut browser = Browser::at(&hall, DESK);
    browser.sign_in("Anna", PASSWORD).await;
    let less = Changes { role: Some(Role::Operator), ..Changes::default() };
    hall.file.change(|people| people.change("Anna", less, Hall::said())).expect("changed");
    // The next one who signs in, or the next second, has the file read again.
    Browser::at(&hall, DESK).sign_in("Ben", PASSWORD).await;
    assert_eq!(browser.status().await, 401);
    browser.sign_in("Anna", PASSWORD).await;
    assert_eq!(browser.get("/api/v1/reload").await.status(), 403);
}

#[tokio::test]
async fn a_pin_is_enough_at_a_station_only() {
    let hall = hall();
    admit(&hall, "Anna", Role::Operator);
    let sign_in = async |from: &str, name: &str, secret: &str| {
        Browser::at(&hall, from).sign_in(name, secret).await.status().as_u16()
    };
    assert_eq!(sign_in(STATION, "Anna", PIN).await, 200);
    assert_eq!(sign_in(STATION, "B-Anna", PIN).await, 200);
    assert_eq!(sign_in(STATION, "Anna", PASSWORD).await, 200);
    assert_eq!(sign_in(STATION, "Anna", "270419").await, 401);
    assert_eq!(sign_in(DESK, "Anna", PIN).await, 401);
    // A PIN that was seen does not give away the password.
    let mut station = Browser::at(&hall, STATION);
    station.sign_in("Anna", PIN).await;
    let change = json!({ "old": PIN, "password": "seven blue doors sing" });
    assert_eq!(station.post("/api/v1/me/secret", change).await.status(), 403);
}

/// While somebody guesses, even the right password is refused, and others are let in.
#[tokio::test]
async fn guessing_shuts_the_door_for_that_name_alone() {
    let hall = hall();
    admit(&hall, "Anna", Role::Operator);
    admit(&hall, "Ben", Role::Operator);
    let mut told = Vec::new();
    for secret in ["wrong one", "wrong two", "wrong three", PASSWORD] {
        let answer = Browser::at(&hall, DESK).sign_in("Anna", secret).await;
        told.push((answer.status(), text(answer).await));
    }
    // Whether the name is known, the secret right or it was too often: one sentence.
    for name in ["nobody", "nobody", "nobody", "nobody", "technician program"] {
        let answer = Browser::at(&hall, "192.0.2.9").sign_in(name, PASSWORD).await;
        told.push((answer.status(), text(answer).await));
    }
    assert!(told.iter().all(|one| *one == told[0]), "{told:?}");
    assert_eq!(told[0].0, StatusCode::UNAUTHORIZED);
    let elsewhere = Browser::at(&hall, "198.51.100.1").sign_in("Anna", PASSWORD).await.status();
    assert_eq!(elsewhere, StatusCode::UNAUTHORIZED, "from anywhere");
    assert_eq!(Browser::at(&hall, DESK).sign_in("Ben", PASSWORD).await.status(), StatusCode::OK);
}

/// A page of another origin can neither send our forms nor what the API takes.
#[tokio::test]
async fn pages_of_other_origins_can_do_nothing() {
    let hall = hall();
    admit(&hall, "Anna", Role::Technician);
    let mut browser = Browser::at(&hall, DESK);
    browser.sign_in("Anna", PASSWORD).await;
    let me: Value =
        serde_json::from_str(&text(browser.get("/api/v1/me").await).await).expect("JSON");
    let token = me["form_token"].as_str().expect("a token").to_owned();

    for body in ["", "form-token=", "form-token=x", "form-token=0", "other=1"] {
        assert_eq!(browser.form("/sign-out", body).await.status(), 403, "{body}");
    }
    let hold = "/api/v1/stencils/ST-1/hold";
    let body = r#"{"why": "a dent"}"#;
    for kind in ["text/plain", "multipart/form-data", "text/plain; application/json"] {
        let request = Request::post(hold).header("content-type", kind).body(Body::from(body));
        assert_eq!(browser.send(request.expect("a request")).await.status(), 415, "{kind}");
    }
    let bare = Request::post(hold).body(Body::from(body)).expect("a request");
    assert_eq!(browser.send(bare).await.status(), 415);
    for (name, value) in [
        ("origin", "https://evil.example"),
        ("origin", "http://localhost:1"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        for path in [hold, "/api/v1/sign-in", "/sign-in", "/sign-out"] {
            let request = Request::post(path).header(name, value);
            let request = request.header("content-type", "application/json");
            let answer = browser.send(request.body(Body::from(body)).expect("a request")).await;
            assert_eq!(answer.status(), 403, "{path} {name}: {value}");
        }
    }
    // Another session's token is as good as none.
    let mut other = Browser::at(&hall, DESK);
    other.sign_in("Anna", PASSWORD).await;
    assert_eq!(other.form("/sign-out", &format!("form-token={token}")).await.status(), 403);
    assert_eq!(browser.status().await, 200, "nothing of it signed anybody out");
    let own = browser.form("/sign-out", &format!("a=b&form-token={token}")).await;
    assert_eq!(
        (own.status().as_u16(), own.headers()["location"].to_str().ok()),
        (303, Some("/sign-in"))
    );
    assert_eq!(browser.status().await, 401);
}

/// The page works as a browser uses it, and leads to our own pages only.
#[tokio::test]
async fn the_page_signs_in_and_leads_on() {
    let hall = hall();
    admit(&hall, "Anna", Role::Operator);
    let mut browser = Browser::at(&hall, DESK);
    let request = Request::get("/api/v1/stencils?x=1").header("accept", "text/html,*/*");
    let answer = browser.send(request.body(Body::empty()).expect("a request")).await;
    let location = answer.headers()["location"].to_str().expect("text").to_owned();
    assert_eq!(location, "/sign-in?next=%2Fapi%2Fv1%2Fstencils%3Fx%3D1");
    let page = text(browser.get(&location).await).await;
    assert!(page.contains(r#"name="next" value="/api/v1/stencils?x=1""#), "{page}");
    assert!(page.contains(r#"<label for="name">"#), "{page}");

    let wrong = browser.form("/sign-in", "name=Anna&secret=wrong&next=%2Fmetrics").await;
    assert_eq!(wrong.status(), 401);
    let page = text(wrong).await;
    assert!(page.contains(r#"role="alert""#) && page.contains(r#"value="/metrics""#), "{page}");
    assert!(!page.contains("wrong\""), "what was typed is not shown");

    let secret = PASSWORD.replace(' ', "+");
    for (next, led) in [
        ("%2Fapi%2Fv1%2Fme", "/api/v1/me"),
        ("%2F%2Fevil.example", "/"),
        ("https%3A%2F%2Fevil.example", "/"),
        ("%2Fx%0D%0ASet-Cookie%3A+a%3Db", "/"),
        ("%22%3E%3Cscript%3E", "/"),
    ] {
        let form = format!("name=Anna&secret={secret}&next={next}");
        let answer = browser.form("/sign-in", &form).await;
        assert_eq!(answer.status(), 303, "{next}");
        assert_eq!(answer.headers()["location"].to_str().ok(), Some(led), "{next}");
        assert_eq!(answer.headers().get_all("set-cookie").iter().count(), 1, "{next}");
        let page = text(browser.get(&format!("/sign-in?next={next}")).await).await;
        assert_eq!(page.matches("<script").count(), 1, "{page}");
    }
}

/// A password that somebody else chose opens nothing but the way to one of one's own.
#[tokio::test]
async fn a_first_password_must_be_changed() {
    let hall = hall();
    let first = Fresh::password().expect("a password");
    let password = Some((first.kept, true));
    let changes = Changes { role: Some(Role::Manager), password, ..Changes::default() };
    hall.file.change(|people| people.admit("Anna", changes, Hall::said())).expect("admitted");
    let mut browser = Browser::at(&hall, DESK);
    let answer = browser.form("/sign-in", &format!("name=Anna&secret={}", first.shown)).await;
    assert_eq!(answer.headers()["location"].to_str().ok(), Some("/secret"));
    assert_eq!(browser.get("/api/v1/stencils").await.status(), 403);
    let page = text(browser.get("/secret").await).await;
    let token = page.split(r#"name="form-token" value=""#).nth(1).expect("a token");
    let token = token.split('"').next().expect("a token");
    let secret = PASSWORD.replace(' ', "+");
    let form = format!("old={}&new={secret}&form-token={token}", first.shown);
    assert_eq!(browser.form("/secret", &form).await.status(), 303);
    assert_eq!(browser.sign_in("Anna", PASSWORD).await.status(), 200);
    assert_eq!(browser.get("/api/v1/stencils").await.status(), 200);
}

/// Each concession is confirmed; what the plant says needs two needs two.
#[tokio::test]
async fn what_only_a_manager_may_do_is_confirmed() {
    let hall = hall();
    admit(&hall, "Anna", Role::Manager);
    admit(&hall, "Ben", Role::Technician);
    admit(&hall, "Carl", Role::Operator);
    let mut browser = Browser::at(&hall, DESK);
    browser.sign_in("Anna", PASSWORD).await;
    let grant = "/api/v1/stencils/ST-1/concession";
    let good = || json!({ "strokes": 10, "why": "the last lot" });
    assert_eq!(browser.post(grant, good()).await.status(), 403, "signing in is not enough");

    let alone = json!({ "secret": PASSWORD });
    let before = browser.cookie.clone();
    assert_eq!(browser.post("/api/v1/me/confirm", json!({ "secret": "no" })).await.status(), 401);
    assert_eq!(browser.post("/api/v1/me/confirm", alone.clone()).await.status(), 200);
    assert_ne!(browser.cookie, before, "a session that may more has a new id");
    assert_eq!(browser.post(grant, json!({ "strokes": 10 })).await.status(), 400);
    let granted = browser.post(grant, good()).await.status();
    assert_eq!(granted, 200, "what came to nothing was given back");
    assert_eq!(browser.post(grant, good()).await.status(), 403, "once");

    let retire = "/api/v1/stencils/ST-1/retire";
    let why = || json!({ "why": "torn" });
    browser.post("/api/v1/me/confirm", alone).await;
    assert_eq!(browser.post(retire, why()).await.status(), 403, "two are needed");
    for (second, status) in [("Anna", 409), ("Carl", 409), ("nobody", 401), ("Ben", 200)] {
        let second = json!({ "name": second, "secret": PASSWORD });
        let both = json!({ "secret": PASSWORD, "second": second });
        let answer = browser.post("/api/v1/me/confirm", both).await;
        assert_eq!(answer.status(), status, "{}", text(answer).await);
    }
    assert_eq!(browser.post(retire, why()).await.status(), 200);
}

/// Before there is anybody the door stands open on loopback; from the first person on it is shut,
/// and stays so when the file is lost.
#[tokio::test]
async fn the_first_person_shuts_the_door() {
    let mut hall = hall();
    std::fs::remove_file(hall.file.path()).expect("removed");
    let door = Door::new(DoorSettings::default(), hall.file.clone()).expect("a door");
    hall.surface.door = Arc::new(door);
    let mut browser = Browser::at(&hall, DESK);
    let hold = "/api/v1/stencils/ST-1/hold";
    let body = || json!({ "by": "whoever", "why": "a dent" });
    assert_eq!(browser.post(hold, body()).await.status(), 200);
    admit(&hall, "Anna", Role::Operator);
    // Whoever tries to sign in has the file read again.
    browser.sign_in("nobody", PASSWORD).await;
    assert_eq!(browser.post(hold, body()).await.status(), 401);
    std::fs::remove_file(hall.file.path()).expect("removed");
    browser.sign_in("nobody", PASSWORD).await;
    assert_eq!(browser.post(hold, body()).await.status(), 401);
}

#[tokio::test]
async fn hostile_requests_are_refused() {
    let hall = hall();
    let mut browser = Browser::at(&hall, DESK);
    let long = "x".repeat(15_000);
    for (body, status) in [
        (json!({ "name": long, "secret": "x" }), 401),
        (json!({ "name": "x", "secret": long }), 401),
        (json!({ "name": "a\r\nb: c", "secret": "x" }), 401),
        (json!({ "name": "x", "secret": "x", "role": "manager" }), 400),
        (json!({ "name": "x".repeat(20_000), "secret": "x" }), 413),
        (json!(["x"]), 400),
    ] {
        let answer = browser.post("/api/v1/sign-in", body.clone()).await;
        assert_eq!(answer.status(), status, "{}", body.to_string().len());
        assert!(answer.headers().get("set-cookie").is_none());
    }
    for cookie in ["stencilward=", "stencilward", "stencilward=../../x", "=;;=;", &long] {
        browser.cookie = Some(cookie.to_owned());
        assert_eq!(browser.status().await, 401);
    }
}
