//! The few questions that only the ledger can answer, put to whoever keeps it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use async_trait::async_trait;
use stencilward_domain::alarm::{AlarmId, Priority};
use stencilward_domain::event::{Position, Recorded, Stream};
use stencilward_domain::names::StencilCode;

/// The ledger could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the ledger cannot be read: {0}")]
pub struct Unread(pub String);

/// What became durable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct News {
    /// The last event of it.
    pub head: Position,
    /// The streams it is about, as text.
    pub streams: BTreeSet<String>,
}

/// When something is to come, in calendar days counted from 1970-01-01.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Coming {
    /// It is there.
    Reached,
    /// It is expected then; nine of ten true days lie between the other two.
    Expected {
        /// The middle.
        day: i32,
        /// The early end.
        earliest: i32,
        /// The late end.
        latest: i32,
    },
    /// No day can be given: a stable word for why.
    NoDay(&'static str),
}

/// What the ledger tells of the wear of one stencil.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// Strokes a production day, where the history is long enough.
    pub per_day: Option<f64>,
    /// When its successor should be ordered by the plant's limits.
    pub reorder: Coming,
    /// When it may no longer be used.
    pub stop: Coming,
    /// The last calendar day to order its successor, where the lead time is known.
    pub order_by: Option<i32>,
}

/// What the ledger tells of wear.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Wear {
    /// By stencil, those not retired.
    pub outlooks: BTreeMap<StencilCode, Outlook>,
    /// Strokes of all stencils by calendar day (UTC).
    pub daily: BTreeMap<i32, i64>,
    /// The currency of prices, where the plant names one.
    pub currency: Option<String>,
}

/// How well the alarms serve those who see to them, by the standards' measures. Rates are for each
/// operator.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AlarmFigures {
    /// Days that were measured; the standards ask for thirty.
    pub days: f64,
    /// Alarms told.
    pub told: u64,
    /// On average in ten minutes.
    pub per_ten_minutes: f64,
    /// The most in one period of ten minutes.
    pub peak: f64,
    /// Floods that began.
    pub floods: u64,
    /// Share of time in flood.
    pub in_flood: f64,
    /// Alarms that chattered.
    pub chattering: u64,
    /// Alarms that were gone soon without anybody's doing.
    pub fleeting: u64,
    /// Alarms that stood for longer than a day.
    pub stale: u64,
    /// Those told the most, and how often.
    pub top: Vec<(AlarmId, u64)>,
    /// How many were told of each priority.
    pub mix: Vec<(Priority, u64)>,
}

/// What the ledger adds up to.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sums {
    /// Wear.
    pub wear: Wear,
    /// Alarms.
    pub alarms: AlarmFigures,
}

/// Answers what is asked of the past.
#[async_trait]
pub trait Archive: Send + Sync {
    /// The last durable event.
    fn head(&self) -> Position;

    /// Waits for events after this one; none when the gateway stops.
    async fn news(&self, after: Position) -> Option<News>;

    /// The event in this place, if there is one.
    ///
    /// # Errors
    /// [`Unread`] when the ledger fails.
    async fn event(&self, position: Position) -> Result<Option<Recorded>, Unread>;

    /// At most `limit` events after this one, in their order.
    ///
    /// # Errors
    /// [`Unread`] when the ledger fails.
    async fn after(&self, position: Position, limit: usize) -> Result<Vec<Recorded>, Unread>;

    /// The last `limit` events of a stream, latest first.
    ///
    /// # Errors
    /// [`Unread`] when the ledger fails.
    async fn of_stream(&self, stream: &Stream, limit: usize) -> Result<Vec<Recorded>, Unread>;

    /// The last `limit` events of a stencil, latest first.
    ///
    /// # Errors
    /// [`Unread`] when the ledger fails.
    async fn history(&self, stencil: &StencilCode, limit: usize) -> Result<Vec<Recorded>, Unread> {
        self.of_stream(&Stream::Stencil(stencil.clone()), limit).await
    }

    /// The last `limit` events of the plant, latest first.
    ///
    /// # Errors
    /// [`Unread`] when the ledger fails.
    async fn recent(&self, limit: usize) -> Result<Vec<Arc<Recorded>>, Unread>;

    /// What it adds up to, as it was added up last: some seconds ago. None while a long ledger is
    /// being read for the first time.
    ///
    /// # Errors
    /// [`Unread`] when the ledger fails.
    fn sums(&self) -> Result<Option<Arc<Sums>>, Unread>;
}
