//! Orders over HTTP: released, started, finished, and the stencils that are right for one.

mod common;

use axum::http::StatusCode;
use common::{act, get, post, send, surface, told};
use serde_json::{Value, json};

const ORDERS: &str = "/api/v1/orders";

#[tokio::test]
async fn an_order_goes_from_release_to_its_end() {
    let surface = surface();
    let order = json!({ "order": "WO-1", "product": "A", "quantity": 10, "by": "planner" });
    assert_eq!(told(&surface, act(ORDERS, &order)).await.0, 200);
    let (_, list) = told(&surface, get(ORDERS)).await;
    let listed = &list["orders"][0];
    assert_eq!((&listed["order"], &listed["running_at"]), (&json!("WO-1"), &json!([])));

    let start = "/api/v1/machines/printer-1/start";
    let said = json!({ "order": "WO-1", "by": "operator" });
    assert_eq!(told(&surface, act(start, &said)).await.0, 200);
    let (_, view) = told(&surface, get("/api/v1/orders/WO-1")).await;
    assert_eq!((&view["running_at"], &view["quantity"]), (&json!(["printer-1"]), &json!(10)));
    let (_, machine) = told(&surface, get("/api/v1/machines/printer-1")).await;
    assert_eq!((&machine["order"], &machine["run"]["boards"]), (&json!("WO-1"), &json!(0)));

    let finish = "/api/v1/machines/printer-1/finish";
    let said = json!({ "order": "WO-1", "made": 10, "by": "operator" });
    assert_eq!(told(&surface, act(finish, &said)).await.0, 200);
    let (status, again) = told(&surface, act(finish, &said)).await;
    assert_eq!((status, &again["detail"]), (409, &json!("order WO-1 does not run at printer-1")));
    assert_eq!(told(&surface, get("/api/v1/orders/WO-1")).await.0, 404);
}

#[tokio::test]
async fn a_list_of_orders_is_released_whole_or_not_at_all() {
    let surface = surface();
    let list = "order,product\nWO-1,A\nWO-2,B\n";
    let by = format!("{ORDERS}?by=planner");
    let (status, view) = told(&surface, post(&by, "text/csv", list)).await;
    assert_eq!((status, &view["orders"]), (200, &json!(2)));
    let list = "{\"order\":\"WO-3\"}\n{\"order\":\"WO-4\",\"quantity\":-1}\n";
    let (status, view) = told(&surface, post(&by, "application/jsonl", list)).await;
    assert_eq!((status, &view["faults"][0]["line"]), (422, &json!(2)));
    let (_, list) = told(&surface, get(ORDERS)).await;
    assert_eq!(list["orders"].as_array().map(Vec::len), Some(2), "{list}");
}

/// ST-1 is for any product; the list adds one for each product and side.
#[tokio::test]
async fn the_stencils_right_for_an_order_are_those_not_wrong_for_it() {
    let surface = surface();
    let list = "stencil,product,side,revision,rated_strokes,clean\n\
                ST-A,A,top,,100,true\nST-D,A,top,,100,false\nST-B,A,bottom,,100,true\n\
                ST-C,C,top,,100,true\nST-E,A,top,9,100,true\n";
    let import = post("/api/v1/import/stencils", "text/csv", list);
    assert_eq!(send(&surface, import).await.0, StatusCode::OK);
    let order =
        json!({ "order": "WO-1", "product": "A", "side": "top", "revision": "8", "by": "me" });
    assert_eq!(told(&surface, act(ORDERS, &order)).await.0, 200);
    let (_, view) = told(&surface, get("/api/v1/orders/WO-1")).await;
    let right: Vec<(&Value, &Value)> = view["right_stencils"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|decision| (&decision["stencil"], &decision["permitted"]))
        .collect();
    let (yes, no) = (json!(true), json!(false));
    let (a, one, d) = (json!("ST-A"), json!("ST-1"), json!("ST-D"));
    assert_eq!(right, [(&a, &yes), (&one, &no), (&d, &no)], "{view}");
    let needs = &view["right_stencils"][1]["reasons"][0]["sentence"];
    assert_eq!(needs, "nobody knows whether it is clean: wash it");

    let only = json!({ "order": "WO-2", "stencils": ["ST-B"], "by": "me" });
    assert_eq!(told(&surface, act(ORDERS, &only)).await.0, 200);
    let (_, view) = told(&surface, get("/api/v1/orders/WO-2")).await;
    assert_eq!(view["right_stencils"].as_array().map(Vec::len), Some(1), "{view}");

    let take = json!({ "order": "WO-2", "by": "operator" });
    let (_, decision) = told(&surface, act("/api/v1/stencils/ST-A/take", &take)).await;
    assert_eq!(decision["reasons"][0]["code"], "not-for-order");
}

#[tokio::test]
async fn hostile_orders_are_refused() {
    let surface = surface();
    let json = "application/json";
    let by = format!("{ORDERS}?by=me");
    let start = "/api/v1/machines/printer-1/start";
    for (request, expected) in [
        (post(ORDERS, json, "{"), 400),
        (post(ORDERS, json, "[]"), 400),
        (post(ORDERS, json, &b"{\"order\":\"\xff\"}"[..]), 400),
        (post(ORDERS, json, r#"{"order":"WO-1"}"#), 400),
        (post(ORDERS, json, r#"{"order":"WO-1","by":7}"#), 400),
        (post(ORDERS, json, r#"{"order":"WO-1","by":"me","quantity":NaN}"#), 400),
        (post(ORDERS, json, r#"{"order":"WO-1","by":"me","quantity":-1}"#), 400),
        (post(ORDERS, json, r#"{"order":"WO-1","by":"me","quantity":"many"}"#), 400),
        (post(ORDERS, json, r#"{"order":"","by":"me"}"#), 400),
        (post(ORDERS, json, r#"{"order":"WO-1","by":"me","more":1}"#), 400),
        (post(ORDERS, json, "x".repeat(257 * 1024)), 413),
        (post(ORDERS, "text/csv", "order\nWO-1\n"), 400),
        (post(&by, "text/plain", "order\nWO-1\n"), 415),
        (post(&by, "text/csv", "order\n"), 200),
        (post(start, json, r#"{"order":"WO-9","by":"me"}"#), 409),
        (post(start, json, r#"{"by":"me"}"#), 400),
        (post(start, json, r#"{"order":"WO-9"}"#), 400),
        (post("/api/v1/machines/nowhere/start", json, r#"{"order":"WO-9","by":"me"}"#), 409),
        (get("/api/v1/orders/%07"), 404),
    ] {
        let what = format!("{} {:?}", request.uri(), request.headers());
        assert_eq!(send(&surface, request).await.0.as_u16(), expected, "{what}");
    }
    let (_, list) = told(&surface, get(ORDERS)).await;
    assert_eq!(list["orders"], json!([]), "nothing of it released anything");
}
