//! Says what changed, as it changes: server-sent events (WHATWG HTML, "Server-sent events").

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures::stream::{self, Stream};

use crate::Surface;

/// Changes within this time are told together.
const TOGETHER: Duration = Duration::from_secs(1);

/// `GET /live`: the names of the streams that changed, one a line.
pub(crate) async fn live(
    State(surface): State<Surface>,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let archive = surface.archive;
    let head = archive.head();
    let changes = stream::unfold((archive, head), |(archive, head)| async move {
        let news = archive.news(head).await?;
        let streams = news.streams.into_iter().collect::<Vec<_>>().join("\n");
        tokio::time::sleep(TOGETHER).await;
        let event = Event::default().event("changed").data(streams);
        Some((Ok(event), (archive, news.head)))
    });
    Sse::new(changes).keep_alive(KeepAlive::default())
}
