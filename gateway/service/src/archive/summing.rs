//! What the whole ledger adds up to for pages: read once, then followed, and made ready for them
//! beforehand, so that no page waits for it.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use stencilward_config::Configuration;
use stencilward_domain::event::{Position, Recorded};
use stencilward_domain::time::Timestamp;
use stencilward_ledger::{Entry, Ledger, LedgerError};
use stencilward_reports::alarms::Measures;
use stencilward_reports::forecast::{Forecast, NoDate, Outlook as Expected};
use stencilward_reports::report::{Asked, Filter, Period, Review, Setup, refers_to};
use stencilward_web::{AlarmFigures, Coming, Outlook, Sums, Unread, Wear};
use tokio::sync::watch;
use tokio::time::MissedTickBehavior;
use tokio_util::sync::CancellationToken;

/// Events read at once.
const PAGE: usize = 1_000;

/// What is reckoned in days need not be newer than this.
const PACE: Duration = Duration::from_secs(10);

/// Alarms are measured over this time: the standards ask for thirty days.
const MEASURED_MS: i64 = 30 * 24 * 3_600_000;

/// What was added up last; none before the first time.
pub(super) type Sum = Option<Result<Arc<Sums>, Unread>>;

/// Adds up again and again.
pub(super) struct Summing {
    ledger: Arc<dyn Ledger>,
    /// Away while it adds up.
    review: Option<Review>,
    read: Position,
    currency: Option<String>,
    sum: watch::Sender<Sum>,
}

impl Summing {
    pub(super) fn new(
        ledger: Arc<dyn Ledger>,
        configuration: &Configuration,
    ) -> (Self, watch::Receiver<Sum>) {
        let costs = configuration.costs();
        let setup = Setup {
            plant: configuration.plant(),
            currency: costs.currency.clone(),
            wash_cost_centi: costs.wash_centi,
        };
        let review = Some(Review::new(setup, Period::default(), false));
        let (sum, sums) = watch::channel(None);
        (Self { ledger, review, read: Position(0), currency: costs.currency, sum }, sums)
    }

    /// Until `stop`.
    pub(super) async fn run(mut self, stop: CancellationToken) {
        let mut pace = tokio::time::interval(PACE);
        pace.set_missed_tick_behavior(MissedTickBehavior::Delay);
        while stop.run_until_cancelled(pace.tick()).await.is_some() {
            match stop.run_until_cancelled(self.add_up()).await {
                Some(Ok(sums)) => drop(self.sum.send(Some(Ok(Arc::new(sums))))),
                Some(Err(error)) => {
                    drop(self.sum.send(Some(Err(Unread(crate::chain(&error))))));
                }
                None => return,
            }
        }
    }

    async fn add_up(&mut self) -> Result<Sums, LedgerError> {
        loop {
            let page = self.ledger.read(self.read, PAGE).await?;
            let mut heard = Vec::with_capacity(page.len());
            for Entry { recorded, .. } in page {
                let original = match refers_to(&recorded.fact.event) {
                    Some(of) => at(&*self.ledger, of).await?,
                    None => None,
                };
                heard.push((recorded, original));
            }
            let last = heard.len() < PAGE;
            let currency = self.currency.clone().filter(|_| last);
            let Some(mut review) = self.review.take() else {
                return Err(LedgerError::Closed);
            };
            // Long reckoning keeps no signal waiting.
            let reckoned = tokio::task::spawn_blocking(move || {
                for (recorded, original) in &heard {
                    // No instant was set after which the review hears nothing.
                    let _ = review.listen(recorded, original.as_ref());
                }
                let sums = last.then(|| sums(&review, currency));
                (review, heard.last().map(|(recorded, _)| recorded.position), sums)
            });
            let (review, read, sums) = reckoned.await.map_err(LedgerError::storage)?;
            self.review = Some(review);
            self.read = read.unwrap_or(self.read);
            if let Some(sums) = sums {
                return Ok(sums);
            }
        }
    }
}

/// The event in this place.
pub(super) async fn at(
    ledger: &dyn Ledger,
    position: Position,
) -> Result<Option<Recorded>, LedgerError> {
    let Some(before) = position.0.checked_sub(1) else { return Ok(None) };
    let mut entries = ledger.read(Position(before), 1).await?;
    Ok(entries.pop().map(|entry| entry.recorded))
}

fn sums(review: &Review, currency: Option<String>) -> Sums {
    let now = stencilward_adapters::link::now();
    let measures = review.alarms_since(Timestamp(now.0 - MEASURED_MS), now);
    Sums { wear: wear(review, now, currency), alarms: figures(measures) }
}

fn figures(measures: Measures) -> AlarmFigures {
    AlarmFigures {
        days: measures.days,
        told: measures.told.count,
        per_ten_minutes: measures.per_ten_minutes,
        peak: measures.peak,
        floods: measures.floods,
        in_flood: measures.in_flood,
        chattering: measures.chattering.count,
        fleeting: measures.fleeting.count,
        stale: measures.stale.count,
        top: measures.top.into_iter().map(|(id, told)| (id, told.count)).collect(),
        mix: measures.mix.into_iter().map(|(priority, told)| (priority, told.count)).collect(),
    }
}

fn wear(review: &Review, now: Timestamp, currency: Option<String>) -> Wear {
    let asked = Asked { filter: Filter::default(), now };
    let outlooks = review.forecasts(&asked).into_iter();
    let mut daily: BTreeMap<i32, i64> = BTreeMap::new();
    for (day, count) in review.daily_strokes().flat_map(|(_, days)| days) {
        *daily.entry(day.0).or_default() += count;
    }
    Wear {
        outlooks: outlooks.map(|(code, forecast)| (code, outlook(&forecast))).collect(),
        daily,
        currency,
    }
}

fn outlook(forecast: &Forecast) -> Outlook {
    Outlook {
        per_day: forecast.strokes.map(|basis| basis.per_day),
        reorder: coming(forecast.reorder),
        stop: coming(forecast.stopped),
        order_by: forecast.order_by.map(|day| day.0),
    }
}

fn coming(outlook: Expected) -> Coming {
    match outlook {
        Expected::Reached { .. } => Coming::Reached,
        Expected::Expected(dates) => Coming::Expected {
            day: dates.date.0,
            earliest: dates.earliest.0,
            latest: dates.latest.0,
        },
        Expected::NoDate { why } => Coming::NoDay(match why {
            NoDate::NotUsed => "not-used",
            NoDate::TooShort { .. } => "too-short",
            NoDate::TooUneven => "too-uneven",
            NoDate::PlantIdle => "plant-idle",
            NoDate::FarAhead => "far-ahead",
        }),
    }
}
