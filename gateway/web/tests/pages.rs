//! The pages: all of them, in both languages, with HTML in every free text, and what forms do.

mod common;

use axum::body::Body;
use axum::http::{Request as Http, StatusCode};
use common::{LATER, get, post, send, surface, surface_after, surface_trying, told};
use http_body_util::BodyExt as _;
use stencilward_domain::event::StencilSpec;
use stencilward_domain::names::{MachineName, OrderName, ProductName, StencilCode};
use stencilward_domain::plant::Listed;
use stencilward_domain::signal::{OrderSpec, Said};
use stencilward_domain::site::{Reply, Request};
use stencilward_web::{Surface, router};
use tower::ServiceExt as _;

const HOSTILE: &str = "<img src=x onerror=alert(1)>\"'&";
const ESCAPED: &str = "&lt;img src=x onerror=alert(1)&gt;&quot;'&amp;";

fn code(name: &str) -> StencilCode {
    StencilCode::new(name).expect("a good code")
}

async fn ask(surface: &Surface, request: Request) {
    let reply = surface.site.ask(request).await.expect("the site answers");
    assert!(!matches!(reply, Reply::Refused(_)), "{reply:?}");
}

/// A plant in which every free text is HTML.
async fn hostile() -> Surface {
    let hostile = HOSTILE.to_owned();
    let order = OrderSpec {
        product: ProductName::new(HOSTILE).ok(),
        revision: Some(hostile.clone()),
        ..OrderSpec::named(OrderName::new(HOSTILE).expect("a name"))
    };
    let surface = surface_after(vec![
        Said::FaultRaised { code: hostile.clone(), text: hostile.clone() },
        Said::StrokesDone { count: 3 },
        Said::OrderStarted(order),
        Said::Seated { code: code("ST-1") },
        Said::StrokesDone { count: 120 },
    ]);
    let mut spec = StencilSpec::rated(code(HOSTILE), 1_000);
    spec.product = ProductName::new(HOSTILE).ok();
    spec.revision = Some(hostile.clone());
    spec.price_centi = Some(123_456);
    let listed = Listed { spec, starting_strokes: 10, clean: true, source: hostile.clone() };
    ask(&surface, Request::TakeIn { entries: vec![listed] }).await;
    for stencil in [code(HOSTILE), code("ST-1")] {
        let (by, why) = (hostile.clone(), hostile.clone());
        ask(&surface, Request::Hold { stencil: stencil.clone(), by: by.clone(), why: why.clone() })
            .await;
        let take = Request::Take {
            stencil: stencil.clone(),
            rack: None,
            order: None,
            by: Some(by.clone()),
        };
        ask(&surface, take).await;
    }
    let (by, why) = (hostile.clone(), hostile);
    ask(
        &surface,
        Request::Grant { stencil: code("ST-1"), strokes: 50, until: Some(LATER), by, why },
    )
    .await;
    surface
}

fn pages() -> Vec<String> {
    let odd = "%3Cimg%20src%3Dx%20onerror%3Dalert%281%29%3E%22%27%26";
    let mut pages: Vec<String> = [
        "/",
        "/stencils",
        "/stencils?only=on-hold&order=wear&find=%3Cimg",
        "/stencils/ST-1",
        "/stencils/ST-1/tag",
        "/scan",
        "/machines",
        "/machines/printer-1",
        "/alarms",
        "/alarms?order=time",
        "/unattributed",
        "/wear",
        "/about",
        "/stencils/none",
        "/events/none",
    ]
    .map(str::to_owned)
    .to_vec();
    pages.extend([
        format!("/stencils/{odd}"),
        format!("/stencils/{odd}/tag"),
        format!("/machines/{odd}"),
    ]);
    pages.extend((1..60).map(|event| format!("/events/{event}")));
    pages
}

async fn page(surface: &Surface, path: &str, language: &str) -> (StatusCode, String, String) {
    let request =
        Http::get(path).header("host", "localhost:9464").header("accept-language", language);
    let request = request.body(Body::empty()).expect("a request");
    let response = router(surface.clone()).oneshot(request).await.expect("an answer");
    let status = response.status();
    let policy = response.headers().get("content-security-policy");
    let policy = policy.and_then(|policy| policy.to_str().ok()).unwrap_or_default().to_owned();
    let body = response.into_body().collect().await.expect("a body").to_bytes();
    (status, policy, String::from_utf8(body.to_vec()).expect("text"))
}

#[tokio::test]
async fn every_page_is_whole_and_safe_in_both_languages() {
    let surface = hostile().await;
    let mut escaped = 0;
    for language in ["en", "de"] {
        for path in pages() {
            let (status, policy, body) = page(&surface, &path, language).await;
            assert!(status.is_success() || status == StatusCode::NOT_FOUND, "{path}: {status}");
            assert!(policy.starts_with("default-src 'self';"), "{path}: {policy}");
            assert!(body.contains(&format!("<html lang=\"{language}\">")), "{path}");
            assert!(body.len() < 100_000, "{path} weighs {}", body.len());
            for wrong in ["<img", "style=", "<style", "javascript:", "⟦", "{$", "{ $"] {
                assert!(!body.contains(wrong), "{path} in {language} has {wrong}: {body}");
            }
            assert_eq!(body.matches("<script").count(), 1, "{path}");
            assert_eq!(body.matches("<h1>").count(), 1, "{path}");
            assert_eq!(body.matches("<main").count(), 1, "{path}");
            escaped += body.matches(ESCAPED).count();
        }
    }
    assert!(escaped > 50, "the texts are hardly shown: {escaped}");
}

#[tokio::test]
async fn two_thousand_stencils_weigh_no_more_than_a_page_may() {
    let surface = surface_after(Vec::new());
    let listed = |number: u32| {
        let mut spec = StencilSpec::rated(code(&format!("ST-LONG-NAME-{number:05}")), 100_000);
        spec.product = ProductName::new("A product with a long name").ok();
        Listed { spec, starting_strokes: 90_000, clean: false, source: "a list".to_owned() }
    };
    ask(&surface, Request::TakeIn { entries: (0..2_000).map(listed).collect() }).await;
    for number in 0..200 {
        let stencil = code(&format!("ST-LONG-NAME-{number:05}"));
        let (by, why) = ("Ana".to_owned(), "bent in the lower left corner".to_owned());
        ask(&surface, Request::Hold { stencil, by, why }).await;
    }
    for path in ["/", "/stencils", "/stencils?page=3&order=wear", "/wear"] {
        for language in ["en", "de"] {
            let (status, _, body) = page(&surface, path, language).await;
            assert_eq!(status, StatusCode::OK);
            assert!(body.len() < 100_000, "{path} weighs {}", body.len());
        }
    }
}

#[tokio::test]
async fn a_machine_on_trial_is_shown_as_such() {
    let surface = surface_trying(vec![Said::StrokesDone { count: 7 }]);
    let (status, body) = send(&surface, get("/machines/printer-1")).await;
    assert_eq!(status, StatusCode::OK);
    assert!(body.contains("on trial") && body.contains("strokes-done"), "{body}");
}

#[tokio::test]
async fn assets_are_sent_once() {
    let surface = surface_after(Vec::new());
    for path in ["/assets/page.css", "/assets/page.js", "/assets/icon.svg"] {
        let first = router(surface.clone()).oneshot(get(path)).await.expect("an answer");
        assert_eq!(first.status(), StatusCode::OK);
        let tag = first.headers()["etag"].clone();
        let again = Http::get(path).header("host", "localhost").header("if-none-match", tag);
        let again = again.body(Body::empty()).expect("a request");
        let again = router(surface.clone()).oneshot(again).await.expect("an answer");
        assert_eq!(again.status(), StatusCode::NOT_MODIFIED, "{path}");
    }
}

fn filled(path: &str, fields: &str) -> Http<Body> {
    post(path, "application/x-www-form-urlencoded", fields.to_owned())
}

#[tokio::test]
async fn a_form_is_carried_out_once_or_says_which_field_is_wrong() {
    let surface = surface_after(Vec::new());
    let (status, body) = send(&surface, filled("/stencils/ST-1/hold", "by=Ana&why=")).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(body.contains("aria-invalid=\"true\"") && body.contains("value=\"Ana\""), "{body}");
    assert!(body.contains("id=\"hold-why-fault\""), "{body}");
    let (status, _) = send(&surface, filled("/stencils/ST-1/hold", "by=Ana&why=bent")).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let (_, body) = send(&surface, get("/stencils/ST-1")).await;
    assert!(body.contains("bent") && body.contains("on hold"), "{body}");
}

#[tokio::test]
async fn a_form_of_another_site_is_not_taken() {
    let surface = surface_after(Vec::new());
    for (name, value) in [("origin", "http://elsewhere.example"), ("sec-fetch-site", "cross-site")]
    {
        let mut request = filled("/stencils/ST-1/hold", "by=Ana&why=bent");
        request.headers_mut().insert(name, value.parse().expect("a value"));
        assert_eq!(send(&surface, request).await.0, StatusCode::FORBIDDEN, "{name}");
    }
    let mut request = filled("/stencils/ST-1/hold", "by=Ana&why=bent");
    request.headers_mut().insert("origin", "http://127.0.0.1:9464".parse().expect("a value"));
    assert_eq!(send(&surface, request).await.0, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn strokes_of_nobody_are_assigned_by_a_form() {
    let surface = surface_after(vec![Said::StrokesDone { count: 3 }]);
    let (_, body) = send(&surface, get("/unattributed")).await;
    let event = body.split("/unattributed/").nth(1).and_then(|rest| rest.split('/').next());
    let path = format!("/unattributed/{}/assign", event.expect("one is open"));
    let fields = "stencil=ST-1&strokes=2&stencil=&strokes=&write-off=1&by=Ana&why=seen";
    let (status, body) = send(&surface, filled(&path, fields)).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{body}");
    let (_, body) = send(&surface, get("/unattributed")).await;
    assert!(body.contains("Every stroke has its stencil"), "{body}");
}

#[tokio::test]
async fn alarms_are_acknowledged_together() {
    let fault = |code: &str| Said::FaultRaised { code: code.to_owned(), text: "jam".to_owned() };
    let surface = surface_after(vec![fault("E-1"), fault("E-2")]);
    // The board shows them once the site task has begun.
    surface.site.look(|_, _| ()).await.expect("the site answers");
    let ids = "alarm=machine-fault:fault:printer-1:E-1&alarm=machine-fault:fault:printer-1:E-2";
    let (status, body) = send(&surface, filled("/alarms/acknowledge", "by=Ana")).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(body.contains("Tick at least one"), "{body}");
    let (status, body) =
        send(&surface, filled("/alarms/shelve", &format!("{ids}&minutes=30&by=Ana"))).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(body.contains("id=\"alarms-comment-fault\"") && body.contains("checked"), "{body}");
    let (status, _) = send(&surface, filled("/alarms/acknowledge", &format!("{ids}&by=Ana"))).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let (_, body) = send(&surface, get("/alarms")).await;
    assert_eq!(body.matches("<strong>acknowledged").count(), 2, "{body}");
}

#[tokio::test]
async fn scans_in_any_order_make_a_question_with_one_big_answer() {
    let surface = surface_after(Vec::new());
    let mut request = OrderSpec::named(OrderName::new("WO-1").expect("a name"));
    request.quantity = Some(1);
    ask(&surface, Request::ReleaseOrder { spec: request, by: "Ana".to_owned() }).await;
    for fields in ["scan=ST-1&by=Ana&order=WO-1", "scan=WO-1&by=Ana&stencil=ST-1"] {
        let (status, body) = send(&surface, filled("/scan", fields)).await;
        assert_eq!(status, StatusCode::OK);
        assert!(body.contains("Do not take it") && body.contains("autofocus"), "{body}");
        assert!(body.contains("Nobody knows whether it is clean"), "{body}");
        assert!(!body.contains("name=\"stencil\""), "the next question begins anew: {body}");
    }
    let (_, body) = send(&surface, filled("/scan", "scan=ST-1&by=Ana")).await;
    assert!(
        body.contains("Now scan the order") && body.contains("name=\"stencil\" value=\"ST-1\"")
    );
    let (_, body) = send(&surface, filled("/scan", "scan=XX&by=Ana&stencil=ST-1")).await;
    assert!(body.contains("Not known") && body.contains("value=\"ST-1\""), "{body}");
    let (_, body) = send(&surface, filled("/scan", "scan=printer-1&by=&stencil=ST-1")).await;
    assert!(body.contains("Who are you?"), "{body}");
    let (_, body) = send(&surface, filled("/scan", "scan=printer-1&by=Ana&stencil=ST-1")).await;
    assert!(body.contains("verdict"), "{body}");
    let printer = MachineName::new("printer-1").expect("a name");
    let seat = surface.site.look(move |site, _| site.state().machines[&printer].seat.clone()).await;
    let seat = seat.expect("the site answers").expect("it is in there");
    assert_eq!(seat.code, code("ST-1"));
}

/// A second tap, and a browser that sends a form again, send just the same.
#[tokio::test]
async fn a_form_that_is_sent_twice_is_carried_out_once() {
    let surface = surface();
    let (_, page) = send(&surface, get("/stencils/ST-1")).await;
    let once = |page: &str| {
        let form = page.split(r#"action="/stencils/ST-1/strokes""#).nth(1).expect("the form");
        let field = form.split(r#"name="once" value=""#).nth(1).expect("something of its own");
        field.split('"').next().unwrap_or_default().to_owned()
    };
    let first = once(&page);
    let fields = |once: &str, strokes| {
        format!("by=Ana&why=a+set-up&machine=printer-1&strokes={strokes}&once={once}")
    };
    let steps = [(&*first, 5, 5), (&*first, 5, 5), (&*first, 6, 11)];
    for (form, strokes, sum) in steps {
        let sent = filled("/stencils/ST-1/strokes", &fields(form, strokes));
        assert_eq!(send(&surface, sent).await.0, StatusCode::SEE_OTHER);
        let (_, view) = told(&surface, get("/api/v1/stencils/ST-1")).await;
        assert_eq!(view["strokes"], sum, "{strokes} strokes");
    }
    let (_, page) = send(&surface, get("/stencils/ST-1")).await;
    let second = once(&page);
    assert_ne!(second, first);
    let sent = filled("/stencils/ST-1/strokes", &fields(&second, 6));
    assert_eq!(send(&surface, sent).await.0, StatusCode::SEE_OTHER);
    let (_, view) = told(&surface, get("/api/v1/stencils/ST-1")).await;
    assert_eq!(view["strokes"], 17, "another form is another matter");
}
