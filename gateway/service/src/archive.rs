//! Answers from the ledger what pages ask of the past.

use std::sync::Arc;

use async_trait::async_trait;
use stencilward_config::Configuration;
use stencilward_domain::event::{Position, Recorded, Stream};
use stencilward_domain::time::Timestamp;
use stencilward_ledger::{Entry, Ledger, LedgerError};
use stencilward_reports::forecast::{Forecast, NoDate, Outlook as Expected};
use stencilward_reports::report::{
    Asked, Figure, Filter, Period, Review, Setup, TableName, Value, refers_to,
};
use stencilward_web::{Archive, Coming, Measure, News, Outlook, Unread, Wear};
use tokio::sync::Mutex;
use tokio_util::sync::CancellationToken;

/// Events read at once.
const PAGE: usize = 1_000;

/// The ledger as pages see it.
pub(crate) struct Past {
    ledger: Arc<dyn Ledger>,
    /// What was added up so far; goes on from there when it is asked again.
    review: Mutex<(Review, Position)>,
    currency: Option<String>,
    stop: CancellationToken,
}

impl Past {
    /// `stop`: cancelled when nobody shall wait for news any more.
    pub(crate) fn shared(
        ledger: Arc<dyn Ledger>,
        configuration: &Configuration,
        stop: CancellationToken,
    ) -> Arc<dyn Archive> {
        let costs = configuration.costs();
        let setup = Setup {
            plant: configuration.plant(),
            currency: costs.currency.clone(),
            wash_cost_centi: costs.wash_centi,
        };
        let review = Review::new(setup, Period::default(), false);
        let review = Mutex::new((review, Position(0)));
        Arc::new(Self { ledger, review, currency: costs.currency, stop })
    }

    async fn catch_up(&self, review: &mut Review, after: &mut Position) -> Result<(), LedgerError> {
        loop {
            let page = self.ledger.read(*after, PAGE).await?;
            for Entry { recorded, .. } in &page {
                let original = match refers_to(&recorded.fact.event) {
                    Some(of) => self.at(of).await?,
                    None => None,
                };
                // No instant was set after which the review hears nothing.
                let _ = review.listen(recorded, original.as_ref());
                *after = recorded.position;
            }
            if page.len() < PAGE {
                return Ok(());
            }
            tokio::task::yield_now().await;
        }
    }

    async fn at(&self, position: Position) -> Result<Option<Recorded>, LedgerError> {
        let Some(before) = position.0.checked_sub(1) else { return Ok(None) };
        let mut entries = self.ledger.read(Position(before), 1).await?;
        Ok(entries.pop().map(|entry| entry.recorded))
    }
}

fn unread(error: &LedgerError) -> Unread {
    Unread(crate::chain(error))
}

fn latest_first(entries: Vec<Entry>) -> Vec<Recorded> {
    entries.into_iter().rev().map(|entry| entry.recorded).collect()
}

#[async_trait]
impl Archive for Past {
    fn head(&self) -> Position {
        *self.ledger.head().borrow()
    }

    async fn news(&self, after: Position) -> Option<News> {
        let mut head = self.ledger.head();
        tokio::select! {
            () = self.stop.cancelled() => return None,
            moved = head.wait_for(|head| *head > after) => moved.ok()?,
        };
        // Whoever fell far behind is told the last part only: a page shows what is, not what was.
        let head = *head.borrow();
        let from = Position(after.0.max(head.0.saturating_sub(PAGE as u64)));
        let entries = self.ledger.read(from, PAGE).await.ok()?;
        let streams = entries.into_iter().map(|entry| entry.stream).collect();
        Some(News { head, streams })
    }

    async fn event(&self, position: Position) -> Result<Option<Recorded>, Unread> {
        self.at(position).await.map_err(|error| unread(&error))
    }

    async fn after(&self, position: Position, limit: usize) -> Result<Vec<Recorded>, Unread> {
        let entries = self.ledger.read(position, limit).await.map_err(|error| unread(&error))?;
        Ok(entries.into_iter().map(|entry| entry.recorded).collect())
    }

    async fn of_stream(&self, stream: &Stream, limit: usize) -> Result<Vec<Recorded>, Unread> {
        let versions = self.ledger.versions().await.map_err(|error| unread(&error))?;
        let version = versions.get(stream).copied().unwrap_or(0);
        let after = version.saturating_sub(limit as u64);
        let entries = self.ledger.read_stream(stream, after, limit).await;
        entries.map(latest_first).map_err(|error| unread(&error))
    }

    async fn recent(&self, limit: usize) -> Result<Vec<Recorded>, Unread> {
        let after = Position(self.head().0.saturating_sub(limit as u64));
        let entries = self.ledger.read(after, limit).await;
        entries.map(latest_first).map_err(|error| unread(&error))
    }

    async fn alarms(&self, now: Timestamp) -> Result<(Vec<Measure>, Vec<String>), Unread> {
        let mut held = self.review.lock().await;
        let (review, after) = &mut *held;
        self.catch_up(review, after).await.map_err(|error| unread(&error))?;
        let table = review.table(TableName::Alarms, &Asked { filter: Filter::default(), now });
        Ok((table.rows.iter().filter_map(|row| measure(row)).collect(), table.notes))
    }

    async fn wear(&self, now: Timestamp) -> Result<Wear, Unread> {
        let mut held = self.review.lock().await;
        let (review, after) = &mut *held;
        self.catch_up(review, after).await.map_err(|error| unread(&error))?;
        let asked = Asked { filter: Filter::default(), now };
        let outlooks = review.forecasts(&asked).into_iter();
        let daily = review.daily_strokes().map(|(code, days)| {
            (code.clone(), days.iter().map(|(day, count)| (day.0, *count)).collect())
        });
        Ok(Wear {
            outlooks: outlooks.map(|(code, forecast)| (code, outlook(&forecast))).collect(),
            daily: daily.collect(),
            currency: self.currency.clone(),
        })
    }
}

/// A row of the table: measure, of, value, unit, guide.
fn measure(row: &[Figure]) -> Option<Measure> {
    let text = |figure: &Figure| match &figure.value {
        Value::Text(text) => Some(text.clone()),
        _ => None,
    };
    let [measure, of, value, unit, guide] = row else { return None };
    Some(Measure {
        measure: text(measure)?,
        of: text(of),
        value: text(value)?,
        unit: text(unit).unwrap_or_default(),
        guide: text(guide),
    })
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
