//! What a manager looks at first, on one page.

use std::collections::BTreeMap;

use stencilward_domain::event::Position;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::stencil::{Standing, Stencil};
use stencilward_domain::wear::WearBand;

use super::figure::Value;
use super::histories::History;
use super::outlooks::Outlooks;
use super::table::{Column, Table, Unit};
use super::wear::life;
use super::{Asked, Figure, Review};
use crate::forecast::{Dates, Outlook};

/// So many rows of what is next are shown.
const NEXT: usize = 10;

const BANDS: &[Column] = &[("band", Unit::None), ("stencils", Unit::Stencils)];

const ACTIONS: &[Column] = &[
    ("what", Unit::None),
    ("where", Unit::None),
    ("number", Unit::None),
    ("what-to-do", Unit::None),
];

const COMING: &[Column] = &[
    ("stencil", Unit::None),
    ("product", Unit::None),
    ("life", Unit::Percent),
    ("stop", Unit::None),
    ("stop-earliest", Unit::None),
    ("stop-latest", Unit::None),
    ("order-by", Unit::None),
];

/// Wear by band, what needs action now, what stops next.
pub(super) fn tables(review: &Review, asked: &Asked) -> Vec<Table> {
    vec![bands(review, asked), actions(review, asked), coming(review, asked)]
}

fn in_use<'a>(
    review: &'a Review,
    asked: &'a Asked,
) -> impl Iterator<Item = (&'a StencilCode, &'a Stencil, &'a History)> {
    review.stencils(asked).filter(|(_, stencil, _)| stencil.retired.is_none())
}

fn bands(review: &Review, asked: &Asked) -> Table {
    let rows = WearBand::ALL.map(|band| {
        let of_band = in_use(review, asked).filter(|(_, stencil, _)| stencil.band.value == band);
        let events: Vec<Position> = of_band.map(|(_, stencil, _)| stencil.band.because).collect();
        vec![Figure::text(band.as_str()), counted(events)]
    });
    Table {
        name: "bands",
        about: "Stencils in use, by wear.",
        columns: BANDS,
        rows: rows.into(),
        notes: Vec::new(),
        nothing: "No stencil is registered.",
    }
}

/// How many there are of what each event tells of. One event may stand for several.
fn counted(events: Vec<Position>) -> Figure {
    let count = i128::try_from(events.len()).unwrap_or_default();
    Figure::count(count).citing_all(&events.into_iter().collect())
}

fn action(what: &str, at: &str, number: Figure, to_do: &str) -> Vec<Figure> {
    vec![Figure::text(what), Figure::text(at), number, Figure::text(to_do)]
}

fn actions(review: &Review, asked: &Asked) -> Table {
    let mut rows = Vec::new();
    for (code, stencil, history) in in_use(review, asked) {
        let strokes = history.ever.strokes().figure();
        let conceded = stencil.standing(asked.now) == Standing::Concession;
        match stencil.band.value {
            WearBand::Stopped if conceded => {
                let to_do = "used under a concession: get its successor ready";
                rows.push(action("stopped", code.as_str(), strokes, to_do));
            }
            WearBand::Stopped => {
                let to_do = "use its successor, or ask for a concession";
                rows.push(action("stopped", code.as_str(), strokes, to_do));
            }
            WearBand::Reorder => {
                rows.push(action("reorder", code.as_str(), strokes, "order its successor"))
            }
            WearBand::InService => {}
        }
        if let Some(hold) = &stencil.hold {
            let number = Figure::event(hold.because);
            rows.push(action(
                "on hold",
                code.as_str(),
                number,
                &format!("decide: {}", hold.value.why),
            ));
        }
    }
    rows.extend(open_strokes(review, asked));
    rows.extend(findings(review, asked));
    Table {
        name: "actions",
        about: "What needs somebody now.",
        columns: ACTIONS,
        rows,
        notes: vec![
            "number: strokes of a stencil, open strokes of a printer, findings; for a hold, its \
             event."
                .to_owned(),
        ],
        nothing: "Nothing needs anybody now.",
    }
}

fn open_strokes(review: &Review, asked: &Asked) -> Vec<Vec<Figure>> {
    let all = !asked.filter.by_stencil();
    let machines =
        review.state.machines.iter().filter(|(_, machine)| all && machine.unattributed > 0);
    let row = |name: &MachineName| {
        let open = review.unattributed.open_at(name).figure();
        action("unattributed", name.as_str(), open, "assign them: see the table unattributed")
    };
    machines.map(|(name, _)| row(name)).collect()
}

/// Findings by kind and machine.
fn findings(review: &Review, asked: &Asked) -> Vec<Vec<Figure>> {
    let mut kinds: BTreeMap<_, Vec<Position>> = BTreeMap::new();
    for finding in review.findings.0.iter().filter(|finding| finding.picked(review, asked)) {
        kinds.entry((finding.kind, finding.machine.as_ref())).or_default().push(finding.event);
    }
    let row = |((kind, machine), events): ((&str, Option<&MachineName>), Vec<Position>)| {
        let machine = machine.map_or("asked by hand", MachineName::as_str);
        action(kind, machine, counted(events), "look into it: see the table findings")
    };
    kinds.into_iter().map(row).collect()
}

fn coming(review: &Review, asked: &Asked) -> Table {
    let outlooks = Outlooks::new(review, asked);
    let mut next: Vec<(Dates, _)> = in_use(review, asked)
        .filter_map(|(code, stencil, history)| {
            let forecast = outlooks.of(stencil, history);
            match forecast.stopped {
                Outlook::Expected(dates) => Some((dates, (code, stencil, history, forecast))),
                _ => None,
            }
        })
        .collect();
    next.sort_by_key(|(dates, (code, ..))| (dates.date, *code));
    let rows = next.into_iter().take(NEXT).map(|(dates, (code, stencil, history, forecast))| {
        let cited = outlooks.events(stencil, history);
        let day = |day| Figure::of(Value::Day(day)).citing_all(&cited);
        vec![
            Figure::text(code),
            Figure::maybe(stencil.spec.product.as_ref()),
            life(stencil, history, &history.ever.strokes()),
            day(dates.date),
            day(dates.earliest),
            day(dates.latest),
            forecast.order_by.map_or_else(Figure::nothing, day),
        ]
    });
    Table {
        name: "next-to-stop",
        about: "The stencils that stop next.",
        columns: COMING,
        rows: rows.collect(),
        notes: vec![
            "At most ten. earliest and latest: nine of ten true dates should lie between them."
                .to_owned(),
        ],
        nothing: "No stencil has a date: see the table forecast for why.",
    }
}
