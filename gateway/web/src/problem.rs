//! Answers that say what went wrong, as problem details (RFC 9457).

use axum::Json;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value, json};

use crate::handle::Unavailable;

/// A refusal or failure with what to do about it.
#[derive(Debug)]
pub(crate) struct Problem {
    status: StatusCode,
    detail: String,
    more: Map<String, Value>,
}

impl Problem {
    pub(crate) fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        Self { status, detail: detail.into(), more: Map::new() }
    }

    pub(crate) fn status(&self) -> StatusCode {
        self.status
    }

    pub(crate) fn detail(&self) -> &str {
        &self.detail
    }

    /// With a member of its own (RFC 9457, 3.2).
    pub(crate) fn with(mut self, member: &str, value: Value) -> Self {
        self.more.insert(member.to_owned(), value);
        self
    }

    pub(crate) fn not_found(what: &str, name: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, format!("no {what} {name} is known: check the name"))
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut body = self.more;
        let title = self.status.canonical_reason().unwrap_or("Error");
        body.insert("title".to_owned(), json!(title));
        body.insert("status".to_owned(), json!(self.status.as_u16()));
        body.insert("detail".to_owned(), json!(self.detail));
        let kind = [(header::CONTENT_TYPE, "application/problem+json")];
        (self.status, kind, Json(body).into_response().into_body()).into_response()
    }
}

impl From<Unavailable> for Problem {
    fn from(error: Unavailable) -> Self {
        Self::new(StatusCode::SERVICE_UNAVAILABLE, error.to_string())
    }
}

/// For paths that lead nowhere.
pub(crate) async fn no_such_page() -> Problem {
    Problem::new(
        StatusCode::NOT_FOUND,
        "there is no such page; see /healthz, /readyz, /metrics, /api/v1/stencils, \
         /api/v1/machines, /api/v1/alarms, /api/v1/orders, /api/v1/unattributed, /api/v1/reload",
    )
}
