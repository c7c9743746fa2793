//! Wear for the manager: what to order and by when, what it costs, what is used beyond its life.
//!
//! The question is what to order next, so the plan comes first, the earliest day on top. It prints
//! as it is shown.

use std::cmp::Reverse;
use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::site::Site;
use stencilward_domain::stencil::Stencil;
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::{WearBand, WearLimits};

use super::layout::{Page, event_link, name_link, shown, stopping, unread};
use super::shapes;
use super::stencil::{coming_words, concession_words, order_by};
use super::stencils::{wear_words, what};
use super::words::Words;
use crate::Surface;
use crate::archive::{Coming, Outlook, Wear};

/// Stencils in the plan.
const PLANNED: usize = 40;

/// Days drawn.
const DRAWN: usize = 90;

struct Row {
    stencil: Stencil,
    limits: WearLimits,
}

/// What the page shows of the present.
struct Rows {
    bands: [(WearBand, usize); WearBand::ALL.len()],
    planned: Vec<Row>,
    /// There are more than are shown.
    more: bool,
    granted: Vec<Stencil>,
    now: Timestamp,
}

impl Rows {
    fn of(site: &Site, wear: &Wear, now: Timestamp) -> Self {
        let used = site.state().stencils.values().filter(|stencil| stencil.retired.is_none());
        let mut used: Vec<&Stencil> = used.collect();
        let bands = WearBand::ALL
            .map(|band| (band, used.iter().filter(|stencil| stencil.band.value == band).count()));
        let granted = used.iter().filter(|stencil| stencil.concession.is_some());
        let granted = granted.map(|stencil| Stencil::clone(stencil)).collect();
        used.sort_by_cached_key(|stencil| {
            let ratio = (stencil.life_ratio() * 1e6) as u64;
            (due(wear.outlooks.get(&stencil.spec.stencil)), Reverse(ratio))
        });
        let row = |stencil: &&Stencil| Row {
            limits: site.plant().policy.wear_limits(&stencil.spec),
            stencil: Stencil::clone(stencil),
        };
        let planned = used.iter().take(PLANNED).map(row).collect();
        Self { bands, planned, more: used.len() > PLANNED, granted, now }
    }
}

/// `GET /wear`.
pub(crate) async fn wear(
    State(surface): State<Surface>,
    words: Words,
) -> Result<Response, Response> {
    let known = surface.archive.sums().map_err(unread(&words))?;
    let sums = known.clone().unwrap_or_default();
    let wear = &sums.wear;
    let order = Arc::clone(&sums);
    let look = surface.site.look(move |site, now| Rows::of(site, &order.wear, now));
    let rows = look.await.map_err(stopping(&words))?;
    let title = words.say("wear-title");
    let main = html! {
        h1 { (title) }
        @if known.is_none() { p role="status" { (words.say("wear-not-yet")) } }
        (bands(&words, &rows.bands))
        (plan(&words, &rows, wear))
        (concessions(&words, &rows.granted))
        (use_over_time(&words, wear))
    };
    Ok(shown(&words, &Page { place: "wear", title, live: Some("stencil/".to_owned()), main }))
}

/// The day by which something must be ordered, as far as anybody can say; the last where nobody can.
fn due(outlook: Option<&Outlook>) -> i32 {
    let early = |coming: &Coming| match coming {
        Coming::Reached => i32::MIN,
        Coming::Expected { earliest, .. } => *earliest,
        Coming::NoDay(_) => i32::MAX,
    };
    outlook.map_or(i32::MAX, |outlook| {
        outlook.order_by.unwrap_or_else(|| early(&outlook.reorder).min(early(&outlook.stop)))
    })
}

fn bands(words: &Words, bands: &[(WearBand, usize)]) -> Markup {
    html! {
        p.condition {
            @for (band, count) in bands.iter().copied() {
                span { (shapes::wear(words, band)) " " strong { (words.number(count as u64)) } }
            }
        }
    }
}

fn plan(words: &Words, rows: &Rows, wear: &Wear) -> Markup {
    if rows.planned.is_empty() {
        return html! { p { (words.say("wear-plan-nothing")) } };
    }
    let unit = wear.currency.as_deref().unwrap_or_default();
    let money =
        |centi: u64| format!("{} {unit}", words.centi(i64::try_from(centi).unwrap_or(i64::MAX)));
    let label = |key: &str| words.say(key);
    html! {
        section aria-labelledby="plan" {
            h2 #plan { (label("wear-plan")) }
            table.cards {
                caption { (label("wear-plan-means")) }
                thead {
                    tr {
                        th scope="col" { (label("stencil")) }
                        th scope="col" { (label("dimension-wear")) }
                        th scope="col" { (label("forecast-order-by")) }
                        th scope="col" { (label("forecast-stop")) }
                        th.number scope="col" { (label("wear-per-day")) }
                        th.number scope="col" { (label("wear-price")) }
                    }
                }
                tbody {
                    @for row in &rows.planned {
                        @let outlook = wear.outlooks.get(&row.stencil.spec.stencil);
                        tr {
                            th scope="row" {
                                (name_link("stencils", row.stencil.spec.stencil.as_str())) br;
                                small { (what(words, &row.stencil)) }
                            }
                            td {
                                @let said = wear_words(words, &row.stencil);
                                (shapes::ruler(words, row.stencil.life_ratio(), row.limits, &said))
                                small { (said) }
                            }
                            td data-label=(label("forecast-order-by")) {
                                @match outlook.and_then(|outlook| outlook.order_by) {
                                    Some(day) => (order_by(words, day, rows.now)),
                                    None => (outlook.map_or_else(|| "–".to_owned(), |o| coming_words(words, &o.reorder))),
                                }
                            }
                            td data-label=(label("forecast-stop")) {
                                (outlook.map_or_else(|| "–".to_owned(), |o| coming_words(words, &o.stop)))
                            }
                            td.number data-label=(label("wear-per-day")) {
                                (outlook.and_then(|o| o.per_day).map_or_else(|| "–".to_owned(), |rate| tenths(words, rate)))
                            }
                            td.number data-label=(label("wear-price")) {
                                (row.stencil.spec.price_centi.map_or_else(|| "–".to_owned(), money))
                            }
                        }
                    }
                }
            }
            @if rows.more {
                p { a href="/stencils?order=wear" { (label("wear-more")) } }
            }
        }
    }
}

#[allow(clippy::cast_possible_truncation)]
fn tenths(words: &Words, rate: f64) -> String {
    words.centi((rate * 100.0).round() as i64)
}

fn concessions(words: &Words, granted: &[Stencil]) -> Markup {
    let granted = granted.iter().filter_map(|one| Some((one, one.concession.as_ref()?)));
    let granted: Vec<_> = granted.collect();
    html! {
        section aria-labelledby="concessions" {
            h2 #concessions { (words.say("wear-concessions")) span.count { (words.number(granted.len() as u64)) } }
            @if granted.is_empty() { p.quiet { (words.say("wear-concessions-nothing")) } }
            ul {
                @for (stencil, concession) in granted {
                    li {
                        (name_link("stencils", stencil.spec.stencil.as_str())) " "
                        (concession_words(words, &concession.value))
                        " " (event_link(concession.because))
                    }
                }
            }
        }
    }
}

fn use_over_time(words: &Words, wear: &Wear) -> Markup {
    let count = |count: &i64| u64::try_from(*count).unwrap_or(0);
    let mut days: Vec<(i32, u64)> =
        wear.daily.iter().rev().take(DRAWN).map(|(day, strokes)| (*day, count(strokes))).collect();
    days.reverse();
    html! {
        section aria-labelledby="use" {
            h2 #use { (words.say("wear-use")) }
            (shapes::columns(words, &days, &words.say("wear-use-means")))
            p.quiet { (words.say("wear-use-means")) }
        }
    }
}
