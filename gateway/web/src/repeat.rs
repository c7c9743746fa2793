//! Requests that are sent again: with the same key they are answered as the first time and not done
//! twice (draft-ietf-httpapi-idempotency-key-header-07).
//!
//! Answers are kept in memory, for each person apart: [`KEPT`] in all, each for [`FOR`]. What follows
//! from a request bears its key in the ledger, so that also after a restart it is not done twice.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::body::{Body, to_bytes};
use axum::extract::{FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use bytes::Bytes;
use serde_json::json;
use sha2::{Digest as _, Sha256};
use stencilward_domain::asked::RequestKey;

use crate::door::{Who, hex};
use crate::problem::{DONE_BEFORE, KEY_USED, Problem, UNDER_WAY};
use crate::said::bad;
use crate::{LARGEST_BODY, SiteHandle, Surface, lists, orders};

/// Answers kept at a time.
const KEPT: usize = 4_096;

/// How long each is kept.
const FOR: Duration = Duration::from_secs(24 * 3_600);

/// Largest answer kept, in bytes.
const LARGEST: usize = 16 * 1024;

/// Longest key, in characters.
const LONGEST: usize = 255;

const KEY: &str = "idempotency-key";

const OTHERS: &str = "this Idempotency-Key was sent with another request: make a new one";

/// Whose key it is.
type Named = (Option<String>, String);

/// What is kept of the requests that had a key.
#[derive(Default)]
pub(crate) struct Kept(Mutex<HashMap<Named, Known>>);

struct Known {
    /// What was sent.
    digest: [u8; 32],
    at: Instant,
    /// None while it is under way.
    answer: Option<Answer>,
}

#[derive(Clone)]
enum Answer {
    Whole(StatusCode, HeaderMap, Bytes),
    /// It was too large to be kept.
    Large(StatusCode),
}

/// True where a key is heeded: signing in and secrets have their own ways, and nothing of theirs is
/// to be answered twice.
pub(crate) fn is_repeatable(path: &str) -> bool {
    let api = path.strip_prefix("/api/v1/");
    api.is_some_and(|path| !matches!(path.split('/').next(), Some("sign-in" | "sign-out" | "me")))
}

/// Answers what was sent before; else lets it through and keeps its answer.
pub(crate) async fn repeat(
    State((kept, site)): State<(Arc<Kept>, SiteHandle)>,
    who: Who,
    request: Request,
    next: Next,
) -> Response {
    let heeded = request.method() == axum::http::Method::POST
        && is_repeatable(request.uri().path())
        && request.headers().contains_key(KEY);
    if !heeded {
        return next.run(request).await;
    }
    match begun(&kept, &who, request).await {
        // What was begun is ended, also when whoever sent it has gone.
        Ok((named, key, mut request)) => {
            let ended = tokio::spawn(async move {
                if let Err(problem) = carried_out(&site, &key).await {
                    kept.forget(&named);
                    return problem.into_response();
                }
                request.extensions_mut().insert(key);
                kept.end(named, next.run(request).await).await
            });
            ended.await.unwrap_or_else(|_| {
                Problem::new(StatusCode::SERVICE_UNAVAILABLE, "it broke off").into_response()
            })
        }
        Err(answer) => *answer,
    }
}

/// Refuses what the ledger tells was carried out before this gateway started.
async fn carried_out(site: &SiteHandle, key: &RequestKey) -> Result<(), Problem> {
    let name = Arc::clone(&key.name);
    match site.look(move |site, _| site.state().asked.with(&name).cloned()).await? {
        None => Ok(()),
        Some(carried) if carried.of == key.of => {
            let detail = "this was done before, and its answer is not kept: look at what is now";
            Err(Problem::of(&DONE_BEFORE, detail).with("event", json!(carried.event)))
        }
        Some(_) => Err(Problem::of(&KEY_USED, OTHERS)),
    }
}

/// The site as a request asks it: what follows bears the request's key.
pub(crate) struct Asking(pub(crate) SiteHandle);

impl FromRequestParts<Surface> for Asking {
    type Rejection = Infallible;

    async fn from_request_parts(
        parts: &mut Parts,
        surface: &Surface,
    ) -> Result<Self, Self::Rejection> {
        Ok(Self(surface.site.bearing(parts.extensions.get().cloned())))
    }
}

/// The request with its key noted; or the answer, where it is to be had without carrying it out.
async fn begun(
    kept: &Kept,
    who: &Who,
    request: Request,
) -> Result<(Named, RequestKey, Request), Box<Response>> {
    let refuse = |problem: Problem| Box::new(problem.into_response());
    let key = key(request.headers()).map_err(refuse)?;
    let (parts, body) = request.into_parts();
    let most = match parts.uri.path() {
        "/api/v1/import/stencils" => lists::LARGEST_LIST,
        "/api/v1/orders" => orders::LARGEST_LIST,
        _ => LARGEST_BODY,
    };
    let large =
        |_| Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "the body is too large or broke off");
    let body = to_bytes(body, most).await.map_err(large).map_err(refuse)?;
    let mut digest = Sha256::new();
    let kind = parts.headers.get(header::CONTENT_TYPE).map(|kind| kind.as_bytes());
    for part in [parts.uri.to_string().as_bytes(), kind.unwrap_or_default()] {
        digest.update(part);
        digest.update([0]);
    }
    digest.update(&body);
    let named = (who.name().map(str::to_owned), key);
    let digest = digest.finalize().into();
    match kept.begin(&named, digest, Instant::now()) {
        Ok(None) => {
            let key = in_the_ledger(&named, &digest);
            Ok((named, key, Request::from_parts(parts, Body::from(body))))
        }
        Ok(Some(answer)) => Err(Box::new(answer.into_response())),
        Err(problem) => Err(refuse(problem)),
    }
}

/// The key as the ledger keeps it: what was sent is known by it, and cannot be read from it.
fn in_the_ledger((who, key): &Named, sent: &[u8; 32]) -> RequestKey {
    let name = hash([who.as_deref().unwrap_or_default(), key].into_iter());
    RequestKey { name: shown(&name), of: shown(sent) }
}

/// The same of a page's form, of which each that was shown has something of its own among its fields.
pub(crate) fn of_form(who: Option<&str>, fields: &[(String, String)]) -> RequestKey {
    let fields = fields.iter().flat_map(|(name, value)| [name.as_str(), value]);
    let name = hash(std::iter::once(who.unwrap_or_default()).chain(fields));
    RequestKey { name: shown(&name), of: "form".into() }
}

fn hash<'a>(parts: impl Iterator<Item = &'a str>) -> [u8; 32] {
    let mut hasher = Sha256::new();
    for part in parts {
        hasher.update((part.len() as u64).to_be_bytes());
        hasher.update(part);
    }
    hasher.finalize().into()
}

/// 128 bits, in hexadecimal.
fn shown(hash: &[u8; 32]) -> Arc<str> {
    hex(&hash[..16]).into()
}

/// The key: a structured header's string, or the same without its quotes.
fn key(headers: &HeaderMap) -> Result<String, Problem> {
    let mut all = headers.get_all(KEY).iter();
    let text = all.next().and_then(|key| key.to_str().ok()).unwrap_or_default().trim();
    let key = text.strip_prefix('"').and_then(|key| key.strip_suffix('"')).unwrap_or(text);
    let good =
        (1..=LONGEST).contains(&key.len()) && key.bytes().all(|byte| byte.is_ascii_graphic());
    if good && all.next().is_none() {
        return Ok(key.to_owned());
    }
    Err(bad(format!("Idempotency-Key is no key: 1 to {LONGEST} characters that can be seen")))
}

impl Kept {
    /// Notes that a request begins. Gives the answer where there is one already.
    fn begin(
        &self,
        named: &Named,
        digest: [u8; 32],
        now: Instant,
    ) -> Result<Option<Answer>, Problem> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let over = |known: &Known| known.answer.is_some() && now - known.at > FOR;
        if kept.get(named).is_some_and(over) {
            kept.remove(named);
        }
        if kept.len() >= KEPT && !kept.contains_key(named) {
            kept.retain(|_, known| !over(known));
            forget_oldest(&mut kept);
        }
        match kept.entry(named.clone()) {
            Entry::Vacant(place) => {
                place.insert(Known { digest, at: now, answer: None });
                Ok(None)
            }
            Entry::Occupied(known) if known.get().digest != digest => {
                Err(Problem::of(&KEY_USED, OTHERS))
            }
            Entry::Occupied(known) => known.get().answer.clone().map(Some).ok_or_else(|| {
                let detail = "the same request is under way: send it again in a second";
                Problem::of(&UNDER_WAY, detail).header(header::RETRY_AFTER, "1")
            }),
        }
    }

    fn forget(&self, named: &Named) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(named);
    }

    /// Keeps the answer. What was not carried out may be tried again with the same key.
    async fn end(&self, named: Named, response: Response) -> Response {
        let status = response.status();
        let again = status.is_server_error() || matches!(status.as_u16(), 401 | 403 | 408 | 429);
        let (parts, body) = response.into_parts();
        let whole = to_bytes(body, usize::MAX).await.unwrap_or_default();
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if again {
            kept.remove(&named);
        } else if let Some(known) = kept.get_mut(&named) {
            known.answer = Some(if whole.len() > LARGEST {
                Answer::Large(status)
            } else {
                Answer::Whole(status, parts.headers.clone(), whole.clone())
            });
        }
        Response::from_parts(parts, Body::from(whole))
    }
}

/// Makes room. What is under way stays.
fn forget_oldest(kept: &mut HashMap<Named, Known>) {
    if kept.len() < KEPT {
        return;
    }
    let done = kept.iter().filter(|(_, known)| known.answer.is_some());
    let oldest = done.min_by_key(|(_, known)| known.at).map(|(named, _)| named.clone());
    if let Some(oldest) = oldest {
        kept.remove(&oldest);
    }
}

impl IntoResponse for Answer {
    fn into_response(self) -> Response {
        match self {
            Self::Whole(status, headers, body) => {
                let mut response = (status, body).into_response();
                *response.headers_mut() = headers;
                response
            }
            Self::Large(status) => {
                let detail = "this was done before; its answer was too large to be kept";
                let problem = Problem::of(&DONE_BEFORE, detail);
                problem.with("was", status.as_u16().into()).into_response()
            }
        }
    }
}
