//! Events as they come: server-sent events (WHATWG HTML, "Server-sent events"), each with its place
//! in the ledger as its id, so that whoever was cut off goes on where they were.
//!
//! Nothing is kept for anybody: a part of the ledger is read when the one before has been taken. A
//! slow reader is late and costs no memory.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{self, KeepAlive, Sse};
use futures::stream::{self, Stream};
use stencilward_domain::event::{Position, Recorded};

use super::EventView;
use crate::Surface;
use crate::door::Who;
use crate::problem::Problem;
use crate::said::bad;

/// Events held for one reader.
const HELD: usize = 128;

/// How often it is looked whether a reader is still let in.
const LOOK_AGAIN: Duration = Duration::from_secs(5);

/// Time between two signs of life.
const SIGN_OF_LIFE: Duration = Duration::from_secs(15);

/// Where to go on after having been cut off.
const RESUMED: &str = "last-event-id";

/// One reader.
struct Reader {
    surface: Surface,
    who: Who,
    last: Position,
    held: VecDeque<Recorded>,
}

/// `GET /api/v1/events/live`: from the last event that the reader names, else from now on.
pub(crate) async fn live(
    State(surface): State<Surface>,
    who: Who,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<sse::Event, Infallible>>>, Problem> {
    let head = surface.archive.head();
    let last = match headers.get(RESUMED) {
        None => head,
        Some(named) => {
            let number = named.to_str().ok().and_then(|named| named.parse::<u64>().ok());
            let number = number.filter(|number| *number <= head.0);
            let wrong = || bad("Last-Event-ID names no event: leave it out to begin now");
            Position(number.ok_or_else(wrong)?)
        }
    };
    let reader = Reader { surface, who, last, held: VecDeque::new() };
    let events = stream::unfold(reader, |mut reader| async move {
        let recorded = reader.next().await?;
        let id = recorded.position.0.to_string();
        let data = serde_json::to_string(&EventView::of(recorded)).unwrap_or_default();
        Some((Ok(sse::Event::default().id(id).event("recorded").data(data)), reader))
    });
    let alive = KeepAlive::new().interval(SIGN_OF_LIFE).text("");
    Ok(Sse::new(events).keep_alive(alive))
}

impl Reader {
    /// The next event; none once the reader is let in no more, the gateway stops, or the ledger
    /// cannot be read.
    async fn next(&mut self) -> Option<Recorded> {
        while self.held.is_empty() {
            if !self.surface.door.still_lets_in(&self.who) {
                return None;
            }
            self.held.extend(self.surface.archive.after(self.last, HELD).await.ok()?);
            if self.held.is_empty() {
                let news = self.surface.archive.news(self.last);
                if let Ok(stopping) = tokio::time::timeout(LOOK_AGAIN, news).await {
                    stopping?;
                }
            }
        }
        let next = self.held.pop_front()?;
        self.last = next.position;
        Some(next)
    }
}
