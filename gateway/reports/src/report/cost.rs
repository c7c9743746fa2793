//! What stencils cost for each thousand strokes.

use stencilward_domain::stencil::Stencil;

use super::figure::{Tally, Value};
use super::histories::History;
use super::table::{Column, Table, Unit};
use super::wear::{price, rounded, what};
use super::{Asked, Figure, Positions, Review, Setup};

const COLUMNS: &[Column] = &[
    ("stencil", Unit::None),
    ("product", Unit::None),
    ("side", Unit::None),
    ("price", Unit::Money),
    ("before", Unit::Strokes),
    ("counted", Unit::Strokes),
    ("washes", Unit::Washes),
    ("wash-cost", Unit::Money),
    ("cost", Unit::MoneyPerThousand),
    ("rated", Unit::Strokes),
    ("cost-if-used-up", Unit::MoneyPerThousand),
];

/// What one or several stencils cost, and the strokes they made for it.
#[derive(Debug)]
pub(super) struct Cost {
    /// Hundredths; none when it is not known of one of them.
    price: Option<i128>,
    rated: i128,
    specs: Positions,
    /// Strokes from before the gateway.
    before: Tally,
    /// Strokes made under it.
    counted: Tally,
    washes: Tally,
}

impl Cost {
    pub(super) fn of(stencil: &Stencil, history: &History) -> Self {
        Self {
            price: stencil.spec.price_centi.map(Into::into),
            rated: stencil.spec.rated_strokes.into(),
            specs: history.spec.into(),
            before: history.ever.before.clone(),
            counted: history.ever.counted(),
            washes: history.ever.washes.clone(),
        }
    }

    pub(super) fn plus(self, other: &Self) -> Self {
        let mut specs = self.specs;
        specs.extend(&other.specs);
        Self {
            price: self.price.zip(other.price).map(|(one, other)| one + other),
            rated: self.rated + other.rated,
            specs,
            before: self.before.plus(&other.before),
            counted: self.counted.plus(&other.counted),
            washes: self.washes.plus(&other.washes),
        }
    }

    fn events(&self) -> Positions {
        let parts = [&self.before.events, &self.counted.events, &self.washes.events, &self.specs];
        Positions::union(parts.into_iter())
    }

    fn washing(&self, setup: &Setup) -> Option<i128> {
        let each = i128::from(setup.wash_cost_centi?);
        Some(self.washes.sum.max(0).saturating_mul(each))
    }

    /// So far: the price over all strokes, and the washing over the strokes counted, times 1000.
    pub(super) fn per_thousand(&self, setup: &Setup) -> Figure {
        let all = self.before.sum.saturating_add(self.counted.sum);
        self.over(all, setup)
    }

    /// The same once all rated strokes are made, if washed as often as up to now.
    fn if_used_up(&self, setup: &Setup) -> Figure {
        self.over(self.rated, setup)
    }

    fn over(&self, strokes: i128, setup: &Setup) -> Figure {
        let washing = self.washing(setup).unwrap_or(0);
        let washed = if washing == 0 { Some(0) } else { per_thousand(washing, self.counted.sum) };
        let bought = self.price.and_then(|price| per_thousand(price, strokes));
        let cost = bought.zip(washed).map(|(bought, washed)| bought + washed);
        Figure::centi(cost).citing_all(&self.events())
    }
}

/// Hundredths for each thousand strokes, to the nearest.
fn per_thousand(centi: i128, strokes: i128) -> Option<i128> {
    (strokes > 0).then(|| rounded(centi.saturating_mul(1_000), strokes))
}

/// The cost of every stencil.
pub(super) fn table(review: &Review, asked: &Asked) -> Table {
    let setup = &review.setup;
    let rows = review.stencils(asked).map(|(code, stencil, history)| {
        let cost = Cost::of(stencil, history);
        let [product, side] = what(&stencil.spec, history);
        let rated = Value::Count(stencil.spec.rated_strokes.into());
        vec![
            Figure::text(code),
            product,
            side,
            price(&stencil.spec, history),
            cost.before.figure(),
            cost.counted.figure(),
            cost.washes.figure(),
            Figure::centi(cost.washing(setup)).citing_all(&cost.washes.events),
            cost.per_thousand(setup),
            Figure::of(rated).citing(history.spec),
            cost.if_used_up(setup),
        ]
    });
    let rows = rows.collect();
    Table { rows, notes: notes(setup), ..EMPTY }
}

const EMPTY: Table = Table {
    name: "cost",
    about: "What each stencil costs for a thousand strokes.",
    columns: COLUMNS,
    rows: Vec::new(),
    notes: Vec::new(),
    nothing: "No stencil is registered.",
};

/// How the numbers come about, and what is missing.
pub(super) fn notes(setup: &Setup) -> Vec<String> {
    let mut notes = vec![
        "cost = 1000 x (price / (before + counted) + wash-cost / counted). Strokes from before the \
         gateway share the price; their washes are not known. cost-if-used-up: price / rated \
         instead. Empty: no price is known, or no stroke was made."
            .to_owned(),
    ];
    if setup.wash_cost_centi.is_none() {
        notes.push(
            "The configuration names no cost of a wash: the costs are those of buying alone."
                .to_owned(),
        );
    }
    notes
}
