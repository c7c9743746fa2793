//! The routes as a client meets them, good and hostile, over a small site.

mod common;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use common::{get, post, send, surface};
use serde_json::Value;

#[tokio::test]
async fn a_refusal_says_why_and_what_to_do() {
    let surface = surface();
    let path = "/api/v1/stencils/ST-1/store";
    let (status, body) = send(&surface, post(path, "application/json", "{}")).await;
    let body: Value = serde_json::from_str(&body).expect("JSON");
    assert_eq!(status, StatusCode::OK);
    assert_eq!(body["permitted"], false);
    assert_eq!(body["reasons"][0]["code"], "cleanliness-unknown");
    assert_eq!(body["reasons"][0]["sentence"], "nobody knows whether it is clean: wash it");
    assert!(body["reasons"][0]["because"].is_u64());
}

#[tokio::test]
async fn a_hold_needs_who_and_why_and_then_holds() {
    let surface = surface();
    let path = "/api/v1/stencils/ST-1/hold";
    for (body, missing) in [("{}", "by is missing"), (r#"{"by":"x","why":" "}"#, "why is missing")]
    {
        let (status, said) = send(&surface, post(path, "application/json", body)).await;
        assert_eq!(status, StatusCode::BAD_REQUEST);
        assert!(said.contains(missing), "{said}");
    }
    let body = r#"{"by": "the technician", "why": "a dent"}"#;
    assert_eq!(send(&surface, post(path, "application/json", body)).await.0, StatusCode::OK);
    assert_eq!(send(&surface, post(path, "application/json", body)).await.0, StatusCode::CONFLICT);
    let (_, view) = send(&surface, get("/api/v1/stencils/ST-1")).await;
    let view: Value = serde_json::from_str(&view).expect("JSON");
    assert_eq!((&view["standing"], &view["hold"]["why"]), (&"on-hold".into(), &"a dent".into()));
}

#[tokio::test]
async fn hostile_requests_are_refused() {
    let surface = surface();
    let hold = "/api/v1/stencils/ST-1/hold";
    let json = "application/json";
    let long = format!(r#"{{"by":"x","why":"{}"}}"#, "y".repeat(501));
    for (request, expected) in [
        (post(hold, json, "{"), StatusCode::BAD_REQUEST),
        (post(hold, json, r#"{"by":"x","why":"y","more":1}"#), StatusCode::BAD_REQUEST),
        (post(hold, json, "[".repeat(10_000)), StatusCode::BAD_REQUEST),
        (post(hold, json, "x".repeat(17 * 1024)), StatusCode::PAYLOAD_TOO_LARGE),
        (post(hold, json, long), StatusCode::BAD_REQUEST),
        (post(hold, "text/plain", r#"{"by":"x","why":"y"}"#), StatusCode::UNSUPPORTED_MEDIA_TYPE),
        (post("/api/v1/stencils/ST-1/explode", json, "{}"), StatusCode::NOT_FOUND),
        (post("/api/v1/stencils/%07/hold", json, "{}"), StatusCode::BAD_REQUEST),
        (get("/api/v1/stencils/ST-9"), StatusCode::NOT_FOUND),
        (get("/api/v1/stencils/..%2f..%2fetc"), StatusCode::NOT_FOUND),
        (get("/nowhere"), StatusCode::NOT_FOUND),
    ] {
        let what = request.uri().to_string();
        assert_eq!(send(&surface, request).await.0, expected, "{what}");
    }
    let (_, view) = send(&surface, get("/api/v1/stencils/ST-1")).await;
    assert!(view.contains(r#""standing":"released""#), "nothing of it changed anything: {view}");
}

/// A page of another origin cannot reach the gateway through a name that resolves to loopback.
#[tokio::test]
async fn other_names_than_loopbacks_are_refused() {
    let surface = surface();
    let foreign = Request::get("/metrics").header("host", "plant.example:9464");
    let foreign = foreign.body(Body::empty()).expect("a request");
    assert_eq!(send(&surface, foreign).await.0, StatusCode::FORBIDDEN);
    assert_eq!(send(&surface, get("/metrics")).await, (StatusCode::OK, "x 1\n".to_owned()));
}

#[tokio::test]
async fn readiness_tells_the_truth() {
    let surface = surface();
    assert_eq!(send(&surface, get("/healthz")).await.0, StatusCode::OK);
    let (status, said) = send(&surface, get("/readyz")).await;
    assert_eq!((status, said.as_str()), (StatusCode::SERVICE_UNAVAILABLE, "not ready: starting\n"));
    surface.readiness.works();
    assert_eq!(send(&surface, get("/readyz")).await.0, StatusCode::OK);
    surface.readiness.troubled("the ledger takes no writes");
    assert_eq!(send(&surface, get("/readyz")).await.0, StatusCode::SERVICE_UNAVAILABLE);
}
