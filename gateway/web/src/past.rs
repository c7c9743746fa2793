//! What only the past tells: the history of a stencil, what is to come of its wear, and how well
//! the alarms serve.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use jiff::civil::{Date, date};
use jiff::{Span, ToSpan as _};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::alarm::{AlarmId, Priority};
use stencilward_domain::names::StencilCode;

use crate::Surface;
use crate::archive::{Coming, Outlook, Sums};
use crate::contract::shapes::Name;
use crate::events::EventView;
use crate::paging::{Paged, Paging, page};
use crate::problem::Problem;
use crate::said::bad;

/// Most events of a history.
const LONGEST: u16 = 1_000;

/// Days of use that are told of a stencil.
const DAYS: usize = 90;

/// How much of a history.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Part {
    /// How many events at most; 50 unless given.
    #[schemars(range(min = 1, max = LONGEST), with = "u16")]
    limit: Option<u16>,
}

/// The last events of a stencil.
#[derive(Serialize, JsonSchema)]
pub(crate) struct History {
    /// The latest first.
    events: Vec<EventView>,
}

/// `GET /api/v1/stencils/{code}/history`.
pub(crate) async fn history(
    State(surface): State<Surface>,
    Path(code): Path<String>,
    part: Result<Query<Part>, QueryRejection>,
) -> Result<Json<History>, Problem> {
    let Query(Part { limit }) = part.map_err(|rejection| bad(rejection.body_text()))?;
    let limit = limit.unwrap_or(50);
    if !(1..=LONGEST).contains(&limit) {
        return Err(bad(format!("limit is 1 to {LONGEST}")));
    }
    let missing = || Problem::not_found("stencil", &code);
    let wanted = StencilCode::new(&code).map_err(|_| missing())?;
    let events = surface.archive.history(&wanted, usize::from(limit)).await?;
    if events.is_empty() {
        return Err(missing());
    }
    Ok(Json(History { events: events.into_iter().map(EventView::of).collect() }))
}

/// What is to come of the wear of each stencil that is not retired.
#[derive(Serialize, JsonSchema)]
pub(crate) struct WearView {
    /// Of prices, where the plant names one.
    currency: Option<String>,
    /// Strokes of all stencils by calendar day (UTC), the last 90 days on which any was used.
    daily: Vec<Daily>,
    stencils: Vec<Worn>,
    /// Where the list goes on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "String")]
    next: Option<String>,
}

/// What is to come of the wear of one stencil.
#[derive(Serialize, JsonSchema)]
struct Worn {
    #[schemars(with = "Name")]
    stencil: StencilCode,
    /// Strokes a production day, where the history is long enough.
    per_day: Option<f64>,
    /// When its successor should be ordered by the plant's limits.
    reorder: When,
    /// When it may no longer be used.
    stop: When,
    /// The last day to order its successor, where the lead time is known.
    order_by: Option<String>,
}

/// Strokes of one day.
#[derive(Serialize, JsonSchema)]
struct Daily {
    day: String,
    /// Less than none where more was corrected than made.
    strokes: i64,
}

/// When something is to come; days as such as 2026-11-26.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "is", rename_all = "kebab-case")]
enum When {
    /// It is there.
    Reached,
    /// Nine of ten true days lie between the earliest and the latest.
    Expected {
        /// The middle.
        day: String,
        /// The early end.
        earliest: String,
        /// The late end.
        latest: String,
    },
    /// No day can be given.
    NoDay {
        /// Why, as a stable word.
        why: &'static str,
    },
}

fn day(number: i32) -> String {
    const FIRST: Date = date(1970, 1, 1);
    let span: Span = number.days();
    FIRST.saturating_add(span).to_string()
}

impl From<&Coming> for When {
    fn from(coming: &Coming) -> Self {
        match *coming {
            Coming::Reached => Self::Reached,
            Coming::Expected { day: middle, earliest, latest } => {
                Self::Expected { day: day(middle), earliest: day(earliest), latest: day(latest) }
            }
            Coming::NoDay(why) => Self::NoDay { why },
        }
    }
}

/// `GET /api/v1/wear`.
pub(crate) async fn wear(
    State(surface): State<Surface>,
    paging: Result<Query<Paging>, QueryRejection>,
) -> Result<Paged<WearView>, Problem> {
    let paging = Paging::of(paging)?;
    let sums = added_up(&surface)?;
    let wear = &sums.wear;
    let worn = |(code, outlook): (&StencilCode, &Outlook)| Worn {
        stencil: code.clone(),
        per_day: outlook.per_day,
        reorder: (&outlook.reorder).into(),
        stop: (&outlook.stop).into(),
        order_by: outlook.order_by.map(day),
    };
    let days = wear.daily.iter().rev().take(DAYS);
    let daily = days.map(|(number, strokes)| Daily { day: day(*number), strokes: *strokes });
    let mut daily: Vec<Daily> = daily.collect();
    daily.reverse();
    let all = wear.outlooks.iter().map(|entry| (entry.0.as_str().to_owned(), entry));
    let (stencils, next) = page(all, &paging, "/api/v1/wear", worn);
    let currency = wear.currency.clone();
    Ok(Paged::new(next.clone(), WearView { currency, daily, stencils, next }))
}

/// How well the alarms serve those who see to them: the measures of ISA-18.2 and IEC 62682. Rates
/// are for each operator.
#[derive(Serialize, JsonSchema)]
pub(crate) struct AlarmReport {
    /// Days that were measured; the standards ask for thirty.
    days: f64,
    /// Alarms told.
    told: u64,
    /// On average in ten minutes.
    per_ten_minutes: f64,
    /// The most in one period of ten minutes.
    peak: f64,
    /// Floods that began.
    floods: u64,
    /// Share of time in flood.
    in_flood: f64,
    /// Alarms that chattered.
    chattering: u64,
    /// Alarms that were gone soon without anybody's doing.
    fleeting: u64,
    /// Alarms that stood for longer than a day.
    stale: u64,
    /// Those told the most.
    top: Vec<MostTold>,
    /// How many were told of each priority.
    mix: Vec<OfPriority>,
}

/// An alarm that was told often.
#[derive(Serialize, JsonSchema)]
struct MostTold {
    alarm: String,
    told: u64,
}

/// Alarms of one priority.
#[derive(Serialize, JsonSchema)]
struct OfPriority {
    priority: &'static str,
    told: u64,
}

/// `GET /api/v1/alarms/report`.
pub(crate) async fn alarms(State(surface): State<Surface>) -> Result<Json<AlarmReport>, Problem> {
    let sums = added_up(&surface)?;
    let figures = &sums.alarms;
    let most = |(id, told): &(AlarmId, u64)| MostTold { alarm: id.to_string(), told: *told };
    let of = |(priority, told): &(Priority, u64)| OfPriority {
        priority: priority.as_str(),
        told: *told,
    };
    Ok(Json(AlarmReport {
        days: figures.days,
        told: figures.told,
        per_ten_minutes: figures.per_ten_minutes,
        peak: figures.peak,
        floods: figures.floods,
        in_flood: figures.in_flood,
        chattering: figures.chattering,
        fleeting: figures.fleeting,
        stale: figures.stale,
        top: figures.top.iter().map(most).collect(),
        mix: figures.mix.iter().map(of).collect(),
    }))
}

fn added_up(surface: &Surface) -> Result<Arc<Sums>, Problem> {
    surface.archive.sums()?.ok_or_else(|| {
        let detail = "the ledger is being read for the first time: ask again in a minute";
        Problem::new(StatusCode::SERVICE_UNAVAILABLE, detail)
    })
}
