//! Says what changed, as it changes: server-sent events (WHATWG HTML, "Server-sent events").

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures::stream::{self, Stream};
use stencilward_domain::event::Position;

use crate::Surface;
use crate::archive::News;
use crate::door::Who;

/// Changes within this time are told together.
const TOGETHER: Duration = Duration::from_secs(1);

/// How often it is looked whether whoever listens is still signed in.
const LOOK_AGAIN: Duration = Duration::from_secs(2);

/// `GET /live`: the names of the streams that changed, one a line.
pub(crate) async fn live(
    State(surface): State<Surface>,
    who: Who,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let head = surface.archive.head();
    let changes = stream::unfold((surface, who, head), |(surface, who, head)| async move {
        let news = news(&surface, &who, head).await?;
        let streams = news.streams.into_iter().collect::<Vec<_>>().join("\n");
        tokio::time::sleep(TOGETHER).await;
        let event = Event::default().event("changed").data(streams);
        Some((Ok(event), (surface, who, news.head)))
    });
    Sse::new(changes).keep_alive(KeepAlive::default())
}

/// What changed since; none once whoever listens is let in no more, or the gateway stops.
async fn news(surface: &Surface, who: &Who, head: Position) -> Option<News> {
    loop {
        let waited = tokio::time::timeout(LOOK_AGAIN, surface.archive.news(head)).await;
        if !surface.door.still_lets_in(who) {
            return None;
        }
        if let Ok(news) = waited {
            return news;
        }
    }
}
