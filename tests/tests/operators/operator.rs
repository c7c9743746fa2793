//! One operator: scans, or asks by a program, waits for the answer, and does what it permits.

use std::sync::Arc;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_tests::http::Answer as Http;
use stencilward_tests::seed::Chance;
use tokio::time::{Instant, sleep};

use crate::checker::Done;
use crate::model::{Act, Answer, Place, Seen};
use crate::works::{PRINTERS, SLOTS, STENCILS, Works, code, printer, slot};

/// Stencils that everybody wants.
const WANTED: u64 = 12;

/// How long a rack's word is looked for.
const PATIENCE: Duration = Duration::from_secs(1);

pub(crate) struct Operator {
    number: u64,
    chance: Chance,
    works: Arc<Works>,
    begin: Instant,
    done: Vec<Done>,
}

pub(crate) fn name(number: u64) -> String {
    format!("operator-{number}")
}

impl Operator {
    pub(crate) fn new(number: u64, chance: Chance, works: Arc<Works>) -> Self {
        Self { number, chance, works, begin: Instant::now(), done: Vec::new() }
    }

    /// Works on until then, and gives what was done.
    pub(crate) async fn work(mut self, until: Instant) -> Vec<Done> {
        while Instant::now() < until {
            let most = if self.chance.below(2) == 0 { WANTED } else { STENCILS };
            let stencil = self.chance.below(most);
            let act = self.any_act();
            let by_page = self.chance.below(2) == 0;
            self.does(stencil, act, by_page).await;
        }
        self.done
    }

    fn any_act(&mut self) -> Act {
        match self.chance.below(20) {
            0..6 => Act::Take,
            6..10 => Act::Store(self.chance.below(SLOTS)),
            10..12 => Act::Seat(self.chance.below(PRINTERS)),
            12 => Act::Strokes(1 + self.chance.below(9)),
            13..16 => Act::Wash,
            16 => Act::Hold,
            17 => Act::Release,
            _ => Act::Look,
        }
    }

    async fn does(&mut self, stencil: u64, act: Act, by_page: bool) {
        let begun = self.begin.elapsed();
        let scanned = matches!(act, Act::Take | Act::Store(_) | Act::Seat(_) | Act::Wash);
        let (answer, event) = if by_page && scanned {
            (self.scan(stencil, act).await, None)
        } else if act == Act::Look {
            (Answer::Seen(seen(&self.works.look(stencil).await)), None)
        } else {
            let answer = self.ask(stencil, act).await;
            let event = (answer.status == 200).then(|| answer.json()["event"].as_u64()).flatten();
            (told(&answer), event)
        };
        let (by, ended) = (self.number, Some(self.begin.elapsed()));
        let permitted = answer == Answer::Yes;
        self.done.push(Done { stencil, by, act, answer, begun, ended, event });
        match act {
            Act::Take if permitted => self.carry_out(stencil).await,
            Act::Store(slot) if permitted => self.carry_in(stencil, slot).await,
            _ => {}
        }
    }

    async fn ask(&self, stencil: u64, act: Act) -> Http {
        let by = name(self.number);
        let why = "a test";
        let (action, more) = match act {
            Act::Store(number) => {
                let (rack, slot) = slot(number);
                ("store", json!({ "rack": rack, "slot": slot }))
            }
            Act::Hold => ("hold", json!({ "why": why })),
            Act::Release => ("release", json!({ "why": why })),
            Act::Wash => ("wash", json!({})),
            Act::Strokes(strokes) => {
                ("strokes", json!({ "strokes": strokes, "machine": printer(0), "why": why }))
            }
            Act::Seat(number) => {
                let path = format!("/api/v1/machines/{}/seat", printer(number));
                let body = json!({ "by": by, "stencil": code(stencil) });
                return self.works.post(&path, &body).await;
            }
            _ => ("take", json!({})),
        };
        self.works.act(stencil, action, &by, more).await
    }

    /// The second of two scans: the page kept the first.
    async fn scan(&self, stencil: u64, act: Act) -> Answer {
        let (by, code) = (name(self.number), code(stencil));
        let (field, value) = match act {
            Act::Store(number) => {
                let (rack, slot) = slot(number);
                ("scan", format!("{rack}/{slot}"))
            }
            Act::Seat(number) => ("scan", printer(number)),
            Act::Wash => ("do", "wash".to_owned()),
            _ => ("do", "take".to_owned()),
        };
        let fields = [("by", by.as_str()), ("stencil", &code), (field, &value)];
        let page = self.works.form("/scan", &fields).await.body;
        match (page.contains("verdict yes"), page.contains("verdict no")) {
            (true, false) => Answer::Yes,
            (false, true) => Answer::No([].into()),
            _ => panic!("neither yes nor no: {page}"),
        }
    }

    async fn carry_out(&mut self, stencil: u64) {
        let begun = self.begin.elapsed();
        if let Some(slot) = self.works.take_out(stencil).await {
            let gone = |seen: &Seen| seen.place != Place::Slot(slot);
            self.rack_said(stencil, Act::TakenOut(slot), begun, gone).await;
        }
    }

    async fn carry_in(&mut self, stencil: u64, slot: u64) {
        let begun = self.begin.elapsed();
        if self.works.put_in(stencil, slot).await {
            let there = |seen: &Seen| seen.place == Place::Slot(slot);
            self.rack_said(stencil, Act::PutIn(slot), begun, there).await;
        }
    }

    /// Looks until the gateway shows what a rack said. When others were quicker, it may have
    /// taken effect at any time.
    async fn rack_said(
        &mut self,
        stencil: u64,
        act: Act,
        begun: Duration,
        shown: impl Fn(&Seen) -> bool,
    ) {
        let given_up = Instant::now() + PATIENCE;
        let mut ended = None;
        while ended.is_none() && Instant::now() < given_up {
            if shown(&seen(&self.works.look(stencil).await)) {
                ended = Some(self.begin.elapsed());
            } else {
                sleep(Duration::from_millis(5)).await;
            }
        }
        let (by, answer) = (self.number, Answer::Nothing);
        self.done.push(Done { stencil, by, act, answer, begun, ended, event: None });
    }
}

fn told(answer: &Http) -> Answer {
    let body = answer.json();
    match (answer.status, body["permitted"].as_bool()) {
        (200, None | Some(true)) => Answer::Yes,
        (200, Some(false)) => {
            let reasons = body["reasons"].as_array().unwrap();
            Answer::No(reasons.iter().map(|r| r["code"].as_str().unwrap().to_owned()).collect())
        }
        (409, _) => Answer::No([].into()),
        _ => panic!("{answer:?}"),
    }
}

fn seen(view: &Value) -> Seen {
    let number = |of: &str| view[of].as_u64().unwrap_or_else(|| panic!("no {of} in {view}"));
    let named = |of: &str| {
        let name = view["place"][of].as_str().unwrap_or_default();
        name.trim_start_matches(|c: char| !c.is_ascii_digit()).parse().unwrap()
    };
    let place = match view["place"]["place"].as_str() {
        Some("slot") => Place::Slot(named("slot")),
        Some("printer") => Place::Printer(named("machine")),
        Some("in-hand") => Place::Hand,
        other => panic!("{other:?} in {view}"),
    };
    let clean = match view["cleanliness"].as_str() {
        Some("clean") => true,
        Some("printed") => false,
        other => panic!("{other:?} in {view}"),
    };
    Seen {
        place,
        clean,
        held: view["standing"] == "on-hold",
        strokes: number("strokes"),
        since_wash: number("strokes_since_wash"),
        washes: number("washes"),
    }
}
