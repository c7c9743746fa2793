//! Who may what: the table against the routes, each with each role and nobody.

mod common;

use std::net::IpAddr;

use axum::body::Body;
use axum::http::{Method, Request, StatusCode};
use common::people::{Hall, hall, hall_with};
use common::send;
use stencilward_domain::event::Role;
use stencilward_web::{Least, Rate, Row, TABLE};

/// Somebody who asks: nobody, or a program with a token of this role.
fn askers() -> Vec<Option<Role>> {
    std::iter::once(None).chain(Role::ALL.map(Some)).collect()
}

fn request(hall: &Hall, method: &str, path: &str, role: Option<Role>) -> Request<Body> {
    let method = Method::from_bytes(method.as_bytes()).expect("a method");
    let request = Request::builder().method(method).uri(path.replace('*', "1"));
    let request = request.header("host", "localhost").header("content-type", "application/json");
    let request = match role {
        Some(role) => request.header("authorization", format!("Bearer {}", hall.token(role))),
        None => request,
    };
    request.body(Body::from("[")).expect("a request")
}

/// A body that is none keeps the routes from doing anything: what comes through is answered by
/// whoever is behind the door, in other words than the door's.
#[tokio::test]
async fn each_route_lets_in_whom_the_table_names_and_nobody_else() {
    let hall = hall_with(|settings| {
        settings.of_session = Rate { burst: 1_000, steady: 1_000 };
    });
    for row in TABLE {
        for role in askers() {
            let (status, body) =
                send(&hall.surface, request(&hall, row.method, row.path, role)).await;
            let what = format!("{} {} as {role:?}: {status} {body}", row.method, row.path);
            match (row.least.allows(role), role) {
                (true, _) if row.confirmed.is_some() => {
                    assert_eq!(status, StatusCode::FORBIDDEN, "{what}");
                    assert!(body.contains("only people may do this"), "{what}");
                }
                (true, _) => {
                    assert!(!body.contains("there is no such page"), "no such route: {what}");
                    assert_ne!(status, StatusCode::METHOD_NOT_ALLOWED, "{what}");
                    assert!(!body.contains("sign in at /sign-in"), "{what}");
                    assert_ne!(status, StatusCode::FORBIDDEN, "{what}");
                }
                (false, None) => assert_eq!(status, StatusCode::UNAUTHORIZED, "{what}"),
                (false, Some(_)) => {
                    assert_eq!(status, StatusCode::FORBIDDEN, "{what}");
                    assert!(body.contains("this needs the role"), "{what}");
                }
            }
        }
    }
}

/// The table itself, written down a second time, by what matters most.
#[test]
fn the_table_gives_nobody_more_than_is_meant() {
    let least = |path: &str| -> Vec<(&str, Least)> {
        let fit = |row: &&Row| row.path == path;
        TABLE.iter().filter(fit).map(|row| (row.method, row.least)).collect()
    };
    for (path, role) in [
        ("/api/v1/stencils/*/concession", Role::Manager),
        ("/api/v1/stencils/*/withdraw", Role::Manager),
        ("/api/v1/stencils/*/retire", Role::Manager),
        ("/api/v1/stencils/*/release", Role::Technician),
        ("/api/v1/events/*/correct", Role::Engineer),
    ] {
        assert_eq!(least(path), [("POST", Least::Role(role))], "{path}");
    }
    let free = TABLE.iter().filter(|row| row.least == Least::Anybody);
    let free: Vec<(&str, &str)> = free.map(|row| (row.method, row.path)).collect();
    assert_eq!(
        free,
        [
            ("GET", "/healthz"),
            ("GET", "/readyz"),
            ("GET", "/openapi.json"),
            ("GET", "/problems/*"),
            ("GET", "/about"),
            ("GET", "/assets/page.css"),
            ("GET", "/assets/page.js"),
            ("GET", "/assets/icon.svg"),
            ("GET", "/sign-in"),
            ("POST", "/sign-in"),
            ("POST", "/api/v1/sign-in"),
        ]
    );
}

/// What no row names is refused, also to who may everything, and tells nobody what there is.
#[tokio::test]
async fn what_the_table_does_not_name_is_refused() {
    let hall = hall();
    for path in ["/nowhere", "/api/v1/nothing", "/api/v1/stencils/*/explode", "/..%2f..%2fetc"] {
        for method in ["GET", "POST", "DELETE"] {
            let ask = |role| send(&hall.surface, request(&hall, method, path, role));
            assert_eq!(ask(None).await.0, StatusCode::UNAUTHORIZED, "{method} {path}");
            assert_eq!(ask(Some(Role::Manager)).await.0, StatusCode::NOT_FOUND, "{method} {path}");
        }
    }
    for method in ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"] {
        let ask = |role| send(&hall.surface, request(&hall, method, "/api/v1/stencils", role));
        assert_eq!(ask(None).await.0, StatusCode::UNAUTHORIZED, "{method}");
        assert_eq!(ask(Some(Role::Manager)).await.0, StatusCode::METHOD_NOT_ALLOWED, "{method}");
    }
}

/// Other spellings of a path are no way around the table.
#[tokio::test]
async fn a_path_has_one_spelling() {
    let hall = hall();
    for path in [
        "/api/v1/stencils/ST-1/%63oncession",
        "/api/v1/stencils/ST-1/concession/",
        "/api/v1//stencils/ST-1/concession",
        "/api/v1/stencils/../stencils/ST-1/concession",
        "/api/v1/stencils/ST-1/take/../concession",
        "/API/v1/stencils/ST-1/concession",
        "/metrics/../healthz",
        "/healthz/../metrics",
        "/healthz%2f..%2fmetrics",
    ] {
        let asked = request(&hall, "POST", path, Some(Role::Operator));
        assert_eq!(send(&hall.surface, asked).await.0, StatusCode::NOT_FOUND, "{path}");
        let asked = request(&hall, "GET", path, None);
        assert_eq!(send(&hall.surface, asked).await.0, StatusCode::UNAUTHORIZED, "{path}");
    }
}

/// Whoever acts is who the token says, not who the request says.
#[tokio::test]
async fn who_acts_is_who_showed_it() {
    let hall = hall();
    let bearer = format!("Bearer {}", hall.token(Role::Technician));
    for (path, body) in [
        ("/api/v1/stencils/ST-1/hold", r#"{"by": "the manager", "why": "a dent"}"#),
        ("/api/v1/stencils/ST-1/hold", r#"{"why": "a dent"}"#),
    ] {
        let request = Request::post(path).header("host", "localhost");
        let request = request.header("authorization", &bearer);
        let request = request.header("content-type", "application/json").body(Body::from(body));
        send(&hall.surface, request.expect("a request")).await;
    }
    let view = request(&hall, "GET", "/api/v1/stencils/ST-1", Some(Role::Operator));
    let (_, view) = send(&hall.surface, view).await;
    assert!(view.contains(r#""by":"technician program""#), "{view}");
    assert!(!view.contains("the manager"), "{view}");
}

/// A token that ended, was changed or is none lets nobody in, not even where anybody may.
#[tokio::test]
async fn a_token_that_ended_is_none() {
    let hall = hall();
    let ask = |token: &str| {
        let request = Request::get("/api/v1/stencils").header("host", "localhost");
        let request = request.header("authorization", format!("Bearer {token}"));
        let request = request.body(Body::empty()).expect("a request");
        async { send(&hall.surface, request).await.0 }
    };
    assert_eq!(ask(&hall.token(Role::Operator)).await, StatusCode::OK);
    assert_eq!(ask(&hall.ended).await, StatusCode::UNAUTHORIZED);
    for none in ["", "x", &"0".repeat(64), &"f".repeat(100_000)] {
        assert_eq!(ask(none).await, StatusCode::UNAUTHORIZED);
    }
}

/// Too many requests of one address, or of one program, wait; others do not.
#[tokio::test]
async fn who_asks_too_often_waits() {
    let hall = hall();
    let ask = |from: &str, token: Option<String>| {
        let mut asked = Request::get("/api/v1/me").header("host", "localhost");
        if let Some(token) = token {
            asked = asked.header("authorization", format!("Bearer {token}"));
        }
        let mut asked = asked.body(Body::empty()).expect("a request");
        let from: IpAddr = from.parse().expect("an address");
        asked.extensions_mut().insert(stencilward_web::Peer(from));
        common::answer(&hall.surface, asked)
    };
    // A slow machine lets the bucket fill again meanwhile, but not as fast as it is emptied.
    let most = 4 * common::people::BURST;
    let mut last = ask("192.0.2.7", None).await;
    for _ in 0..most {
        if last.status() == StatusCode::TOO_MANY_REQUESTS {
            break;
        }
        last = ask("192.0.2.7", None).await;
    }
    assert_eq!(last.status(), StatusCode::TOO_MANY_REQUESTS);
    let wait = last.headers()["retry-after"].to_str().expect("text");
    assert!(wait.parse::<u64>().is_ok_and(|wait| (1..=60).contains(&wait)), "{wait}");
    assert_eq!(ask("192.0.2.8", None).await.status(), StatusCode::UNAUTHORIZED);
    // One program from many addresses.
    let token = hall.token(Role::Operator);
    for count in 0..common::people::BURST {
        let answer = ask(&format!("198.51.100.{count}"), Some(token.clone())).await;
        assert_eq!(answer.status(), StatusCode::OK, "{count}");
    }
    let mut answer = ask("198.51.100.200", Some(token.clone())).await;
    for count in 0..most {
        if answer.status() == StatusCode::TOO_MANY_REQUESTS {
            break;
        }
        answer = ask(&format!("203.0.113.{}", count % 250), Some(token.clone())).await;
    }
    assert_eq!(answer.status(), StatusCode::TOO_MANY_REQUESTS);
    let other = ask("198.51.100.200", Some(hall.token(Role::Manager))).await;
    assert_eq!(other.status(), StatusCode::OK);
}
