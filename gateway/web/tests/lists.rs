//! Lists over HTTP: taken in whole or not at all, every fault told, and given out again.

mod common;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use common::{get, post, send, surface, told};
use serde_json::json;

const IMPORT: &str = "/api/v1/import/stencils";
const CSV: &str = "text/csv";

fn asking(path: &str, accept: &str) -> Request<Body> {
    let request = Request::get(path).header("host", "localhost").header("accept", accept);
    request.body(Body::empty()).expect("a request")
}

#[tokio::test]
async fn a_dry_run_tells_what_would_change_and_changes_nothing() {
    let surface = surface();
    let list = "stencil,rated_strokes,price\nST-2,500,\nST-1,100,\nST-3,900,12.5\n";
    let dry = format!("{IMPORT}?dry-run=true");
    let (status, view) = told(&surface, post(&dry, "text/csv; charset=utf-8", list)).await;
    let counts = json!({
        "dry_run": true, "new": 2, "revised": 0, "same": 1, "changes": [], "faults": [],
    });
    assert_eq!((status, &view), (200, &counts));
    assert_eq!(send(&surface, get("/api/v1/stencils/ST-2")).await.0, StatusCode::NOT_FOUND);

    let (status, view) = told(&surface, post(IMPORT, CSV, list)).await;
    assert_eq!((status, &view["new"], &view["dry_run"]), (200, &json!(2), &json!(false)));
    let (_, view) = told(&surface, get("/api/v1/stencils/ST-3")).await;
    assert_eq!((&view["price"], &view["strokes"]), (&json!(12.5), &json!(0)));

    let list = "{\"stencil\":\"ST-2\",\"lead_days\":21}\n";
    let (_, view) = told(&surface, post(IMPORT, "application/x-ndjson", list)).await;
    let changes = ["lead_days 21, not known before"];
    assert_eq!(view["changes"], json!([{ "line": 1, "stencil": "ST-2", "changes": changes }]));
    let (_, view) = told(&surface, get("/api/v1/stencils/ST-2")).await;
    assert_eq!(view["lead_days"], 21);
}

#[tokio::test]
async fn with_one_fault_nothing_is_taken_in_and_all_are_told() {
    let surface = surface();
    let list = "stencil,rated_strokes,side\nST-2,500,top\nST-3,-1,up\nST-4,,\n";
    let (status, view) = told(&surface, post(IMPORT, CSV, list)).await;
    assert_eq!(status, 422);
    assert_eq!(view["detail"], "3 faults, so nothing is taken in: mend the list and send it again");
    let lines: Vec<_> = view["faults"].as_array().expect("faults").iter().collect();
    assert_eq!((&lines[0]["line"], &lines[0]["column"]), (&json!(3), &json!("side")));
    assert_eq!((&lines[1]["line"], &lines[1]["column"]), (&json!(3), &json!("rated_strokes")));
    assert_eq!((&lines[2]["line"], &lines[2]["column"]), (&json!(4), &json!("rated_strokes")));
    let dry = format!("{IMPORT}?dry-run=true");
    let (status, again) = told(&surface, post(&dry, CSV, list)).await;
    assert_eq!((status, &again["faults"]), (200, &view["faults"]));

    let list = "stencil,rated_strokes,strokes_so_far\nST-2,500,\nST-1,,7\n";
    let (status, view) = told(&surface, post(IMPORT, CSV, list)).await;
    assert_eq!((status, &view["faults"][0]["column"]), (422, &json!("strokes_so_far")));
    assert_eq!(send(&surface, get("/api/v1/stencils/ST-2")).await.0, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn what_was_exported_comes_in_again_as_the_same() {
    let surface = surface();
    let list = "stencil,rated_strokes,source\n\"=ST,\"\"2\"\"\",500,old book\n";
    assert_eq!(send(&surface, post(&format!("{IMPORT}?by=me"), CSV, list)).await.0, StatusCode::OK);
    for (request, kind) in [
        (get("/api/v1/export/stencils"), CSV),
        (get("/api/v1/export/stencils?form=jsonl"), "application/jsonl"),
        (asking("/api/v1/export/stencils", "application/jsonl"), "application/jsonl"),
        (asking("/api/v1/export/stencils", "text/html, text/csv;q=0.9, */*"), CSV),
    ] {
        let (status, list) = send(&surface, request).await;
        assert_eq!(status, StatusCode::OK);
        assert_eq!(list.starts_with('{'), kind != CSV, "{list}");
        let (status, view) = told(&surface, post(IMPORT, kind, list)).await;
        assert_eq!((status, &view["same"], &view["new"]), (200, &json!(2), &json!(0)), "{view}");
    }
}

#[tokio::test]
async fn hostile_lists_are_refused() {
    let surface = surface();
    let large = "x".repeat(16 * 1024 * 1024 + 1);
    let fine = "stencil,rated_strokes\nST-9,1\n";
    for (request, expected) in [
        (post(IMPORT, CSV, large), StatusCode::PAYLOAD_TOO_LARGE),
        (post(IMPORT, CSV, &b"stencil\n\xff\xfe\n"[..]), StatusCode::UNPROCESSABLE_ENTITY),
        (post(IMPORT, CSV, ""), StatusCode::UNPROCESSABLE_ENTITY),
        (post(IMPORT, CSV, "stencil\n\"ST-2"), StatusCode::UNPROCESSABLE_ENTITY),
        (post(IMPORT, CSV, "stencil,sponsor\nST-2,me\n"), StatusCode::UNPROCESSABLE_ENTITY),
        (post(IMPORT, CSV, "{\"stencil\":\"ST-2\"}"), StatusCode::UNPROCESSABLE_ENTITY),
        (post(IMPORT, "application/jsonl", "[".repeat(100_000)), StatusCode::UNPROCESSABLE_ENTITY),
        (post(IMPORT, "application/json", "[]"), StatusCode::UNSUPPORTED_MEDIA_TYPE),
        (post(IMPORT, "text/plain", fine), StatusCode::UNSUPPORTED_MEDIA_TYPE),
        (post(&format!("{IMPORT}?dry-run=maybe"), CSV, fine), StatusCode::BAD_REQUEST),
        (post(&format!("{IMPORT}?dry_run=true"), CSV, fine), StatusCode::BAD_REQUEST),
        (post(&format!("{IMPORT}?by=%20"), CSV, fine), StatusCode::BAD_REQUEST),
        (get("/api/v1/export/stencils?form=xlsx"), StatusCode::BAD_REQUEST),
        (get(IMPORT), StatusCode::METHOD_NOT_ALLOWED),
    ] {
        let what = format!("{} {:?}", request.uri(), request.headers());
        assert_eq!(send(&surface, request).await.0, expected, "{what}");
    }
    let (_, view) = told(&surface, get("/api/v1/stencils")).await;
    assert_eq!(view["stencils"].as_array().map(Vec::len), Some(1), "nothing came in: {view}");
}
