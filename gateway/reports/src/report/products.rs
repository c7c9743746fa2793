//! Each product and side with its stencils.

use std::collections::BTreeMap;

use stencilward_domain::event::Position;
use stencilward_domain::names::ProductName;
use stencilward_domain::signal::Side;
use stencilward_domain::stencil::Stencil;
use stencilward_domain::wear::WearBand;

use super::cost::{self, Cost};
use super::figure::{Tally, Value};
use super::histories::History;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Positions, Review};

const COLUMNS: &[Column] = &[
    ("product", Unit::None),
    ("side", Unit::None),
    ("stencils", Unit::Stencils),
    ("in-service", Unit::Stencils),
    ("reorder", Unit::Stencils),
    ("stopped", Unit::Stencils),
    ("strokes", Unit::Strokes),
    ("wipes", Unit::Wipes),
    ("washes", Unit::Washes),
    ("strokes-left", Unit::Strokes),
    ("cost", Unit::MoneyPerThousand),
];

/// What the stencils of one product and side add up to.
#[derive(Default)]
struct OfProduct<'a> {
    /// Those in use: not retired.
    in_use: Vec<(&'a Stencil, &'a History)>,
    strokes: Tally,
    wipes: Tally,
    washes: Tally,
    cost: Option<Cost>,
}

/// Every product and side.
pub(super) fn table(review: &Review, asked: &Asked) -> Table {
    let mut products: BTreeMap<(Option<&ProductName>, Option<Side>), OfProduct<'_>> =
        BTreeMap::new();
    for (_, stencil, history) in review.stencils(asked) {
        let key = (stencil.spec.product.as_ref(), stencil.spec.side);
        let of = products.entry(key).or_default();
        if stencil.retired.is_none() {
            of.in_use.push((stencil, history));
        }
        let flow = review.histories.flow(history);
        of.strokes = std::mem::take(&mut of.strokes).plus(&flow.counted());
        of.wipes = std::mem::take(&mut of.wipes).plus(&flow.wipes);
        of.washes = std::mem::take(&mut of.washes).plus(&flow.washes);
        let cost = Cost::of(stencil, history);
        of.cost = Some(match of.cost.take() {
            Some(sum) => sum.plus(&cost),
            None => cost,
        });
    }
    let rows = products.into_iter().map(|((product, side), of)| {
        let mut row = vec![Figure::maybe(product), Figure::maybe(side.map(Side::as_str))];
        row.extend(of.counts());
        row.extend([&of.strokes, &of.wipes, &of.washes].map(Tally::figure));
        row.push(of.left());
        row.push(of.cost.map_or_else(Figure::nothing, |cost| cost.per_thousand(&review.setup)));
        row
    });
    let mut notes = vec![
        "stencils: not retired. strokes: made under the gateway. strokes-left: up to the rated \
         life of those not retired."
            .to_owned(),
    ];
    notes.extend(cost::notes(&review.setup));
    Table {
        name: "products",
        about: "The stencils of each product and side, and what they did.",
        columns: COLUMNS,
        rows: rows.collect(),
        notes,
        nothing: "No stencil is registered.",
    }
}

impl OfProduct<'_> {
    fn counts(&self) -> Vec<Figure> {
        let counted = |wanted: Option<WearBand>| {
            let of_band = |stencil: &Stencil| wanted.is_none_or(|b| stencil.band.value == b);
            let counted = self.in_use.iter().filter(|(stencil, _)| of_band(stencil));
            let because = |(stencil, history): &(&Stencil, &History)| -> Position {
                if wanted.is_some() { stencil.band.because } else { history.spec }
            };
            let positions: Positions = counted.clone().map(because).collect();
            let count = i128::try_from(counted.count()).unwrap_or_default();
            Figure::count(count).citing_all(&positions)
        };
        let bands = WearBand::ALL.into_iter().map(Some);
        std::iter::once(None).chain(bands).map(counted).collect()
    }

    /// Strokes up to the rated life.
    fn left(&self) -> Figure {
        let mut left = Figure::count(0);
        for (stencil, history) in &self.in_use {
            let strokes = history.ever.strokes();
            let rated = i128::from(stencil.spec.rated_strokes);
            if let Value::Count(sum) = &mut left.value {
                *sum = sum.saturating_add((rated - strokes.sum).max(0));
            }
            left = left.citing(history.spec).citing_all(&strokes.events);
        }
        left
    }
}
