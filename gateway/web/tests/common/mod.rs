//! A surface over a site of one stencil and one printer, and clients of its routes.
#![allow(dead_code, reason = "each test program needs its own part of it")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

pub(crate) mod browser;
mod memory;
pub(crate) mod people;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use axum::response::Response;
use http_body_util::BodyExt as _;
use jiff::tz::TimeZone;
use memory::Memory;
use serde_json::Value;
use stencilward_domain::event::{Recorded, StencilSpec};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::plant::{Bases, Listed, MachineKind, MachineSpec, Plant};
use stencilward_domain::signal::{Said, Signal};
use stencilward_domain::site::{Reply, Site};
use stencilward_domain::time::Timestamp;
use stencilward_web::{
    AlarmBoard, Language, Premises, Readiness, ReloadHandle, SiteHandle, Surface, Visit, router,
};
use tower::ServiceExt as _;

pub(crate) const NOW: Timestamp = Timestamp(1_000_000);

/// When what the printer said has become an alarm, ten minutes later.
pub(crate) const LATER: Timestamp = Timestamp(1_600_000);

fn printer() -> MachineName {
    MachineName::new("printer-1").unwrap()
}

fn plant() -> Plant {
    let code = StencilCode::new("ST-1").unwrap();
    let spec = StencilSpec::rated(code.clone(), 100);
    let listed = Listed { spec, starting_strokes: 0, clean: false, source: "the test".to_owned() };
    let machine = MachineSpec {
        kind: MachineKind::Printer,
        line: None,
        names_stencil: true,
        fastest_cycle: Duration::from_secs(1),
        counts_for: None,
        counters: BTreeMap::new(),
        bases: Bases::default(),
        outputs: BTreeMap::new(),
    };
    Plant {
        stencils: BTreeMap::from([(code, listed)]),
        machines: BTreeMap::from([(printer(), machine)]),
        ..Plant::default()
    }
}

/// A surface over a site that answers until the surface is gone.
pub(crate) fn surface() -> Surface {
    surface_after(Vec::new())
}

/// A surface over a site whose printer has said this, after its link came up.
pub(crate) fn surface_after(said: Vec<Said>) -> Surface {
    surface_of(plant(), said)
}

/// A surface over a site whose printer is on trial and has said this.
pub(crate) fn surface_trying(said: Vec<Said>) -> Surface {
    surface_of(Plant { trial: [printer()].into(), ..plant() }, said)
}

fn surface_of(plant: Plant, said: Vec<Said>) -> Surface {
    let (site, mut visits) = SiteHandle::bounded(4);
    let alarms = Arc::new(AlarmBoard::default());
    let board = Arc::clone(&alarms);
    let memory = Memory::default();
    let ledger = memory.clone();
    tokio::spawn(async move {
        let mut site = Site::new(plant);
        site.start("test", NOW);
        let up = Said::LinkUp { resumed: false };
        for said in std::iter::once(up).chain(said) {
            site.hear(&Signal {
                machine: printer(),
                received: NOW,
                machine_time: None,
                identity: None,
                said,
            });
        }
        for later in [NOW, LATER] {
            site.tick(later);
        }
        let keep = move |site: &mut Site| {
            ledger.0.lock().expect("nobody broke").extend(site.take_fresh());
            ledger.all()
        };
        board.show(site.active_alarms(LATER));
        while let Some(visit) = visits.recv().await {
            let kept = keep(&mut site);
            serve(visit, &mut site, &kept);
            keep(&mut site);
            board.show(site.active_alarms(LATER));
        }
    });
    let readiness = Arc::new(Readiness::not_yet("starting"));
    let (reload, _) = ReloadHandle::bounded(1);
    let premises =
        Premises { name: "Test".to_owned(), zone: TimeZone::UTC, language: Language::English };
    Surface {
        site,
        reload,
        readiness,
        alarms,
        metrics: Arc::new(|| "x 1\n".to_owned()),
        door: Arc::default(),
        archive: Arc::new(memory),
        premises,
    }
}

fn serve(visit: Visit, site: &mut Site, ledger: &[Recorded]) {
    match visit {
        Visit::Ask { request, key, reply } => {
            drop(reply.send(site.ask_with(&request, key, NOW)));
        }
        Visit::Look(look) => look(site, NOW),
        Visit::AskAfter { look, key, reply } => {
            if let Some(request) = look(site, NOW) {
                drop(reply.send(site.ask_with(&request, key, NOW)));
            }
        }
        Visit::Correct { of, correction, key, reply } => {
            let original = ledger.iter().find(|recorded| recorded.position == of);
            drop(reply.send(match original {
                Some(original) => site.correct_with(original, &correction, key, NOW),
                None => Reply::Refused(format!("there is no event {of}")),
            }));
        }
    }
}

/// The whole answer.
pub(crate) async fn answer(surface: &Surface, request: Request<Body>) -> Response {
    router(surface.clone()).oneshot(request).await.expect("an answer")
}

/// The answer's status and its body; of a body that goes on for ever, none.
pub(crate) async fn send(surface: &Surface, request: Request<Body>) -> (StatusCode, String) {
    let response = answer(surface, request).await;
    let status = response.status();
    let kind = response.headers().get("content-type");
    if kind.is_some_and(|kind| kind == "text/event-stream") {
        return (status, String::new());
    }
    let body = response.into_body().collect().await.expect("a body").to_bytes();
    (status, String::from_utf8_lossy(&body).into_owned())
}

/// The answer's status and its body as JSON.
pub(crate) async fn told(surface: &Surface, request: Request<Body>) -> (u16, Value) {
    let (status, body) = send(surface, request).await;
    let body = serde_json::from_str(&body).unwrap_or_else(|error| panic!("{error}: {body}"));
    (status.as_u16(), body)
}

pub(crate) fn get(path: &str) -> Request<Body> {
    let request = Request::get(path).header("host", "localhost:9464");
    request.body(Body::empty()).expect("a request")
}

pub(crate) fn post(path: &str, kind: &str, body: impl Into<Body>) -> Request<Body> {
    let request = Request::post(path).header("host", "127.0.0.1:9464").header("content-type", kind);
    request.body(body.into()).expect("a request")
}

/// A POST of JSON.
pub(crate) fn act(path: &str, body: &Value) -> Request<Body> {
    post(path, "application/json", body.to_string())
}
