//! Lists that come in and go out.

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, QueryRejection};
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::IntoResponse;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::json;
use stencilward_domain::names::StencilCode;
use stencilward_domain::site::Reply;
use stencilward_exchange::stencils::{self, Plan};
use stencilward_exchange::{Form, RowFault};

use crate::Surface;
use crate::contract::shapes::{FormWord, Name, Text};
use crate::door::Who;
use crate::problem::Problem;
use crate::repeat::Asking;
use crate::said::{bad, by_if_said};

/// Largest list of stencils taken, in bytes.
pub(crate) const LARGEST_LIST: usize = 16 * 1024 * 1024;

/// How a list is taken in.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(crate) struct Import {
    /// True when only what would change is wanted.
    #[serde(default)]
    dry_run: bool,
    /// Who takes it in; who is signed in, whatever is said here.
    #[schemars(with = "Text")]
    by: Option<String>,
}

/// `POST /api/v1/import/stencils`.
pub(crate) async fn import_stencils(
    query: Result<Query<Import>, QueryRejection>,
    who: Who,
    Asking(site): Asking,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Json<PlanView>, Problem> {
    let Query(import) = query.map_err(|rejection| bad(rejection.body_text()))?;
    let source = match by_if_said(&who, import.by)? {
        Some(name) => format!("imported by {name}"),
        None => "imported".to_owned(),
    };
    let (form, body) = (form_of(&headers)?, whole(body)?);
    let read = tokio::task::spawn_blocking(move || stencils::read(form, &body)).await;
    let list = read.map_err(|_| crate::Unavailable)?;
    let looked = site.ask_after(move |site, _| {
        let plan = stencils::plan(&list, site, &source);
        let request = plan.request().filter(|_| !import.dry_run);
        (plan, request)
    });
    let (plan, reply) = looked.await?;
    if let Some(Reply::Refused(why)) = reply {
        return Err(Problem::new(StatusCode::CONFLICT, why));
    }
    if plan.faults.is_empty() || import.dry_run {
        return Ok(Json(PlanView::of(plan, import.dry_run)));
    }
    Err(faulty(&plan.faults))
}

/// What taking in a list changed, or would change.
#[derive(Serialize, JsonSchema)]
pub(crate) struct PlanView {
    dry_run: bool,
    /// How many came in.
    new: usize,
    /// How many were known and changed.
    revised: usize,
    /// How many were known just so.
    same: usize,
    changes: Vec<Change>,
    faults: Vec<FaultView>,
}

/// What changes of a stencil.
#[derive(Serialize, JsonSchema)]
struct Change {
    line: u64,
    #[schemars(with = "Name")]
    stencil: StencilCode,
    /// In words.
    changes: Vec<String>,
}

/// A fault of one row.
#[derive(Serialize, JsonSchema)]
struct FaultView {
    line: u64,
    column: Option<String>,
    fault: String,
}

impl PlanView {
    fn of(plan: Plan, dry_run: bool) -> Self {
        let Plan { new, revised, same, faults } = plan;
        let fault = |RowFault { line, column, fault }: RowFault| FaultView { line, column, fault };
        Self {
            dry_run,
            new: new.len(),
            revised: revised.len(),
            same,
            changes: revised
                .into_iter()
                .map(|revised| Change {
                    line: revised.line,
                    stencil: revised.listed.spec.stencil,
                    changes: revised.changes,
                })
                .collect(),
            faults: faults.into_iter().map(fault).collect(),
        }
    }
}

/// A list of which nothing is taken in, with every row's fault.
pub(crate) fn faulty(faults: &[RowFault]) -> Problem {
    let (rows, s) = (faults.len(), if faults.len() == 1 { "" } else { "s" });
    let detail =
        format!("{rows} fault{s}, so nothing is taken in: mend the list and send it again");
    Problem::new(StatusCode::UNPROCESSABLE_ENTITY, detail).with("faults", json!(faults))
}

/// The form in which the body is written.
pub(crate) fn form_of(headers: &HeaderMap) -> Result<Form, Problem> {
    let named = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    named.and_then(Form::of_media_type).ok_or_else(|| {
        Problem::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "this takes text/csv, application/jsonl and application/x-ndjson: name one as the \
             body's Content-Type",
        )
    })
}

/// The body, when all of it came and it is not too large.
pub(crate) fn whole(body: Result<Bytes, BytesRejection>) -> Result<Bytes, Problem> {
    body.map_err(|rejection| match rejection.status() {
        StatusCode::PAYLOAD_TOO_LARGE => {
            Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "the list is too large: split it")
        }
        status => Problem::new(status, rejection.body_text()),
    })
}

/// How a list is given out.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Export {
    /// `csv` or `jsonl`; unless given, what Accept names, else CSV.
    #[schemars(with = "FormWord")]
    form: Option<String>,
}

/// `GET /api/v1/export/stencils`, in the form the query or else `Accept` names; CSV otherwise.
pub(crate) async fn export_stencils(
    State(surface): State<Surface>,
    query: Result<Query<Export>, QueryRejection>,
    headers: HeaderMap,
) -> Result<impl IntoResponse, Problem> {
    let Query(export) = query.map_err(|rejection| bad(rejection.body_text()))?;
    let form = match &export.form {
        Some(name) => Form::named(name)
            .ok_or_else(|| bad(format!("there is no form {name}: ask for csv or jsonl")))?,
        None => accepted(&headers),
    };
    let text = surface.site.look(move |site, _| stencils::export(form, site.state())).await?;
    Ok(([(header::CONTENT_TYPE, form.media_type())], text))
}

fn accepted(headers: &HeaderMap) -> Form {
    let accept = headers.get(header::ACCEPT).and_then(|value| value.to_str().ok());
    let mut named = accept.unwrap_or_default().split(',').filter_map(Form::of_media_type);
    named.next().unwrap_or(Form::Csv)
}
