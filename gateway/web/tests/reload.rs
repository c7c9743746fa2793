//! Reading the configuration anew over HTTP, as far as the web has a part in it.

mod common;

use common::{act, get, surface, told};
use serde_json::json;
use stencilward_web::{Fault, LinksAfter, NotReloaded, ReloadHandle, Reloaded, Surface};

/// A surface whose reloads are answered so; gives what was asked, too.
fn answering(
    outcome: Result<Reloaded, NotReloaded>,
) -> (Surface, tokio::task::JoinHandle<(bool, Option<String>)>) {
    let (reload, mut asks) = ReloadHandle::bounded(1);
    let asked = tokio::spawn(async move {
        let ask = asks.recv().await.expect("somebody asks");
        ask.answer.send(outcome).expect("the answer is waited for");
        (ask.preview, ask.by)
    });
    (Surface { reload, ..surface() }, asked)
}

fn reloaded() -> Reloaded {
    let links = LinksAfter { kept: vec!["machine printer-1".to_owned()], ..LinksAfter::default() };
    let changes = vec!["stencil ST-2 is added".to_owned()];
    Reloaded { digest: "00ff".to_owned(), changes, links }
}

#[tokio::test]
async fn what_changed_is_told() {
    for (request, dry_run, by) in [
        (get("/api/v1/reload"), true, None),
        (act("/api/v1/reload", &json!({ "by": "the engineer" })), false, Some("the engineer")),
        (
            act("/api/v1/reload?dry-run=true", &json!({ "by": "the engineer" })),
            true,
            Some("the engineer"),
        ),
    ] {
        let (surface, asked) = answering(Ok(reloaded()));
        let (status, body) = told(&surface, request).await;
        assert_eq!((status, &body["dry_run"]), (200, &json!(dry_run)));
        assert_eq!(body["changes"], json!(["stencil ST-2 is added"]));
        assert_eq!(body["links"]["kept"], json!(["machine printer-1"]));
        assert_eq!(asked.await.expect("it was asked"), (dry_run, by.map(str::to_owned)));
    }
}

#[tokio::test]
async fn why_nothing_changed_is_told() {
    let fault = Fault {
        file: "plant.yaml".to_owned(),
        line: Some(3),
        key: "polcy".to_owned(),
        fault: "unknown key".to_owned(),
    };
    let reason = "listen cannot change".to_owned();
    for (outcome, status) in [
        (NotReloaded::Faulty(vec![fault]), 422),
        (NotReloaded::Fixed(vec![reason]), 409),
        (NotReloaded::NoFile, 409),
    ] {
        let (surface, _) = answering(Err(outcome.clone()));
        let (told, body) = told(&surface, get("/api/v1/reload")).await;
        assert_eq!(told, status, "{body}");
        if let NotReloaded::Faulty(faults) = outcome {
            assert_eq!(body["faults"], json!(faults));
        }
    }
}

#[tokio::test]
async fn nobody_reloads_without_a_name_or_while_the_gateway_stops() {
    let surface = surface();
    for body in [json!({}), json!({ "by": " " }), json!({ "by": "x", "more": 1 })] {
        assert_eq!(told(&surface, act("/api/v1/reload", &body)).await.0, 400, "{body}");
    }
    let body = json!({ "by": "the engineer" });
    assert_eq!(told(&surface, act("/api/v1/reload?dryrun=true", &body)).await.0, 400);
    assert_eq!(told(&surface, act("/api/v1/reload", &body)).await.0, 503);
    assert_eq!(told(&surface, get("/api/v1/reload")).await.0, 503);
}
