//! What condition looks like: a shape for each value, told apart without colour.

use maud::{Markup, html};
use stencilward_domain::place::Place;
use stencilward_domain::stencil::{Cleanliness, Standing, Stencil};
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::{WearBand, WearLimits};

use super::words::Words;

/// One dimension of a stencil's condition, in shape and words.
fn chip(shape: &Markup, weight: &str, dimension: &str, value: &str) -> Markup {
    html! {
        span.chip.(weight) {
            svg.shape viewBox="0 0 24 24" aria-hidden="true" focusable="false" { (shape) }
            span { span.dimension { (dimension) } " " strong { (value) } }
        }
    }
}

/// Cleanliness is told by circles.
pub(crate) fn cleanliness(words: &Words, value: Cleanliness) -> Markup {
    let (shape, weight) = match value {
        Cleanliness::Clean => (html! { circle cx="12" cy="12" r="9" {} }, "calm"),
        Cleanliness::Printed => (html! { circle.full cx="12" cy="12" r="9" {} }, "act"),
        Cleanliness::Washing => (
            html! {
                circle cx="12" cy="12" r="9" {}
                path d="M4 10q4-4 8 0t8 0M4 15q4-4 8 0t8 0" {}
            },
            "wait",
        ),
        Cleanliness::Unknown => (
            html! {
                circle.dotted cx="12" cy="12" r="9" {}
                path d="M9 9.5a3 3 0 1 1 3.6 3q-.6.2-.6 1.5M12 16.5v1" {}
            },
            "act",
        ),
    };
    let said = words.say(&format!("cleanliness-{}", value.as_str()));
    chip(&shape, weight, &words.say("dimension-cleanliness"), &said)
}

/// Standing is told by squares.
pub(crate) fn standing(words: &Words, value: Standing) -> Markup {
    let (shape, weight) = match value {
        Standing::Released => (html! { rect x="4" y="4" width="16" height="16" {} }, "calm"),
        Standing::OnHold => (
            html! {
                rect.full x="4" y="4" width="16" height="16" {}
                path.cut d="M9.5 8v8M14.5 8v8" {}
            },
            "stop",
        ),
        Standing::Concession => (
            html! {
                rect x="4" y="4" width="16" height="16" {}
                path.full d="M4 20V4L20 20z" {}
            },
            "act",
        ),
        Standing::Retired => (
            html! {
                rect x="4" y="4" width="16" height="16" {}
                path d="M4 4L20 20M20 4L4 20" {}
            },
            "stop",
        ),
    };
    let said = words.say(&format!("standing-{}", value.as_str()));
    chip(&shape, weight, &words.say("dimension-standing"), &said)
}

/// Wear is told by a column that fills.
pub(crate) fn wear(words: &Words, value: WearBand) -> Markup {
    let (top, weight) = match value {
        WearBand::InService => (15, "calm"),
        WearBand::Reorder => (8, "act"),
        WearBand::Stopped => (3, "stop"),
    };
    let shape = html! {
        rect x="7" y="3" width="10" height="18" {}
        rect.full x="7" y=(top) width="10" height=(21 - top) {}
        @if value == WearBand::Stopped { path d="M3 3h18" {} }
    };
    let said = words.say(&format!("band-{}", value.as_str()));
    chip(&shape, weight, &words.say("dimension-wear"), &said)
}

/// Where it is, is told by a pin.
pub(crate) fn place(words: &Words, value: &Place) -> Markup {
    let unknown = *value == Place::Unknown;
    let shape = html! {
        path.dotted[unknown] d="M12 21q-7-7.5-7-11.5a7 7 0 0 1 14 0q0 4-7 11.5z" {}
        @if !unknown { circle.full cx="12" cy="9.5" r="2.5" {} }
    };
    let weight = if unknown { "act" } else { "calm" };
    chip(&shape, weight, &words.say("dimension-place"), &place_words(words, value))
}

/// Where it is, in words.
pub(crate) fn place_words(words: &Words, value: &Place) -> String {
    let key = format!("place-{}", value.kind());
    let machine = value.machine().map_or("", |machine| machine.as_str());
    let slot = value.slot().map_or("", |slot| slot.as_str());
    words.tell(&key, [("machine", machine.into()), ("slot", slot.into())])
}

/// All four dimensions.
pub(crate) fn condition(words: &Words, stencil: &Stencil, now: Timestamp) -> Markup {
    html! {
        p.condition {
            (place(words, &stencil.place.value))
            (cleanliness(words, stencil.cleanliness.value))
            (wear(words, stencil.band.value))
            (standing(words, stencil.standing(now)))
        }
    }
}

/// Wear against rated life as a ruler, with marks where the limits lie.
pub(crate) fn ruler(words: &Words, ratio: f64, limits: WearLimits, label: &str) -> Markup {
    const LENGTH: f64 = 280.0;
    let whole = ratio.max(1.0) * 1.02;
    let at = |share: f64| format!("{:.1}", 10.0 + LENGTH * share / whole);
    let wide = |from: f64, to: f64| format!("{:.1}", (LENGTH * (to - from) / whole).max(0.0));
    let share = |share: stencilward_domain::wear::Share| f64::from(share.0) / 10_000.0;
    let (reorder, stop) = (share(limits.reorder), share(limits.stop));
    html! {
        svg.ruler viewBox="0 0 300 44" role="img" aria-label=(label) {
            rect.life x=(at(0.0)) y="6" width=(wide(0.0, 1.0)) height="16" {}
            rect.used x=(at(0.0)) y="6" width=(wide(0.0, ratio.min(stop))) height="16" {}
            @if ratio > stop {
                rect.over x=(at(stop)) y="3" width=(wide(stop, ratio)) height="22" {}
            }
            path.mark d={ "M" (at(reorder)) " 2v26M" (at(stop)) " 2v26" } {}
            text x=(at(0.0)) y="40" { "0" }
            text x=(at(reorder)) y="40" text-anchor="end" { (words.percent(reorder)) }
            text x="290" y="40" text-anchor="end" { (words.percent(stop)) }
        }
    }
}

/// Counts by day as columns, with labels at the axes. Days without a count are gaps.
pub(crate) fn columns(words: &Words, days: &[(i32, u64)], label: &str) -> Markup {
    let (Some(first), Some(last)) = (days.first(), days.last()) else {
        return html! { p.quiet { (words.say("chart-nothing")) } };
    };
    let most = days.iter().map(|(_, count)| *count).max().unwrap_or(1).max(1);
    let span = f64::from(last.0.saturating_sub(first.0)) + 1.0;
    let width = 620.0 / span;
    #[allow(clippy::cast_precision_loss)]
    let tall = |count: u64| 130.0 * count as f64 / most as f64;
    html! {
        svg.chart viewBox="0 0 720 190" role="img" aria-label=(label) {
            path.axis d="M80 10v140h630M80 10h-6M80 80h-6" {}
            text x="70" y="16" text-anchor="end" { (words.number(most)) }
            text x="70" y="86" text-anchor="end" { (words.number(most / 2)) }
            text x="70" y="154" text-anchor="end" { "0" }
            @for (day, count) in days {
                rect.used x={ (format!("{:.1}", 85.0 + f64::from(day - first.0) * width)) }
                    y={ (format!("{:.1}", 150.0 - tall(*count))) }
                    width={ (format!("{:.1}", (width * 0.8).clamp(0.5, 40.0))) }
                    height={ (format!("{:.1}", tall(*count))) } {}
            }
            text x="85" y="176" { (words.calendar_day(first.0)) }
            @if last.0 > first.0 {
                text x="705" y="176" text-anchor="end" { (words.calendar_day(last.0)) }
            }
        }
    }
}
