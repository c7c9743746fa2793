//! Reading the configuration anew: what would change, and the change itself.

use axum::Json;
use axum::extract::Query;
use axum::extract::State;
use axum::extract::rejection::QueryRejection;
use axum::http::StatusCode;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::json;
use tokio::sync::{mpsc, oneshot};

use crate::Surface;
use crate::contract::shapes::Text;
use crate::door::Who;
use crate::handle::Unavailable;
use crate::problem::Problem;
use crate::said::{Body, bad, by};

/// Someone wants the configuration read anew.
#[derive(Debug)]
pub struct ReloadAsk {
    /// True when only the difference is wanted.
    pub preview: bool,
    /// Who asks, when a person does.
    pub by: Option<String>,
    /// Where the answer goes.
    pub answer: oneshot::Sender<Result<Reloaded, NotReloaded>>,
}

/// What reading the configuration anew changed, or would change.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reloaded {
    /// SHA-256 of what was read, in hexadecimal.
    pub digest: String,
    /// Each difference, in words.
    pub changes: Vec<String>,
    /// What becomes of the links.
    pub links: LinksAfter,
}

/// What becomes of the links.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct LinksAfter {
    /// Those that begin, or begin anew.
    pub begun: Vec<String>,
    /// Those that end, those that begin anew among them.
    pub ended: Vec<String>,
    /// Those that stay connected.
    pub kept: Vec<String>,
}

/// Why the old configuration stays in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotReloaded {
    /// The file is faulty.
    Faulty(Vec<Fault>),
    /// It changes what cannot change while the gateway runs: each with the reason.
    Fixed(Vec<String>),
    /// The gateway was not started from a file.
    NoFile,
}

/// One fault of a configuration file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// The file.
    pub file: String,
    /// The line, from 1; none when the whole file is meant.
    pub line: Option<usize>,
    /// The path of the key; empty for the file.
    pub key: String,
    /// What is wrong and what is allowed.
    pub fault: String,
}

/// The way to the task that reads the configuration anew, one time after the other.
#[derive(Debug, Clone)]
pub struct ReloadHandle(mpsc::Sender<ReloadAsk>);

impl ReloadHandle {
    /// A handle on which at most `capacity` wait, and its far end.
    #[must_use]
    pub fn bounded(capacity: usize) -> (Self, mpsc::Receiver<ReloadAsk>) {
        let (sender, receiver) = mpsc::channel(capacity);
        (Self(sender), receiver)
    }

    /// Has the configuration read anew; with `preview` nothing changes.
    ///
    /// # Errors
    /// [`Unavailable`] when the gateway is stopping.
    pub async fn reload(
        &self,
        preview: bool,
        by: Option<String>,
    ) -> Result<Result<Reloaded, NotReloaded>, Unavailable> {
        let (answer, answered) = oneshot::channel();
        self.0.send(ReloadAsk { preview, by, answer }).await.map_err(|_| Unavailable)?;
        answered.await.map_err(|_| Unavailable)
    }
}

/// How the configuration is read anew.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(crate) struct How {
    /// True when only the difference is wanted.
    #[serde(default)]
    dry_run: bool,
}

/// Who has it read anew.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Asked {
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

/// What reading the configuration anew changed, or would change.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Difference {
    /// Each difference, in words.
    changes: Vec<String>,
    /// SHA-256 of what was read, in hexadecimal.
    digest: String,
    dry_run: bool,
    links: LinksAfter,
}

/// `GET /api/v1/reload`: what would change.
pub(crate) async fn preview(State(surface): State<Surface>) -> Result<Json<Difference>, Problem> {
    answer(surface.reload.reload(true, None).await?, true)
}

/// `POST /api/v1/reload`.
pub(crate) async fn reload(
    State(surface): State<Surface>,
    how: Result<Query<How>, QueryRejection>,
    who: Who,
    Body(said): Body<Asked>,
) -> Result<Json<Difference>, Problem> {
    let Query(How { dry_run }) = how.map_err(|rejection| bad(rejection.body_text()))?;
    let by = by(&who, said.by)?;
    answer(surface.reload.reload(dry_run, Some(by)).await?, dry_run)
}

fn answer(
    outcome: Result<Reloaded, NotReloaded>,
    dry_run: bool,
) -> Result<Json<Difference>, Problem> {
    let Reloaded { digest, changes, links } = outcome?;
    Ok(Json(Difference { dry_run, digest, changes, links }))
}

impl From<NotReloaded> for Problem {
    fn from(why: NotReloaded) -> Self {
        match why {
            NotReloaded::Faulty(faults) => {
                let detail = "the file is faulty, so the old configuration stays in force: mend \
                              it and reload";
                Self::new(StatusCode::UNPROCESSABLE_ENTITY, detail).with("faults", json!(faults))
            }
            NotReloaded::Fixed(reasons) => {
                let detail =
                    format!("the old configuration stays in force: {}", reasons.join("; "));
                Self::new(StatusCode::CONFLICT, detail)
            }
            NotReloaded::NoFile => {
                let detail = "this gateway was not started from a file: there is nothing to read";
                Self::new(StatusCode::CONFLICT, detail)
            }
        }
    }
}
