//! Alarms over HTTP: the list, one with its history, what people do, and what they cannot.

mod common;

use common::{LATER, act, get, surface, surface_after, told};
use serde_json::{Value, json};
use stencilward_domain::signal::Said;
use stencilward_web::Surface;

const ALARMS: &str = "/api/v1/alarms";
const FIRST: &str = "machine-fault:fault:printer-1:E-1";
const SECOND: &str = "machine-fault:fault:printer-1:E-2";

fn fault(code: &str) -> Said {
    Said::FaultRaised { code: code.to_owned(), text: "squeegee jammed".to_owned() }
}

/// Two faults of the printer, and strokes of nobody.
fn faulty() -> Surface {
    surface_after(vec![fault("E-1"), fault("E-2"), Said::StrokesDone { count: 3 }])
}

async fn listed(surface: &Surface, query: &str) -> Vec<String> {
    let (status, body) = told(surface, get(&format!("{ALARMS}{query}"))).await;
    assert_eq!(status, 200, "{body}");
    let alarms = body["alarms"].as_array().expect("a list");
    alarms.iter().map(|alarm| alarm["id"].as_str().expect("an id").to_owned()).collect()
}

async fn do_to(surface: &Surface, action: &str, body: Value) -> (u16, Value) {
    told(surface, act(&format!("{ALARMS}/{action}"), &body)).await
}

async fn state(surface: &Surface, id: &str) -> Value {
    let (status, body) = told(surface, get(&format!("{ALARMS}/{id}"))).await;
    assert_eq!(status, 200, "{body}");
    body["alarm"]["state"].clone()
}

#[tokio::test]
async fn the_list_is_in_order_and_can_be_filtered() {
    let surface = faulty();
    // The site task has to have shown them.
    let (_, first) = told(&surface, get("/api/v1/machines")).await;
    assert_eq!(first["machines"][0]["maintenance"], Value::Null);
    let open = "strokes-unattributed:machine:printer-1";
    assert_eq!(listed(&surface, "").await, [FIRST, SECOND, open], "the most urgent first");
    assert_eq!(listed(&surface, "?kind=strokes-unattributed").await, [open]);
    assert_eq!(listed(&surface, "?priority=medium&machine=printer-1").await, [FIRST, SECOND]);
    assert_eq!(listed(&surface, "?state=acknowledged").await, Vec::<String>::new());
    assert_eq!(listed(&surface, "?stencil=ST-1").await, Vec::<String>::new());
    assert_eq!(listed(&surface, "?order=time").await.len(), 3);
    for wrong in ["?order=colour", "?state=broken", "?kind=unheard-of", "?colour=red"] {
        assert_eq!(told(&surface, get(&format!("{ALARMS}{wrong}"))).await.0, 400, "{wrong}");
    }
}

#[tokio::test]
async fn one_is_shown_with_what_to_do_and_its_history() {
    let surface = faulty();
    let acknowledged = json!({ "alarms": [FIRST], "by": "M. Example", "comment": "on my way" });
    assert_eq!(do_to(&surface, "acknowledge", acknowledged).await.0, 200);
    let (status, body) = told(&surface, get(&format!("{ALARMS}/{FIRST}"))).await;
    assert_eq!(status, 200);
    let alarm = &body["alarm"];
    assert_eq!(alarm["code"], "machine-fault");
    assert_eq!(alarm["subject"]["machine"], "printer-1");
    assert_eq!((&alarm["state"], &alarm["priority"]), (&json!("acknowledged"), &json!("medium")));
    assert_eq!(alarm["since"], LATER.0);
    assert_eq!(alarm["text"], "printer-1 tells of fault E-1: squeegee jammed");
    assert_eq!(alarm["to_do"], "go to the machine and clear the fault");
    assert_eq!(alarm["who"], "technician");
    let history = body["history"].as_array().expect("a history");
    assert_eq!(history.len(), 2);
    assert_eq!(history[1]["happened"]["by"], "M. Example");
    assert_eq!(history[1]["happened"]["comment"], "on my way");
    for missing in ["machine-fault:fault:printer-1:E-9", "nonsense", "ledger-trouble:gateway"] {
        assert_eq!(told(&surface, get(&format!("{ALARMS}/{missing}"))).await.0, 404, "{missing}");
    }
}

#[tokio::test]
async fn several_are_seen_to_at_once() {
    let surface = faulty();
    let both = json!({ "alarms": [FIRST, SECOND, FIRST], "by": "M. Example" });
    let (status, body) = do_to(&surface, "acknowledge", both.clone()).await;
    assert_eq!((status, &body["done"], &body["refused"]), (200, &json!(2), &json!([])));
    let (status, body) = do_to(&surface, "acknowledge", both).await;
    assert_eq!(status, 409);
    assert_eq!(body["refused"].as_array().map(Vec::len), Some(2));
    assert!(body["detail"].as_str().is_some_and(|detail| detail.contains("already")), "{body}");
    let third = "strokes-unattributed:machine:printer-1";
    let mixed = json!({ "alarms": [FIRST, third], "by": "M. Example" });
    let (status, body) = do_to(&surface, "acknowledge", mixed).await;
    assert_eq!((status, &body["done"]), (200, &json!(1)));
    assert_eq!(body["refused"][0]["alarm"], FIRST);
}

#[tokio::test]
async fn each_action_does_what_it_says() {
    let surface = faulty();
    let with = |key: &str, value: Value| {
        let mut body = json!({ "alarms": [FIRST], "by": "M. Example" });
        body[key] = value;
        body
    };
    let mut shelve = with("why", json!("a part is ordered"));
    shelve["minutes"] = json!(30);
    for (action, body, expected) in [
        ("shelve", shelve, "shelved"),
        ("unshelve", json!({ "alarms": [FIRST], "by": "M." }), "unacknowledged"),
        ("take-out", with("why", json!("its sensor is broken")), "out-of-service"),
        ("return", json!({ "alarms": [FIRST], "by": "M." }), "unacknowledged"),
        ("comment", with("comment", json!("looks good")), "unacknowledged"),
        ("acknowledge", with("comment", json!("seen")), "acknowledged"),
    ] {
        let (status, answer) = do_to(&surface, action, body).await;
        assert_eq!(status, 200, "{action}: {answer}");
        assert_eq!(state(&surface, FIRST).await, expected, "{action}");
    }
    let (status, answer) = do_to(&surface, "reset", with("comment", json!("gone"))).await;
    assert_eq!(status, 409, "{answer}");
}

#[tokio::test]
async fn what_is_missing_is_named() {
    let surface = faulty();
    for (action, body, status, word) in [
        ("acknowledge", json!({ "alarms": [FIRST] }), 400, "by is missing"),
        ("acknowledge", json!({ "alarms": [], "by": "M." }), 400, "at least one"),
        ("acknowledge", json!({ "alarms": ["x"], "by": "M." }), 404, "names no alarm"),
        ("shelve", json!({ "alarms": [FIRST], "by": "M.", "why": "so" }), 400, "minutes"),
        ("shelve", json!({ "alarms": [FIRST], "by": "M.", "minutes": 5 }), 400, "why is missing"),
        (
            "shelve",
            json!({ "alarms": [FIRST], "by": "M.", "why": "so", "minutes": 1_000_000 }),
            409,
            "8 h at the most",
        ),
        ("comment", json!({ "alarms": [FIRST], "by": "M." }), 400, "comment is missing"),
        (
            "return",
            json!({ "alarms": [FIRST], "by": "M.", "comment": "x" }),
            400,
            "unknown field `comment`",
        ),
        ("silence", json!({ "alarms": [FIRST], "by": "M." }), 405, "by GET, HEAD only"),
        (
            "acknowledge",
            json!({ "alarms": ["ledger-trouble:gateway"], "by": "M." }),
            409,
            "live only",
        ),
    ] {
        let (got, answer) = do_to(&surface, action, body.clone()).await;
        let detail = answer["detail"].as_str().unwrap_or_default();
        assert_eq!((got, detail.contains(word)), (status, true), "{action} {body}: {detail}");
    }
}

#[tokio::test]
async fn the_ledgers_trouble_is_shown_without_the_ledger() {
    let surface = surface();
    surface.alarms.ledger_troubled("the ledger takes no writes: no space", LATER);
    surface.alarms.ledger_troubled("again", LATER);
    assert_eq!(listed(&surface, "").await, ["ledger-trouble:gateway"]);
    let (status, body) = told(&surface, get(&format!("{ALARMS}/ledger-trouble:gateway"))).await;
    assert_eq!((status, &body["alarm"]["priority"]), (200, &json!("critical")));
    assert_eq!(body["alarm"]["text"], "the ledger takes no writes: no space");
    surface.alarms.show(Vec::new());
    assert_eq!(listed(&surface, "").await, Vec::<String>::new());
}

#[tokio::test]
async fn a_machine_is_put_under_maintenance_and_back() {
    let surface = faulty();
    let path = "/api/v1/machines/printer-1";
    let begin = json!({ "by": "T. Example", "why": "a new squeegee" });
    let action = |action: &str, body: &Value| act(&format!("{path}/{action}"), body);
    assert_eq!(told(&surface, action("begin-maintenance", &begin)).await.0, 200);
    assert_eq!(told(&surface, action("begin-maintenance", &begin)).await.0, 409);
    let (_, machine) = told(&surface, get(path)).await;
    assert_eq!(machine["maintenance"]["why"], "a new squeegee");
    assert_eq!(told(&surface, action("end-maintenance", &json!({ "by": "T." }))).await.0, 200);
    let (_, machine) = told(&surface, get(path)).await;
    assert_eq!(machine["maintenance"], Value::Null);
}
