//! How well the alarms serve: the standards' measures, for whoever looks after them.

use maud::{Markup, html};
use stencilward_domain::alarm::AlarmId;
use stencilward_domain::event::Role;

use crate::Surface;
use crate::archive::AlarmFigures;
use crate::pages::words::Words;

/// Measures of the last days with what the standards take for good; nothing for who only works
/// alarms off, or while a long ledger is still being read.
pub(super) fn section(surface: &Surface, words: &Words) -> Markup {
    if words.who.role().is_some_and(|role| role < Role::Technician) {
        return html! {};
    }
    // The list must stand also while the ledger cannot be read.
    let Ok(Some(sums)) = surface.archive.sums() else { return html! {} };
    let figures = &sums.alarms;
    html! {
        section aria-labelledby="measures" {
            h2 #measures { (words.say("measures")) }
            @if figures.told == 0 { p.quiet { (words.say("measures-nothing")) } } @else {
                (table(words, figures))
                (most_told(words, figures))
            }
        }
    }
}

/// Guides: ISA-18.2 and IEC 62682, from memory; peak and mix of three: EEMUA 191, second hand.
fn table(words: &Words, figures: &AlarmFigures) -> Markup {
    let (count, rate) = (|number: u64| words.number(number), |rate: f64| hundredths(words, rate));
    let rows = [
        ("told", count(figures.told), ""),
        ("per-ten-minutes", rate(figures.per_ten_minutes), "1–2"),
        ("peak", rate(figures.peak), "≤ 10"),
        ("floods", count(figures.floods), ""),
        ("in-flood", words.percent(figures.in_flood), "< 1 %"),
        ("chattering", count(figures.chattering), "0"),
        ("fleeting", count(figures.fleeting), "0"),
        ("stale", count(figures.stale), "< 5"),
    ];
    let guides = ["≈ 80 %", "≈ 15 %", "≈ 5 %", "< 1 %"];
    let label = |key: &str| words.say(&format!("measure-{key}"));
    let span = std::time::Duration::from_secs_f64(figures.days.max(0.0) * 86_400.0);
    let span = [("span", words.span(span).into())];
    html! {
        table.cards {
            caption { (words.tell("measures-days", span)) }
            thead {
                tr {
                    th scope="col" { (label("what")) }
                    th.number scope="col" { (words.say("value")) }
                    th scope="col" { (label("guide")) }
                }
            }
            tbody {
                @for (key, value, guide) in rows { (row(words, &label(key), &value, guide)) }
                @for ((priority, told), guide) in figures.mix.iter().zip(guides) {
                    @let name = words.say(&format!("priority-{}", priority.as_str()));
                    @let share = words.percent(share(*told, figures.told));
                    (row(words, &format!("{} {name}", label("share")), &share, guide))
                }
            }
        }
    }
}

fn row(words: &Words, what: &str, value: &str, guide: &str) -> Markup {
    html! {
        tr {
            th scope="row" { (what) }
            td.number data-label=(words.say("value")) { (value) }
            td data-label=(words.say("measure-guide")) { (guide) }
        }
    }
}

fn most_told(words: &Words, figures: &AlarmFigures) -> Markup {
    let name = |id: &AlarmId| {
        format!("{}: {}", id.subject, words.say(&format!("alarm-kind-{}", id.kind.as_str())))
    };
    html! {
        h3 { (words.say("measure-top")) }
        ol { @for (id, told) in &figures.top { li { (name(id)) " " strong { (words.number(*told)) } } } }
    }
}

#[allow(clippy::cast_precision_loss)]
fn share(part: u64, whole: u64) -> f64 {
    part as f64 / whole.max(1) as f64
}

#[allow(clippy::cast_possible_truncation)]
fn hundredths(words: &Words, number: f64) -> String {
    words.centi((number * 100.0).round() as i64)
}
