//! The state and use of each stencil.

use stencilward_domain::event::StencilSpec;
use stencilward_domain::place::Place;
use stencilward_domain::signal::Side;
use stencilward_domain::stencil::{Cleanliness, Stencil};
use stencilward_domain::wear::WearBand;

use super::cost::Cost;
use super::figure::{Tally, Value};
use super::histories::History;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("stencil", Unit::None),
    ("product", Unit::None),
    ("side", Unit::None),
    ("place", Unit::None),
    ("cleanliness", Unit::None),
    ("standing", Unit::None),
    ("band", Unit::None),
    ("strokes", Unit::Strokes),
    ("rated", Unit::Strokes),
    ("life", Unit::Percent),
    ("since-wash", Unit::Strokes),
    ("wipes", Unit::Wipes),
    ("washes", Unit::Washes),
    ("rated-washes", Unit::Washes),
    ("price", Unit::Money),
    ("cost", Unit::MoneyPerThousand),
];

/// The wear of every stencil.
pub(super) fn table(review: &Review, asked: &Asked) -> Table {
    let rows = review.stencils(asked).map(|(code, stencil, history)| {
        let mut row = what(&stencil.spec, history).to_vec();
        row.insert(0, Figure::text(code));
        let standing = Figure::text(stencil.standing(asked.now).as_str());
        row.extend([
            Figure::sourced(&stencil.place, Place::to_string),
            Figure::sourced(&stencil.cleanliness, |value: &Cleanliness| value.as_str().to_owned()),
            standing,
            Figure::sourced(&stencil.band, |value: &WearBand| value.as_str().to_owned()),
        ]);
        row.extend(numbers(review, stencil, history));
        row
    });
    Table {
        name: "wear",
        about: "How worn each stencil is, where it is and how clean.",
        columns: COLUMNS,
        rows: rows.collect(),
        notes: vec![
            "strokes: those from before the gateway included. life: the larger share of rated \
             strokes and rated washes. cost: so far, falling as the stencil is used; see the table \
             cost."
                .to_owned(),
        ],
        nothing: "No stencil is registered.",
    }
}

/// What a stencil is for.
pub(super) fn what(spec: &StencilSpec, history: &History) -> [Figure; 2] {
    let product = Figure::maybe(spec.product.as_ref());
    [product, Figure::maybe(spec.side.map(Side::as_str))].map(|figure| figure.citing(history.spec))
}

fn numbers(review: &Review, stencil: &Stencil, history: &History) -> Vec<Figure> {
    let (spec, used) = (&stencil.spec, &history.ever);
    let strokes = used.strokes();
    let from_spec = |value| Figure::of(value).citing(history.spec);
    let rated_washes = spec.rated_washes.map(|rated| Value::Count(rated.into()));
    vec![
        strokes.figure(),
        from_spec(Value::Count(spec.rated_strokes.into())),
        life(stencil, history, &strokes),
        history.since_wash.figure(),
        used.wipes.figure(),
        used.washes.figure(),
        from_spec(rated_washes.unwrap_or_default()),
        price(spec, history),
        Cost::of(stencil, history).per_thousand(&review.setup),
    ]
}

/// What it cost to buy.
pub(super) fn price(spec: &StencilSpec, history: &History) -> Figure {
    Figure::centi(spec.price_centi.map(Into::into)).citing(history.spec)
}

/// The used share of its life, in hundredths of a per cent, rounded to the nearest.
pub(super) fn life(stencil: &Stencil, history: &History, strokes: &Tally) -> Figure {
    let share = |used: i128, rated: u64| {
        if rated == 0 { 10_000 } else { rounded(used.saturating_mul(10_000), rated.into()) }
    };
    let by_strokes = share(strokes.sum, stencil.spec.rated_strokes);
    let washes = &history.ever.washes;
    let by_washes = stencil.spec.rated_washes.map(|rated| share(washes.sum, rated));
    let figure = Figure::centi(Some(by_strokes.max(by_washes.unwrap_or(0))));
    let figure = figure.citing(history.spec).citing_all(&strokes.events);
    if by_washes.is_some() { figure.citing_all(&washes.events) } else { figure }
}

/// A quotient of numbers that are not negative, to the nearest whole one.
pub(super) fn rounded(part: i128, whole: i128) -> i128 {
    part.saturating_add(whole / 2) / whole
}
