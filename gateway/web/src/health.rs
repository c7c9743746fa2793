//! Is it alive, can it work, and what has it counted.

use std::sync::Mutex;
use std::time::{Duration, Instant};

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;

use crate::Surface;
use crate::handle::Unavailable;
use crate::problem::Problem;

/// A site task that has not moved for this long is taken to be stuck.
const LONGEST_SILENCE: Duration = Duration::from_secs(10);

/// Whether the gateway can do its work, as its site task last said.
#[derive(Debug)]
pub struct Readiness(Mutex<Said>);

#[derive(Debug)]
struct Said {
    trouble: Option<String>,
    at: Instant,
}

impl Readiness {
    /// Not ready yet, because of `trouble`.
    #[must_use]
    pub fn not_yet(trouble: &str) -> Self {
        Self(Mutex::new(Said { trouble: Some(trouble.to_owned()), at: Instant::now() }))
    }

    /// The site task works.
    pub fn works(&self) {
        self.say(None);
    }

    /// The site task cannot work, because of `trouble`.
    pub fn troubled(&self, trouble: &str) {
        self.say(Some(trouble.to_owned()));
    }

    fn say(&self, trouble: Option<String>) {
        let mut said = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        *said = Said { trouble, at: Instant::now() };
    }

    /// True while the site task says anything at all, even that it cannot work.
    #[must_use]
    pub fn moves(&self) -> bool {
        let said = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        said.at.elapsed() <= LONGEST_SILENCE
    }

    /// What keeps the gateway from working; none when it works.
    #[must_use]
    pub fn trouble(&self) -> Option<String> {
        let said = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if said.trouble.is_some() {
            return said.trouble.clone();
        }
        let silence = said.at.elapsed();
        (silence > LONGEST_SILENCE)
            .then(|| format!("the site task has not moved for {} s", silence.as_secs()))
    }
}

/// The process answers.
pub(crate) async fn alive() -> &'static str {
    "alive\n"
}

/// The gateway takes signals and makes their events durable.
pub(crate) async fn ready(State(surface): State<Surface>) -> (StatusCode, String) {
    match surface.readiness.trouble() {
        None => (StatusCode::OK, "ready\n".to_owned()),
        Some(trouble) => (StatusCode::SERVICE_UNAVAILABLE, format!("not ready: {trouble}\n")),
    }
}

/// The metrics (text format 0.0.4).
pub(crate) async fn metrics(State(surface): State<Surface>) -> Result<impl IntoResponse, Problem> {
    let text = tokio::task::spawn_blocking(move || (surface.metrics)()).await;
    let text = text.map_err(|_| Unavailable)?;
    Ok(([(header::CONTENT_TYPE, "text/plain; version=0.0.4; charset=utf-8")], text))
}
