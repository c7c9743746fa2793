//! Strokes entered by hand, assigned, split, written off and corrected over HTTP.

mod common;

use common::{act, get, post, send, surface, surface_after, told};
use serde_json::{Value, json};
use stencilward_domain::signal::Said;
use stencilward_web::Surface;

async fn strokes(surface: &Surface, code: &str) -> Value {
    told(surface, get(&format!("/api/v1/stencils/{code}"))).await.1["strokes"].clone()
}

async fn printer(surface: &Surface) -> (Value, Value, Value) {
    let (_, view) = told(surface, get("/api/v1/machines/printer-1")).await;
    let part = |key: &str| view[key].clone();
    (part("booked_strokes"), part("unattributed_strokes"), part("written_off_strokes"))
}

/// A surface on which 12 strokes lie open that nobody's stencil made, and their event.
async fn with_open_strokes() -> (Surface, u64) {
    let surface = surface_after(vec![Said::Removed, Said::StrokesDone { count: 12 }]);
    let list = "stencil,rated_strokes,clean\nST-2,100,true\n";
    let import = post("/api/v1/import/stencils", "text/csv", list);
    assert_eq!(send(&surface, import).await.0.as_u16(), 200);
    let (_, view) = told(&surface, get("/api/v1/unattributed")).await;
    assert_eq!(view["strokes"], 12);
    let open = &view["unattributed"][0];
    assert_eq!((&open["machine"], &open["left"]), (&json!("printer-1"), &json!(12)));
    assert_eq!((&open["why"], &open["candidates"]), (&json!("nothing-seated"), &json!([])));
    assert!(open["in_words"].as_str().is_some_and(|words| words.contains("ask the line")));
    (surface, open["event"].as_u64().expect("a position"))
}

#[tokio::test]
async fn open_strokes_are_split_and_the_rest_is_written_off() {
    let (surface, event) = with_open_strokes().await;
    let path = format!("/api/v1/unattributed/{event}/assign");
    let shares = json!([{ "stencil": "ST-1", "strokes": 7 }, { "stencil": "ST-2", "strokes": 3 }]);
    let said = json!({ "shares": shares, "by": "technician", "why": "the line's book" });
    assert_eq!(told(&surface, act(&path, &said)).await.0, 200);
    assert_eq!(printer(&surface).await, (json!(10), json!(2), json!(0)));
    let (status, view) = told(&surface, act(&path, &said)).await;
    let detail = json!("10 strokes are more than the 2 left open");
    assert_eq!((status, &view["detail"]), (409, &detail));

    let said = json!({ "write_off": 2, "by": "technician", "why": "paste was kneaded" });
    assert_eq!(told(&surface, act(&path, &said)).await.0, 200);
    assert_eq!(printer(&surface).await, (json!(10), json!(0), json!(2)));
    assert_eq!(strokes(&surface, "ST-1").await, 7);
    assert_eq!(strokes(&surface, "ST-2").await, 3);
    let (_, view) = told(&surface, get("/api/v1/unattributed")).await;
    assert_eq!(view, json!({ "strokes": 0, "unattributed": [] }));
}

#[tokio::test]
async fn strokes_entered_by_hand_are_booked_and_can_be_corrected() {
    let surface = surface();
    let said = json!({ "machine": "printer-1", "strokes": 40, "by": "me", "why": "the book" });
    let (status, done) = told(&surface, act("/api/v1/stencils/ST-1/strokes", &said)).await;
    assert_eq!(status, 200);
    assert_eq!(strokes(&surface, "ST-1").await, 40);
    let (_, view) = told(&surface, get("/api/v1/machines/printer-1")).await;
    assert_eq!(view["run"]["strokes"], json!({ "hand": 40 }));

    // The event that booked them is the last before what followed from it.
    let booked = done["event"].as_u64().expect("a position");
    let mut statuses = Vec::new();
    for event in (1..=booked).rev() {
        let path = format!("/api/v1/events/{event}/correct");
        let parts = json!([{ "stencil": "ST-1", "strokes": 4 }]);
        let said = json!({ "shares": parts, "by": "me", "why": "a slip: 4, not 40" });
        let status = told(&surface, act(&path, &said)).await.0;
        statuses.push(status);
        if status == 200 {
            break;
        }
    }
    assert_eq!(statuses.last(), Some(&200), "{statuses:?}");
    assert_eq!(strokes(&surface, "ST-1").await, 4);
}

#[tokio::test]
async fn hostile_second_thoughts_are_refused() {
    let (surface, event) = with_open_strokes().await;
    let json = "application/json";
    let assign = format!("/api/v1/unattributed/{event}/assign");
    let correct = format!("/api/v1/events/{event}/correct");
    let enter = "/api/v1/stencils/ST-1/strokes";
    let share = |strokes: &str| {
        format!(r#"{{"shares":[{{"stencil":"ST-1","strokes":{strokes}}}],"by":"x","why":"y"}}"#)
    };
    let entered = |strokes: &str| {
        format!(r#"{{"machine":"printer-1","strokes":{strokes},"by":"x","why":"y"}}"#)
    };
    let long = format!(r#"{{"write_off":1,"by":"x","why":"{}"}}"#, "y".repeat(501));
    for (request, expected) in [
        (post(&assign, json, share("-1")), 400),
        (post(&assign, json, share("1.5")), 400),
        (post(&assign, json, share("NaN")), 400),
        (post(&assign, json, share("1e3")), 409),
        (post(&assign, json, share("18446744073709551615")), 400),
        (post(&assign, json, share("0")), 409),
        (post(&assign, json, share("1").replace("ST-1", "ST-9")), 409),
        (post(&assign, json, share("1").replace("ST-1", "")), 400),
        (post(&assign, json, share("1").replace("\"by\":\"x\",", "")), 400),
        (post(&assign, json, r#"{"by":"x","why":"y"}"#), 409),
        (post(&assign, json, r#"{"shares":{},"by":"x","why":"y"}"#), 400),
        (post(&assign, json, long), 400),
        (post(&assign, json, &b"{\"by\":\"\xff\"}"[..]), 400),
        (post(&assign, json, "x".repeat(17 * 1024)), 413),
        (post("/api/v1/unattributed/-1/assign", json, share("1")), 404),
        (post("/api/v1/unattributed/18446744073709551616/assign", json, share("1")), 404),
        (post("/api/v1/unattributed/1/assign", json, share("1")), 409),
        (post(&correct, json, share("1")), 409),
        (post(&correct, json, r#"{"wash":true,"by":"x","why":"y"}"#), 409),
        (post(&correct, json, r#"{"wash":false,"by":"x","why":"y"}"#), 400),
        (post(&correct, json, r#"{"wash":true,"shares":[],"by":"x","why":"y"}"#), 400),
        (post(&correct, json, r#"{"by":"x","why":"y"}"#), 400),
        (post(&correct, json, r#"{"wash":true,"by":"x"}"#), 400),
        (post("/api/v1/events/0/correct", json, share("1")), 409),
        (post("/api/v1/events/18446744073709551615/correct", json, share("1")), 404),
        (post("/api/v1/events/x/correct", json, share("1")), 404),
        (post(enter, json, entered("-5")), 400),
        (post(enter, json, entered("0")), 409),
        (post(enter, json, entered("\"5\"")), 400),
        (post(enter, json, entered("5").replace("printer-1", "washer-9")), 409),
        (post(enter, json, r#"{"strokes":5,"by":"x","why":"y"}"#), 400),
        (post("/api/v1/stencils/ST-9/strokes", json, entered("5")), 409),
    ] {
        let what = request.uri().to_string();
        let (status, body) = send(&surface, request).await;
        assert_eq!(status.as_u16(), expected, "{what}: {body}");
    }
    assert_eq!(printer(&surface).await, (json!(0), json!(12), json!(0)), "nothing was changed");
    assert_eq!(strokes(&surface, "ST-1").await, 0);
}
