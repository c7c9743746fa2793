//! A machine on trial over HTTP.

mod common;

use common::{act, get, surface_after, surface_trying, told};
use serde_json::json;
use stencilward_domain::names::{CounterName, StencilCode};
use stencilward_domain::signal::{Reading, Said, Width};

const TRIAL: &str = "/api/v1/machines/printer-1/trial";
const COMPARE: &str = "/api/v1/machines/printer-1/trial/compare";

fn reads(raw: u64) -> Said {
    let counter = CounterName::new("strokes").expect("a name");
    Said::CounterRead { counter, raw, width: Width::Bits16, reading: Reading::Polled }
}

#[tokio::test]
async fn what_it_says_is_shown() {
    let seated = Said::Seated { code: StencilCode::new("ST-1").unwrap() };
    let surface = surface_trying(vec![seated, reads(7), reads(9)]);
    let (status, body) = told(&surface, get(TRIAL)).await;
    assert_eq!(status, 200, "{body}");
    let about: Vec<_> =
        body["heard"].as_array().unwrap().iter().map(|h| (&h["signal"], &h["count"])).collect();
    let expected = [("link-up", 1), ("stencil-seated", 1), ("stroke-total", 2)];
    assert_eq!(
        about,
        expected
            .map(|(signal, count)| (json!(signal), json!(count)))
            .iter()
            .map(|(s, c)| (s, c))
            .collect::<Vec<_>>()
    );
    assert_eq!(body["heard"][2]["last"]["raw"], 9);
    assert_eq!(
        body["counters"]["strokes"],
        json!({
            "counts": "strokes", "first": 7, "raw": 9, "counted": 2, "doubted": 0, "restarts": 0,
        })
    );
    let (_, machine) = told(&surface, get("/api/v1/machines/printer-1")).await;
    assert_eq!((&machine["trial"], &machine["stencil"]), (&json!(true), &json!(null)));
    assert_eq!(machine["print"]["reasons"][0]["code"], "on-trial");
}

#[tokio::test]
async fn a_count_by_hand_is_compared_from_a_mark_or_the_beginning() {
    let surface = surface_trying(vec![reads(7), reads(9)]);
    let (_, trial) = told(&surface, get(TRIAL)).await;
    let (status, body) = told(&surface, act(COMPARE, &json!({ "strokes": 2 }))).await;
    assert_eq!((status, &body["compared"][0]["agrees"]), (200, &json!(true)));
    let (_, body) =
        told(&surface, act(COMPARE, &json!({ "strokes": 2, "since": trial["mark"] }))).await;
    let words = "2 by hand, 0 by the machine: its value has not moved";
    assert!(body["compared"][0]["words"].as_str().unwrap().starts_with(words), "{body}");
    assert_eq!(body["mark"], trial["mark"]);
    for bad in [json!({}), json!({ "strokes": -1 }), json!({ "strokes": 1, "since": 3 })] {
        assert_eq!(told(&surface, act(COMPARE, &bad)).await.0, 400, "{bad}");
    }
}

#[tokio::test]
async fn a_live_machine_and_an_unknown_one_have_no_trial() {
    let surface = surface_after(vec![reads(7)]);
    let (status, body) = told(&surface, get(TRIAL)).await;
    assert_eq!(status, 409);
    assert!(body["detail"].as_str().unwrap().contains("`trial: true`"), "{body}");
    assert_eq!(told(&surface, get("/api/v1/machines/nobody/trial")).await.0, 404);
}

#[tokio::test]
async fn strokes_can_only_be_compared_when_some_were_told_of() {
    let surface = surface_trying(Vec::new());
    let (status, body) = told(&surface, act(COMPARE, &json!({ "strokes": 2 }))).await;
    assert_eq!(status, 409);
    assert!(body["detail"].as_str().unwrap().contains("no strokes yet"), "{body}");
}
