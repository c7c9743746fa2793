//! What the API promises beside its shapes: parts of lists, the past, problems with types.

mod common;

use common::{act, answer, get, post, send, surface, told};
use serde_json::{Value, json};
use stencilward_web::Surface;

const STENCILS: &str = "/api/v1/stencils";

/// Twenty-five stencils beside the one that is there.
async fn many() -> Surface {
    let surface = surface();
    let rows = (0..25).map(|n| format!("ST-{n:03},100\n")).collect::<String>();
    let list = format!("stencil,rated_strokes\n{rows}");
    let import = post("/api/v1/import/stencils?by=me", "text/csv", list);
    assert_eq!(send(&surface, import).await.0.as_u16(), 200);
    surface
}

/// Follows `next` to the end; gives all entries, and checks that no part is larger than asked.
async fn follow(surface: &Surface, path: &str, list: &str, most: usize) -> Vec<Value> {
    let (mut all, mut path) = (Vec::new(), path.to_owned());
    loop {
        let (status, body) = told(surface, get(&path)).await;
        assert_eq!(status, 200, "{path}: {body}");
        let part = body[list].as_array().expect("a list").clone();
        assert!(part.len() <= most, "{path}");
        all.extend(part);
        assert!(all.len() < 1_000, "{path} goes on for ever");
        match body["next"].as_str() {
            Some(next) => path = next.to_owned(),
            None => return all,
        }
    }
}

#[tokio::test]
async fn parts_of_a_list_are_the_list() {
    let surface = many().await;
    let whole = follow(&surface, STENCILS, "stencils", 500).await;
    assert_eq!(whole.len(), 26);
    for limit in [1, 7, 25, 26, 1_000] {
        let path = format!("{STENCILS}?limit={limit}");
        assert_eq!(follow(&surface, &path, "stencils", limit).await, whole, "{limit}");
    }
    let first = answer(&surface, get(&format!("{STENCILS}?limit=7"))).await;
    let link = first.headers()["link"].to_str().expect("text").to_owned();
    assert!(link.starts_with("</api/v1/stencils?limit=7&after="), "{link}");
    assert!(link.ends_with(">; rel=\"next\""), "{link}");
    for wrong in ["limit=0", "limit=1001", "limit=x", "after=", "after=g0", "page=2"] {
        assert_eq!(told(&surface, get(&format!("{STENCILS}?{wrong}"))).await.0, 400, "{wrong}");
    }
}

#[tokio::test]
async fn events_are_told_in_parts_and_by_what_they_are_about() {
    let surface = many().await;
    let all = follow(&surface, "/api/v1/events", "events", 500).await;
    let places: Vec<u64> = all.iter().filter_map(|event| event["position"].as_u64()).collect();
    assert_eq!(places, (1..=all.len() as u64).collect::<Vec<_>>());
    assert_eq!(follow(&surface, "/api/v1/events?limit=3", "events", 3).await, all);
    for (query, wanted) in [
        ("stencil=ST-007", all.iter().filter(|e| e["stencil"] == "ST-007").count()),
        ("stream=stencil/ST-007", all.iter().filter(|e| e["stream"] == "stencil/ST-007").count()),
        (
            "kind=stencil-registered&limit=2",
            all.iter().filter(|e| e["event"] == "stencil-registered").count(),
        ),
        ("machine=printer-1", all.iter().filter(|e| e["machine"] == "printer-1").count()),
        ("stencil=ST-007&kind=nothing", 0),
    ] {
        let found = follow(&surface, &format!("/api/v1/events?{query}"), "events", 500).await;
        assert_eq!(found.len(), wanted, "{query}");
    }
    let (_, one) = told(&surface, get("/api/v1/events/3")).await;
    assert_eq!(one, all[2]);
    for missing in ["0", "99999", "x", "18446744073709551615"] {
        let path = format!("/api/v1/events/{missing}");
        assert_eq!(told(&surface, get(&path)).await.0, 404, "{missing}");
    }
    let (_, history) = told(&surface, get("/api/v1/stencils/ST-007/history?limit=1")).await;
    let last = all.iter().rfind(|event| event["stream"] == "stencil/ST-007");
    assert_eq!(history["events"].as_array().map(Vec::as_slice), last.map(std::slice::from_ref));
    assert_eq!(told(&surface, get("/api/v1/stencils/ST-999/history")).await.0, 404);
}

/// Each problem has a type, and its type is explained where it points.
#[tokio::test]
async fn a_problem_says_what_kind_it_is() {
    let surface = surface();
    let hold = "/api/v1/stencils/ST-1/hold";
    let said = json!({ "by": "me", "why": "a dent" });
    let mut bound = act(hold, &said);
    bound.headers_mut().insert("if-match", "\"other\"".parse().expect("a header"));
    for (request, status, word) in [
        (get("/api/v1/stencils/ST-9"), 404, "not-found"),
        (get("/nowhere"), 404, "not-found"),
        (get(hold), 405, "other-method"),
        (post(hold, "application/json", "{"), 400, "bad-request"),
        (post(hold, "text/plain", "{}"), 415, "other-form"),
        (post("/api/v1/import/stencils", "text/csv", "x\n1\n"), 422, "faulty"),
        (
            act("/api/v1/machines/nowhere/start", &json!({ "order": "O", "by": "me" })),
            409,
            "refused",
        ),
        (bound, 412, "changed-meanwhile"),
    ] {
        let what = format!("{} {}", request.method(), request.uri());
        let response = answer(&surface, request).await;
        assert_eq!(response.headers()["content-type"], "application/problem+json", "{what}");
        assert_eq!(response.status().as_u16(), status, "{what}");
        let body = axum::body::to_bytes(response.into_body(), 10_000).await.expect("a body");
        let body: Value = serde_json::from_slice(&body).expect("JSON");
        let path = format!("/problems/{word}");
        assert_eq!(body["type"], path, "{what}");
        let (status, text) = send(&surface, get(&path)).await;
        assert!(status.is_success() && text.starts_with(body["title"].as_str().expect("text")));
    }
    let (_, view) = told(&surface, get("/api/v1/stencils/ST-1")).await;
    assert_eq!(view["standing"], "released", "nothing of it was done");
}

#[tokio::test]
async fn the_measures_of_alarms_are_told() {
    let (status, report) = told(&surface(), get("/api/v1/alarms/report")).await;
    assert_eq!((status, &report["told"]), (200, &json!(4)));
    assert_eq!(report["top"][0], json!({ "alarm": "link-lost:machine:printer-1", "told": 3 }));
}

#[tokio::test]
async fn wear_is_told_as_days() {
    let (status, wear) = told(&surface(), get("/api/v1/wear")).await;
    assert_eq!(status, 200);
    let worn = &wear["stencils"][0];
    assert_eq!(worn["stencil"], "ST-1");
    let day =
        |text: &Value| text.as_str().is_some_and(|day| day.len() == 10 && day.starts_with("20"));
    assert!(
        wear["daily"].as_array().is_some_and(|days| days.iter().all(|d| day(&d["day"]))),
        "{wear}"
    );
    assert!(worn["reorder"]["is"].is_string() && worn["stop"]["is"].is_string(), "{wear}");
}
