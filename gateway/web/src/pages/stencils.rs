//! All stencils: found by what is written on them, ordered by what must be done.

use std::cmp::Reverse;

use axum::extract::{Query, State};
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;
use stencilward_domain::stencil::{Cleanliness, Standing, Stencil};
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::{WearBand, WearLimits};

use super::layout::{Page, name_link, shown, stopping};
use super::shapes;
use super::words::Words;
use crate::Surface;

/// Stencils on one page.
const ON_A_PAGE: usize = 40;

/// Conditions by which the list can be narrowed.
const CONDITIONS: [&str; 8] =
    ["to-wash", "clean", "unknown", "reorder", "stopped", "on-hold", "concession", "retired"];

/// Orders of the list.
const ORDERS: [&str; 4] = ["code", "wear", "waiting", "product"];

/// What is looked for, as the address has it.
#[derive(Debug, Clone, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    find: String,
    #[serde(default)]
    only: String,
    #[serde(default)]
    order: String,
    #[serde(default)]
    page: usize,
}

/// A stencil as the list has it.
struct Row {
    stencil: Stencil,
    limits: WearLimits,
}

/// `GET /stencils`.
pub(crate) async fn stencils(
    State(surface): State<Surface>,
    words: Words,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Response> {
    let filter = wanted.clone();
    let (rows, count, now) = surface
        .site
        .look(move |site, now| {
            let all = site.state().stencils.values();
            let mut found: Vec<&Stencil> = all.filter(|s| is_wanted(s, &filter, now)).collect();
            sort(&mut found, &filter.order, now);
            let count = found.len();
            let page = found.into_iter().skip(filter.page * ON_A_PAGE).take(ON_A_PAGE);
            let row = |stencil: &Stencil| Row {
                limits: site.plant().policy.wear_limits(&stencil.spec),
                stencil: stencil.clone(),
            };
            (page.map(row).collect::<Vec<_>>(), count, now)
        })
        .await
        .map_err(stopping(&words))?;
    let title = words.say("stencils-title");
    let main = html! {
        h1 { (title) }
        (filter_form(&words, &wanted))
        p aria-live="polite" { (words.tell("stencils-found", [("count", words.number(count as u64).into())])) }
        @if count > 0 { (table(&words, &rows, now)) }
        (pages(&words, &wanted, count))
    };
    let live = Some("stencil/".to_owned());
    Ok(shown(&words, &Page { place: "stencils", title, live, main }))
}

fn is_wanted(stencil: &Stencil, wanted: &Wanted, now: Timestamp) -> bool {
    let find = wanted.find.trim().to_lowercase();
    let spec = &stencil.spec;
    let has = |text: &str| text.to_lowercase().contains(&find);
    let found = find.is_empty()
        || has(spec.stencil.as_str())
        || spec.product.as_ref().is_some_and(|product| has(product.as_str()));
    let standing = stencil.standing(now);
    let clean = stencil.cleanliness.value;
    found
        && match wanted.only.as_str() {
            "to-wash" => clean == Cleanliness::Printed,
            "clean" => clean == Cleanliness::Clean,
            "unknown" => clean == Cleanliness::Unknown,
            "reorder" => stencil.band.value == WearBand::Reorder,
            "stopped" => stencil.band.value == WearBand::Stopped,
            "on-hold" => standing == Standing::OnHold,
            "concession" => standing == Standing::Concession,
            "retired" => standing == Standing::Retired,
            _ => standing != Standing::Retired,
        }
}

fn sort(found: &mut [&Stencil], order: &str, now: Timestamp) {
    match order {
        "wear" => found.sort_by(|one, other| other.life_ratio().total_cmp(&one.life_ratio())),
        "waiting" => found.sort_by_key(|stencil| Reverse(stencil.waiting_for_wash(now))),
        "product" => found.sort_by_key(|stencil| {
            (stencil.spec.product.clone(), stencil.spec.side.map(|side| side.as_str()))
        }),
        _ => {}
    }
}

fn filter_form(words: &Words, wanted: &Wanted) -> Markup {
    let choice = |name: &str, chosen: &str, all: &[&str]| {
        let id = format!("choice-{name}");
        html! {
            p.field {
                label for=(id) { (words.say(&format!("stencils-{name}"))) }
                select #(id) name=(name) {
                    @for value in all {
                        option value=(value) selected[*value == chosen] {
                            (words.say(&format!("stencils-{name}-{}", if value.is_empty() { "all" } else { value })))
                        }
                    }
                }
            }
        }
    };
    let conditions: Vec<&str> = std::iter::once("").chain(CONDITIONS).collect();
    html! {
        form.filter method="get" action="/stencils" role="search" {
            p.field {
                label for="find" { (words.say("stencils-find")) }
                input #find name="find" type="search" value=(wanted.find) autocomplete="off";
            }
            (choice("only", &wanted.only, &conditions))
            (choice("order", &wanted.order, &ORDERS))
            p { button type="submit" { (words.say("stencils-show")) } }
        }
    }
}

fn table(words: &Words, rows: &[Row], now: Timestamp) -> Markup {
    let label = |key: &str| words.say(key);
    html! {
        table.cards {
            caption { (label("stencils-caption")) }
            thead {
                tr {
                    th scope="col" { (label("stencil")) }
                    th scope="col" { (label("product")) }
                    th scope="col" { (label("condition")) }
                    th scope="col" { (label("dimension-wear")) }
                }
            }
            tbody { @for row in rows { (line(words, row, now)) } }
        }
    }
}

fn line(words: &Words, row: &Row, now: Timestamp) -> Markup {
    let stencil = &row.stencil;
    let label = wear_words(words, stencil);
    html! {
        tr {
            th scope="row" { (name_link("stencils", stencil.spec.stencil.as_str())) }
            td data-label=(words.say("product")) { (what(words, stencil)) }
            td { (shapes::condition(words, stencil, now)) }
            td {
                (shapes::ruler(words, stencil.life_ratio(), row.limits, &label))
                small { (label) }
            }
        }
    }
}

/// Product, side and revision, as far as they are known.
pub(crate) fn what(words: &Words, stencil: &Stencil) -> String {
    let spec = &stencil.spec;
    let side = spec.side.map(|side| words.say(&format!("word-side-{}", side.as_str())));
    let product = spec.product.as_ref().map(ToString::to_string);
    let all: Vec<String> = [product, side, spec.revision.clone()].into_iter().flatten().collect();
    if all.is_empty() { "–".to_owned() } else { all.join(" · ") }
}

/// Wear in one sentence.
pub(crate) fn wear_words(words: &Words, stencil: &Stencil) -> String {
    let parts = [
        ("strokes", words.number(stencil.strokes).into()),
        ("rated", words.number(stencil.spec.rated_strokes).into()),
        ("percent", words.percent(stencil.life_ratio()).into()),
    ];
    words.tell("wear-of-life", parts)
}

fn pages(words: &Words, wanted: &Wanted, count: usize) -> Markup {
    let last = count.saturating_sub(1) / ON_A_PAGE;
    let to = |page: usize| {
        let mut parts = String::new();
        for (name, value) in
            [("find", &wanted.find), ("only", &wanted.only), ("order", &wanted.order)]
        {
            let value = super::layout::path(&[value]);
            parts.push_str(&format!("{name}={}&", value.trim_start_matches('/')));
        }
        format!("/stencils?{parts}page={page}")
    };
    html! {
        @if last > 0 {
            nav aria-label=(words.say("stencils-pages")) {
                ul {
                    @if wanted.page > 0 { li { a href=(to(wanted.page - 1)) { (words.say("page-before")) } } }
                    @if wanted.page < last { li { a href=(to(wanted.page + 1)) { (words.say("page-next")) } } }
                }
            }
        }
    }
}
