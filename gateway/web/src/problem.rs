//! Answers that say what went wrong, as problem details (RFC 9457).

use std::borrow::Cow;
use std::fmt::Write as _;

use axum::Json;
use axum::extract::Path;
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Map, Value, json};

use crate::handle::Unavailable;

/// A kind of problem: what `type` names and `/problems/...` explains.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Kind {
    pub(crate) word: &'static str,
    pub(crate) status: StatusCode,
    pub(crate) title: &'static str,
    about: &'static str,
}

macro_rules! kinds {
    ($($name:ident $word:literal $status:ident $title:literal $about:literal)+) => {
        $(pub(crate) static $name: Kind =
            Kind { word: $word, status: StatusCode::$status, title: $title, about: $about };)+

        /// Every kind of problem; of those of one status the usual one first.
        pub(crate) static KINDS: &[&Kind] = &[$(&$name),+];
    };
}

kinds! {
    BAD_REQUEST "bad-request" BAD_REQUEST "The request is not as described"
        "The query or the body does not have the form that /openapi.json describes. `detail` says \
         what is wrong. Nothing was done."
    NOT_SIGNED_IN "not-signed-in" UNAUTHORIZED "Nobody is signed in"
        "This needs a person who signed in or a program's token. Send the session's cookie, or \
         Authorization: Bearer with a token that a manager gave."
    NOT_ALLOWED "not-allowed" FORBIDDEN "Not allowed"
        "Whoever asks may not do this, or not from there. `detail` says what is needed."
    CONFIRM "confirm" FORBIDDEN "To be confirmed first"
        "This is confirmed each time by who does it, and where the plant says so by a second \
         person: POST /api/v1/me/confirm, then send the request again. `confirm` says whether a \
         second person is needed. Programs cannot confirm."
    NOT_FOUND "not-found" NOT_FOUND "There is no such thing"
        "The path names nothing that is known."
    OTHER_METHOD "other-method" METHOD_NOT_ALLOWED "Not by this method"
        "The path is there, and takes the methods that the header Allow names."
    REFUSED "refused" CONFLICT "Refused"
        "The request is well formed, and the plant is not in a state in which it can be done. \
         `detail` says why and what to do; for several alarms `refused` says it for each. Nothing \
         was done. A decision that does not permit is no problem but an answer, with its reasons."
    UNDER_WAY "under-way" CONFLICT "The same request is under way"
        "A request with this Idempotency-Key is being carried out. Send it again after the time \
         that Retry-After names: it is then answered as the first one."
    DONE_BEFORE "done-before" CONFLICT "Done before"
        "A request with this Idempotency-Key was carried out: with the status `was`, and an answer \
         that was too large to be kept; or before the gateway started, up to the event `event`. \
         Nothing was done again."
    CHANGED "changed-meanwhile" PRECONDITION_FAILED "Changed meanwhile"
        "What If-Match names is not the present version. `etag` is the present one, and \
         `last_event` the last event of it, where there is one. Nothing was done: look at it, and \
         decide anew."
    TOO_LARGE "too-large" PAYLOAD_TOO_LARGE "Too large"
        "The body is larger than this takes. Send a list in parts."
    OTHER_FORM "other-form" UNSUPPORTED_MEDIA_TYPE "Not in this form"
        "The body's Content-Type is none that this takes."
    FAULTY "faulty" UNPROCESSABLE_ENTITY "Faulty"
        "What was sent or is to be read was understood and is faulty; where it has lines, `faults` \
         names each fault. Nothing was done."
    KEY_USED "key-used" UNPROCESSABLE_ENTITY "The key is another request's"
        "This Idempotency-Key was sent with another request before. Make a new key for each \
         request."
    TOO_MANY "too-many" TOO_MANY_REQUESTS "Too many requests"
        "Come again after the time that Retry-After names."
    UNAVAILABLE "unavailable" SERVICE_UNAVAILABLE "Not now"
        "The gateway is stopping, or its ledger takes no writes or cannot be read. A change may or \
         may not have been made: look before you try again."
}

/// A refusal or failure with what to do about it.
#[derive(Debug)]
pub(crate) struct Problem {
    kind: Option<&'static Kind>,
    status: StatusCode,
    detail: String,
    more: Map<String, Value>,
    headers: Vec<(HeaderName, HeaderValue)>,
}

impl Problem {
    /// Of the usual kind of this status.
    pub(crate) fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        let kind = KINDS.iter().copied().find(|kind| kind.status == status);
        let (more, headers) = (Map::new(), Vec::new());
        Self { kind, status, detail: detail.into(), more, headers }
    }

    pub(crate) fn of(kind: &'static Kind, detail: impl Into<String>) -> Self {
        Self { kind: Some(kind), ..Self::new(kind.status, detail) }
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

    /// With a header; one that cannot be written is left out.
    pub(crate) fn header(mut self, name: HeaderName, value: &str) -> Self {
        self.headers.extend(HeaderValue::from_str(value).map(|value| (name, value)));
        self
    }

    pub(crate) fn not_found(what: &str, name: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, format!("no {what} {name} is known: check the name"))
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut body = self.more;
        let usual = self.status.canonical_reason().unwrap_or("Error");
        if let Some(kind) = self.kind {
            body.insert("type".to_owned(), json!(format!("/problems/{}", kind.word)));
        }
        body.insert("title".to_owned(), json!(self.kind.map_or(usual, |kind| kind.title)));
        body.insert("status".to_owned(), json!(self.status.as_u16()));
        body.insert("detail".to_owned(), json!(self.detail));
        let mut response = (self.status, Json(body)).into_response();
        let kind = HeaderValue::from_static("application/problem+json");
        response.headers_mut().insert(header::CONTENT_TYPE, kind);
        response.headers_mut().extend(self.headers);
        response
    }
}

impl JsonSchema for Problem {
    fn schema_name() -> Cow<'static, str> {
        "Problem".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let kinds: Vec<String> =
            KINDS.iter().map(|kind| format!("/problems/{}", kind.word)).collect();
        json_schema!({
            "description": "What went wrong (RFC 9457); each type is explained where it points.",
            "type": "object",
            "required": ["type", "title", "status", "detail"],
            "properties": {
                "type": { "type": "string", "format": "uri-reference", "enum": kinds },
                "title": { "type": "string" },
                "status": { "type": "integer", "minimum": 400, "maximum": 599 },
                "detail": { "description": "What to do about it.", "type": "string" },
                "faults": {
                    "description": "Of a list with `line`, `column`, `fault`; of the \
                        configuration with `file`, `line`, `key`, `fault`.",
                    "type": "array",
                    "items": { "type": "object", "required": ["line", "fault"] },
                },
                "refused": {
                    "description": "The alarms with which it could not be done.",
                    "type": "array",
                    "items": { "type": "object", "required": ["alarm", "why"] },
                },
                "confirm": { "type": "object", "required": ["second_person"] },
                "etag": { "description": "The present version.", "type": "string" },
                "last_event": { "description": "The last event of what changed.", "type": "object" },
                "was": { "description": "The status of the first answer.", "type": "integer" },
            },
        })
    }
}

impl From<Unavailable> for Problem {
    fn from(error: Unavailable) -> Self {
        Self::new(StatusCode::SERVICE_UNAVAILABLE, error.to_string())
    }
}

impl From<crate::Unread> for Problem {
    fn from(error: crate::Unread) -> Self {
        Self::new(StatusCode::SERVICE_UNAVAILABLE, error.to_string())
    }
}

/// For paths that lead nowhere.
pub(crate) async fn no_such_page() -> Problem {
    Problem::new(
        StatusCode::NOT_FOUND,
        "there is no such page; the pages begin at /, and /openapi.json describes the API",
    )
}

/// `GET /problems/{kind}`: what a problem's type means.
pub(crate) async fn explained(Path(word): Path<String>) -> Result<String, Problem> {
    let kind = KINDS.iter().find(|kind| kind.word == word);
    let kind = kind.ok_or_else(|| Problem::not_found("problem", &word))?;
    let mut text = format!("{} ({})\n\n{}\n", kind.title, kind.status.as_u16(), kind.about);
    text.push_str("\nOther problems:\n");
    for other in KINDS {
        let _ = writeln!(text, "  /problems/{}: {}", other.word, other.title);
    }
    Ok(text)
}
