//! The machine's page: what people say there, and what each thing that it tells is worth.

mod common;

use axum::http::StatusCode;
use common::{get, post, send, surface, surface_after};
use stencilward_domain::names::{CounterName, OrderName};
use stencilward_domain::signal::{OrderSpec, Reading, Said, Width};
use stencilward_domain::site::{Reply, Request};
use stencilward_web::Surface;

const PAGE: &str = "/machines/printer-1";
const FORM: &str = "application/x-www-form-urlencoded";

async fn page(surface: &Surface) -> String {
    let (status, page) = send(surface, get(PAGE)).await;
    assert_eq!(status, StatusCode::OK);
    page
}

/// Sends a form and gives what came of it: the page it leads to, or the page with the fault.
async fn says(surface: &Surface, action: &str, fields: &str) -> (StatusCode, String) {
    let (status, body) =
        send(surface, post(&format!("{PAGE}/{action}"), FORM, fields.to_owned())).await;
    if status == StatusCode::SEE_OTHER { (status, page(surface).await) } else { (status, body) }
}

#[tokio::test]
async fn maintenance_begins_with_a_reason_and_ends() {
    let surface = surface();
    assert!(page(&surface).await.contains("id=\"do-begin-maintenance\""));
    let (status, shown) = says(&surface, "begin-maintenance", "by=Tom").await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(shown.contains("Say for what reason."), "{shown}");
    let (status, shown) = says(&surface, "begin-maintenance", "by=Tom&why=new+blade").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert!(shown.contains("Under maintenance:") && shown.contains("new blade"), "{shown}");
    assert!(!shown.contains("id=\"do-begin-maintenance\""));
    let (_, shown) = says(&surface, "end-maintenance", "by=Tom").await;
    assert!(!shown.contains("Under maintenance:"), "{shown}");
}

#[tokio::test]
async fn a_stencil_is_put_in_and_taken_out_by_hand() {
    let surface = surface();
    let (status, shown) = says(&surface, "seat", "by=Ann&stencil=ST-1").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert!(shown.contains("<dd><a href=\"/stencils/ST-1\">"), "{shown}");
    let (_, shown) = says(&surface, "remove", "by=Ann").await;
    assert!(!shown.contains("<dd><a href=\"/stencils/ST-1\">"), "{shown}");
    let (status, shown) = says(&surface, "seat", "by=Ann&stencil=ST-9").await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(shown.contains("no stencil ST-9 is in the list"), "{shown}");
}

#[tokio::test]
async fn an_order_is_started_and_finished() {
    let surface = surface();
    let (status, shown) = says(&surface, "start", "by=Ann&order=WO-1").await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(shown.contains("no order WO-1 is released"), "{shown}");
    let spec = OrderSpec::named(OrderName::new("WO-1").expect("a name"));
    let released = surface.site.ask(Request::ReleaseOrder { spec, by: "Max".to_owned() }).await;
    assert!(matches!(released, Ok(Reply::Done(_))));
    let (_, shown) = says(&surface, "start", "by=Ann&order=WO-1").await;
    assert!(shown.contains("WO-1") && shown.contains("id=\"do-finish\""), "{shown}");
    let (status, shown) = says(&surface, "finish", "by=Ann&order=WO-1&made=many").await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(shown.contains("aria-invalid=\"true\""), "{shown}");
    let (status, shown) = says(&surface, "finish", "by=Ann&order=WO-1&made=12").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert!(!shown.contains("id=\"do-finish\""), "{shown}");
}

#[tokio::test]
async fn each_point_has_its_age_and_what_it_is_worth() {
    let read = |raw| Said::CounterRead {
        counter: CounterName::new("strokes").expect("a name"),
        raw,
        width: Width::Bits16,
        reading: Reading::Polled,
    };
    let surface = surface_after(vec![read(7), read(60_000)]);
    let shown = page(&surface).await;
    let points = shown.split("What it tells").nth(1).expect("a list of points");
    let lines: Vec<&str> = points.split("<tr>").skip(2).collect();
    let (never, total) = (lines[0], lines[1]);
    assert!(never.contains("Stencil in it") && never.contains("Not heard since"), "{never}");
    assert!(total.contains("Stroke total strokes") && total.contains(">7<"), "{total}");
    assert!(total.contains("Doubted"), "{total}");
}
