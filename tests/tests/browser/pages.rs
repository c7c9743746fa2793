//! Every page in each of its states, looked at by axe-core, at three widths, and kept as pictures
//! in `target/screenshots` for people to look at.

use serde_json::json;
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Said;
use stencilward_tests::browser::{Axe, Browser, Setup, Thing};

use super::works::Works;

/// A handheld, a desk, and a 4K screen at its usual scale.
const WIDTHS: [u32; 3] = [360, 1280, 2560];

/// Looks at pages and notes what is wrong with them.
pub(crate) struct Inspector {
    pub(crate) browser: Browser,
    axe: Axe,
    looked: usize,
    wrong: Vec<String>,
}

impl Inspector {
    pub(crate) async fn new(works: &Works, setup: Setup) -> Option<Self> {
        let axe = Axe::find()?;
        let browser = works.browser(setup).await?;
        Some(Self { browser, axe, looked: 0, wrong: Vec::new() })
    }

    /// Looks at a page.
    pub(crate) async fn visit(&mut self, name: &str, path: &str) {
        self.browser.goto(path).await;
        self.look(name).await;
    }

    /// Looks at what the browser shows.
    pub(crate) async fn look(&mut self, name: &str) {
        for width in WIDTHS {
            self.browser.resize(width).await;
            let over = self.browser.overflow().await;
            if over > 0 {
                self.wrong.push(format!("{name} at {width}: {over} pixels too wide"));
            }
            if width < 2000 {
                let faults = self.browser.faults(&self.axe).await;
                self.wrong.extend(faults.iter().map(|fault| format!("{name} at {width}: {fault}")));
            }
            self.browser.picture(name).await;
        }
        self.looked += 1;
    }

    /// Says all that is wrong, at once.
    pub(crate) async fn tell(self, looked: usize) {
        self.browser.close().await;
        assert!(self.wrong.is_empty(), "{}", self.wrong.join("\n"));
        assert_eq!(self.looked, looked, "pages were looked at");
    }
}

/// Something of everything.
async fn busy() -> Works {
    let works = Works::start().await;
    works.release("WO-4711").await;
    works.says("printer-1", &Said::StrokesDone { count: 12 }).await;
    works.says("printer-1", &Said::Seated { code: StencilCode::new("WR-102").unwrap() }).await;
    works.fault("washer-1", "E17", "rinse water too dirty", true).await;
    works.fault("washer-2", "E4", "door open", true).await;
    works.prints("printer-1", "WR-101", 42).await;
    works.says("printer-3", &Said::StrokesDone { count: 3 }).await;
    works.says("printer-2", &Said::Seated { code: StencilCode::new("WR-202").unwrap() }).await;
    let why = |why: &str| json!({ "by": "Q. Example", "why": why });
    works.post("/api/v1/stencils/WR-301/hold", why("scratch near the fiducial")).await;
    let concession = json!({
        "by": "M. Example", "why": "its successor comes on Friday", "strokes": 40,
    });
    works.post("/api/v1/stencils/WR-202/concession", concession).await;
    works.post("/api/v1/stencils/WR-401/retire", why("bent frame")).await;
    works.refused("WR-101").await;
    works
        .until("alarms stand", "/api/v1/alarms", |seen| {
            seen["alarms"].as_array().is_some_and(|all| all.len() >= 3)
        })
        .await;
    works
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_with_much_on_them() {
    let works = busy().await;
    let Some(mut inspector) = Inspector::new(&works, Setup::DESK).await else { return };
    for (name, path) in [
        ("worklist", "/"),
        ("stencils", "/stencils"),
        ("stencils-none", "/stencils?find=nothing+like+it"),
        ("stencil", "/stencils/WR-101"),
        ("stencil-on-hold", "/stencils/WR-301"),
        ("stencil-concession", "/stencils/WR-202"),
        ("stencil-retired", "/stencils/WR-401"),
        ("machines", "/machines"),
        ("machine-printer", "/machines/printer-1"),
        ("machine-trial", "/machines/printer-3"),
        ("machine-washer", "/machines/washer-1"),
        ("machine-rack", "/machines/rack-1"),
        ("alarms", "/alarms"),
        ("unattributed", "/unattributed"),
        ("wear", "/wear"),
        ("event", "/events/40"),
        ("tag", "/stencils/WR-101/tag"),
        ("tag-on-hold", "/stencils/WR-301/tag"),
        ("about", "/about"),
        ("missing", "/stencils/WR-999"),
    ] {
        inspector.visit(name, path).await;
    }
    inspector.tell(20).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_that_answer() {
    let works = busy().await;
    let Some(mut inspector) = Inspector::new(&works, Setup::DESK).await else { return };
    inspector.visit("scan", "/scan").await;
    // One after the other; each answer is awaited before the next code.
    for (name, code, said) in [
        ("scan-asks", "WR-302", "Now scan the order"),
        ("scan-no", "WO-4711", "Do not take it"),
        ("", "WR-302", "Now scan the order"),
        ("scan-yes", "C2", "Store it"),
        ("scan-unknown", "4006381333931", "Not known"),
    ] {
        inspector.browser.fill("Scan a stencil", code).await;
        inspector.browser.fill("Who", "L. Example").await;
        inspector.browser.press(Thing::Button, "Enter").await;
        inspector.browser.sees(said).await;
        if !name.is_empty() {
            inspector.look(name).await;
        }
    }
    let browser = &inspector.browser;
    browser.goto("/stencils/WR-302").await;
    browser.press(Thing::Fold, "Enter strokes by hand").await;
    browser.fill("Machine", "printer-1").await;
    browser.fill("Strokes", "3").await;
    browser.fill("Why", " ").await;
    browser.fill("Who", "M. Example").await;
    browser.press(Thing::Button, "Enter strokes by hand").await;
    browser.sees("Not done. See the marked field.").await;
    inspector.look("stencil-fault").await;

    let browser = &inspector.browser;
    browser.goto("/alarms").await;
    browser.fill("Who", "T. Example").await;
    browser.press(Thing::Button, "Shelve").await;
    browser.sees("Tick at least one alarm.").await;
    inspector.look("alarms-fault").await;
    inspector.tell(7).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_in_german() {
    let works = busy().await;
    let german = Setup { language: "de-DE,de", ..Setup::DESK };
    let Some(mut inspector) = Inspector::new(&works, german).await else { return };
    for (name, path) in [
        ("de-worklist", "/"),
        ("de-scan", "/scan"),
        ("de-stencils", "/stencils"),
        ("de-stencil", "/stencils/WR-202"),
        ("de-machines", "/machines"),
        ("de-alarms", "/alarms"),
        ("de-unattributed", "/unattributed"),
        ("de-wear", "/wear"),
    ] {
        inspector.visit(name, path).await;
    }
    inspector.tell(8).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_with_nothing_on_them() {
    let works = Works::empty().await;
    let Some(mut inspector) = Inspector::new(&works, Setup::DESK).await else { return };
    for (name, path) in [
        ("empty-worklist", "/"),
        ("empty-stencils", "/stencils"),
        ("empty-machines", "/machines"),
        ("empty-alarms", "/alarms"),
        ("empty-unattributed", "/unattributed"),
        ("empty-wear", "/wear"),
    ] {
        inspector.visit(name, path).await;
    }
    inspector.tell(6).await;
}
