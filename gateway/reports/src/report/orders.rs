//! Which stencil printed which order, in what condition, allowed by whom.

use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Side;
use stencilward_domain::stencil::Cleanliness;
use stencilward_domain::wear::WearBand;

use super::condition::{Condition, Print};
use super::figure::Value;
use super::runs::{Part, Run, Runs};
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("order", Unit::None),
    ("product", Unit::None),
    ("side", Unit::None),
    ("line", Unit::None),
    ("printer", Unit::None),
    ("started", Unit::None),
    ("finished", Unit::None),
    ("boards", Unit::Boards),
    ("stencil", Unit::None),
    ("strokes", Unit::Strokes),
    ("cleanliness", Unit::None),
    ("since-wash", Unit::Strokes),
    ("band", Unit::None),
    ("tension", Unit::Tension),
    ("taken", Unit::None),
    ("taken-by", Unit::None),
    ("print", Unit::None),
    ("print-decision", Unit::None),
    ("concession", Unit::None),
    ("conceded-by", Unit::None),
];

impl Runs {
    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let listed = self.runs.iter().filter(|run| run.within);
        let listed = listed.filter(|run| review.picks_machine(asked, Some(&run.printer)));
        Table {
            name: "orders",
            about: "Which stencil printed which order, and how it was at its first stroke.",
            columns: COLUMNS,
            rows: listed.flat_map(|run| run.rows(review, asked)).collect(),
            notes: vec![
                "strokes: told of while the order ran. A row without a stencil: strokes of the \
                 order that nobody attributed, or none yet. No condition: all its strokes were \
                 assigned to it later."
                    .to_owned(),
            ],
            nothing: "No order began.",
        }
    }
}

impl Run {
    fn rows(&self, review: &Review, asked: &Asked) -> Vec<Vec<Figure>> {
        let picked = |code: &&StencilCode| review.picks_stencil(asked, Some(code));
        let parts = self.parts.iter().filter(|(code, _)| picked(code));
        let mut rows: Vec<_> = parts.map(|(code, part)| self.row(review, code, part)).collect();
        let unknown = self.open.sum > 0 || self.parts.is_empty();
        if unknown && !asked.filter.by_stencil() {
            let mut row = self.order(review);
            row.extend([Figure::nothing(), self.open.figure()]);
            row.resize_with(COLUMNS.len(), Figure::nothing);
            rows.push(row);
        }
        rows
    }

    fn order(&self, review: &Review) -> Vec<Figure> {
        let (at, start) = self.started;
        let finished = self
            .finished
            .map_or_else(Figure::nothing, |(at, event)| Figure::of(Value::Time(at)).citing(event));
        let said = |figure: Figure| figure.citing(self.said);
        vec![
            said(Figure::text(&self.spec.order)),
            said(Figure::maybe(self.spec.product.as_ref())),
            said(Figure::maybe(self.spec.side.map(Side::as_str))),
            Figure::maybe(review.setup.line(&self.printer)),
            Figure::text(&self.printer).citing(start),
            Figure::of(Value::Time(at)).citing(start),
            finished,
            said(self.spec.quantity.map_or_else(Figure::nothing, Figure::count)),
        ]
    }

    fn row(&self, review: &Review, code: &StencilCode, part: &Part) -> Vec<Figure> {
        let mut row = self.order(review);
        row.extend([Figure::text(code), part.strokes.figure()]);
        match &part.start {
            Some(start) => row.extend(start.figures()),
            None => row.resize_with(COLUMNS.len(), Figure::nothing),
        }
        row
    }
}

impl Condition {
    fn figures(&self) -> Vec<Figure> {
        let tension = self.tension.as_ref().map_or_else(Figure::nothing, |tension| {
            Figure::centi(Some(tension.value.into())).citing(tension.because)
        });
        let taken = self.take.as_ref();
        let taken = taken.map_or_else(Figure::nothing, |take| Figure::event(take.decision));
        let taken_by = Figure::maybe(self.take.as_ref().and_then(|take| take.by.as_ref()));
        let (print, print_decision) = self.print.as_ref().map_or_else(Default::default, |print| {
            (print.in_words(), Figure::event(print.decision))
        });
        let concession = self.concession.as_ref();
        vec![
            Figure::sourced(&self.cleanliness, |value: &Cleanliness| value.as_str().to_owned()),
            self.since_wash.figure(),
            Figure::sourced(&self.band, |value: &WearBand| value.as_str().to_owned()),
            tension,
            taken,
            taken_by,
            print,
            print_decision,
            concession.map_or_else(Figure::nothing, |(event, _)| Figure::event(*event)),
            Figure::maybe(concession.map(|(_, by)| by)),
        ]
    }
}

impl Print {
    fn in_words(&self) -> Figure {
        let refused = self.refused.join(", ");
        let word =
            if refused.is_empty() { "permitted".to_owned() } else { format!("refused: {refused}") };
        Figure::text(&word).citing(self.decision)
    }
}
