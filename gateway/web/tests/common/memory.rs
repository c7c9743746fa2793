//! An archive over events in memory.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use async_trait::async_trait;
use stencilward_domain::alarm::Priority;
use stencilward_domain::event::{Position, Recorded, Stream};
use stencilward_domain::names::StencilCode;
use stencilward_web::{AlarmFigures, Archive, Coming, News, Outlook, Sums, Unread, Wear};

/// The events that a site recorded.
#[derive(Default, Clone)]
pub(crate) struct Memory(pub(crate) Arc<Mutex<Vec<Recorded>>>);

impl Memory {
    pub(crate) fn all(&self) -> Vec<Recorded> {
        self.0.lock().expect("nobody broke").clone()
    }

    fn latest(&self, limit: usize, wanted: impl Fn(&Recorded) -> bool) -> Vec<Recorded> {
        self.all().into_iter().rev().filter(|recorded| wanted(recorded)).take(limit).collect()
    }
}

#[async_trait]
impl Archive for Memory {
    fn head(&self) -> Position {
        self.all().last().map(|recorded| recorded.position).unwrap_or_default()
    }

    async fn news(&self, after: Position) -> Option<News> {
        loop {
            let all = self.all();
            let new: Vec<&Recorded> = all.iter().filter(|r| r.position > after).collect();
            if let Some(last) = new.last() {
                let streams = new.iter().map(|r| r.fact.event.stream().to_string());
                return Some(News { head: last.position, streams: streams.collect() });
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    async fn event(&self, position: Position) -> Result<Option<Recorded>, Unread> {
        Ok(self.all().into_iter().find(|recorded| recorded.position == position))
    }

    async fn after(&self, position: Position, limit: usize) -> Result<Vec<Recorded>, Unread> {
        let later = self.all().into_iter().filter(|recorded| recorded.position > position);
        Ok(later.take(limit).collect())
    }

    async fn of_stream(&self, stream: &Stream, limit: usize) -> Result<Vec<Recorded>, Unread> {
        Ok(self.latest(limit, |recorded| recorded.fact.event.stream() == *stream))
    }

    async fn recent(&self, limit: usize) -> Result<Vec<Arc<Recorded>>, Unread> {
        Ok(self.latest(limit, |_| true).into_iter().map(Arc::new).collect())
    }

    fn sums(&self) -> Result<Option<Arc<Sums>>, Unread> {
        let code = StencilCode::new("ST-1").expect("a good code");
        let outlook = Outlook {
            per_day: Some(12.5),
            reorder: Coming::Reached,
            stop: Coming::Expected { day: 20_800, earliest: 20_790, latest: 20_900 },
            order_by: Some(20_760),
        };
        let wear = Wear {
            outlooks: BTreeMap::from([(code, outlook)]),
            daily: BTreeMap::from([(20_700, 40), (20_702, 25)]),
            currency: Some("EUR".to_owned()),
        };
        let id = "link-lost:machine:printer-1".parse().expect("an alarm");
        let alarms = AlarmFigures {
            days: 12.0,
            told: 4,
            peak: 2.5,
            top: vec![(id, 3)],
            mix: vec![(Priority::Low, 3), (Priority::High, 1)],
            ..AlarmFigures::default()
        };
        Ok(Some(Arc::new(Sums { wear, alarms })))
    }
}
