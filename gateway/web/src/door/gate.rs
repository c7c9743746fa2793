//! What each request passes before anything else looks at it.

use std::time::{Duration, Instant};

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use stencilward_domain::event::Role;

use super::sessions::Confirmation;
use super::table::{Confirmed, Found, Least, Row, TABLE, find};
use super::who::{FIELD, Who};
use super::{Door, Peer, Somebody, guard, headers, page, secret};
use crate::Surface;
use crate::problem::{Problem, no_such_page};

/// Largest form taken, in bytes.
const LARGEST_FORM: usize = 16 * 1024;

/// With this header a page says that nobody asked: it renews itself.
const BY_ITSELF: &str = "stencilward-renewal";

const FORM: &str = "application/x-www-form-urlencoded";

/// Lets through who may, and says of each answer what browsers may do with it.
pub(crate) async fn gate(State(surface): State<Surface>, request: Request, next: Next) -> Response {
    let door = &surface.door;
    let mut response = match pass(door, request).await {
        Ok((request, confirmed)) => {
            let response = next.run(request).await;
            // What could not be done needs no second confirmation.
            if let Some((id, confirmation)) = confirmed
                && !(response.status().is_success() || response.status().is_redirection())
            {
                door.give_back(&id, confirmation);
            }
            response
        }
        Err(refusal) => *refusal,
    };
    headers::add(response.headers_mut());
    response
}

/// The request, and the session and confirmation that it used up.
type Passed = (Request, Option<(String, Confirmation)>);

async fn pass(door: &Door, request: Request) -> Result<Passed, Box<Response>> {
    let refuse = |problem: Problem| Box::new(problem.into_response());
    door.within_rate(&request).map_err(|wait| Box::new(too_many(wait)))?;
    if door.settings.loopback {
        guard::loopback_names_only(request.headers(), request.uri()).map_err(refuse)?;
    }
    let somebody = door.who(request.headers()).map_err(refuse)?;
    let open = door.is_open();
    let path = request.uri().path();
    let row = match find(request.method(), path) {
        Found::Row(row) => row,
        _ if somebody.is_none() && !open => return Err(nobody(&request)),
        Found::OtherMethod => return Err(Box::new(other_method(path))),
        Found::Nothing => return Err(Box::new(no_such_page().await.into_response())),
    };
    if !open {
        may(row, somebody.as_ref(), &request)?;
    }
    let (mut request, safe) = (request, matches!(row.method, "GET"));
    if !safe {
        let (headers, uri) = (request.headers(), request.uri());
        guard::same_origin_only(headers, uri, door.settings.secure).map_err(refuse)?;
        if let Some(token) = somebody.as_ref().and_then(|somebody| somebody.form_token.clone())
            && row.least != Least::Anybody
        {
            request = only_own_forms(request, &token).await.map_err(refuse)?;
        }
    }
    let confirmed = match (row.confirmed, &somebody) {
        (Some(what), Some(somebody)) if door.is_confirmed_each_time(what) => {
            Some(door.confirmed(what, somebody, request.headers()).map_err(refuse)?)
        }
        _ => None,
    };
    request.extensions_mut().insert(somebody.map(Who::somebody).unwrap_or_default());
    Ok((request, confirmed))
}

/// Does the table let them.
fn may(row: &Row, somebody: Option<&Somebody>, request: &Request) -> Result<(), Box<Response>> {
    if !row.least.allows(somebody.map(|somebody| somebody.role)) {
        let (Some(somebody), Least::Role(least)) = (somebody, row.least) else {
            return Err(nobody(request));
        };
        let (role, least) = (somebody.role.as_str(), least.as_str());
        let detail = format!("this needs the role {least}, and you have {role}: ask somebody who");
        let detail = format!("{detail} has it");
        return Err(Box::new(Problem::new(StatusCode::FORBIDDEN, detail).into_response()));
    }
    let own = matches!(row.path, "/secret" | "/sign-out")
        || row.path.starts_with("/api/v1/me")
        || row.path == "/api/v1/sign-out"
        || row.least == Least::Anybody;
    if somebody.is_some_and(|somebody| somebody.provisional) && !own {
        if wants_page(request) {
            return Err(Box::new(Redirect::to("/secret").into_response()));
        }
        let detail = "somebody else chose your password: choose one of your own at /secret first";
        return Err(Box::new(Problem::new(StatusCode::FORBIDDEN, detail).into_response()));
    }
    Ok(())
}

fn wants_page(request: &Request) -> bool {
    let accepts = request.headers().get(header::ACCEPT).and_then(|value| value.to_str().ok());
    request.method() == Method::GET && accepts.is_some_and(|kinds| kinds.contains("text/html"))
}

/// To who is not signed in: the way there.
fn nobody(request: &Request) -> Box<Response> {
    if wants_page(request) {
        let next = request.uri().path_and_query().map_or("/", |path| path.as_str());
        return Box::new(Redirect::to(&page::sign_in_then(next)).into_response());
    }
    let detail = "sign in at /sign-in, or send a token: Authorization: Bearer";
    let mut response = Problem::new(StatusCode::UNAUTHORIZED, detail).into_response();
    response.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
    Box::new(response)
}

fn other_method(path: &str) -> Response {
    let there = TABLE.iter().filter(|row| {
        let method = if row.method == "GET" { Method::GET } else { Method::POST };
        matches!(find(&method, path), Found::Row(found) if std::ptr::eq(found, *row))
    });
    let allowed: Vec<&str> =
        there.map(|row| if row.method == "GET" { "GET, HEAD" } else { row.method }).collect();
    let allowed = allowed.join(", ");
    let detail = format!("this can be asked for by {allowed} only");
    let mut response = Problem::new(StatusCode::METHOD_NOT_ALLOWED, detail).into_response();
    if let Ok(value) = HeaderValue::from_str(&allowed) {
        response.headers_mut().insert(header::ALLOW, value);
    }
    response
}

fn too_many(wait: Duration) -> Response {
    let seconds = wait.as_secs() + 1;
    let detail = format!("too many requests: come again in {seconds} s");
    let mut response = Problem::new(StatusCode::TOO_MANY_REQUESTS, detail).into_response();
    response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
    response
}

/// What a page of another origin can send with somebody's cookie is taken only with the token that
/// only our own pages know (ASVS 5.0, 3.5.1).
async fn only_own_forms(request: Request, token: &str) -> Result<Request, Problem> {
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    let kind = kind.unwrap_or_default().split(';').next().unwrap_or_default().trim();
    let kind = kind.to_ascii_lowercase();
    if kind != FORM {
        // Of these no browser asks whether it may send them (WHATWG Fetch, 2.2.2).
        if matches!(kind.as_str(), "" | "text/plain" | "multipart/form-data") {
            let detail = "send application/json, or a form of the gateway's own pages";
            return Err(Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, detail));
        }
        return Ok(request);
    }
    let (mut parts, body) = request.into_parts();
    let body = to_bytes(body, LARGEST_FORM).await;
    let body = body.map_err(|_| {
        Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "the form is too large or did not come whole")
    })?;
    let mut rest = form_urlencoded::Serializer::new(String::new());
    let mut own = false;
    for (name, value) in form_urlencoded::parse(&body) {
        if name == FIELD {
            own = secret::same(&value, token);
        } else {
            rest.append_pair(&name, &value);
        }
    }
    if !own {
        let detail = "this form is not of your session: load the page again and send it anew";
        return Err(Problem::new(StatusCode::FORBIDDEN, detail));
    }
    let rest = rest.finish();
    parts.headers.insert(header::CONTENT_LENGTH, HeaderValue::from(rest.len()));
    Ok(Request::from_parts(parts, Body::from(rest)))
}

/// The id of the session that the browser shows.
pub(super) fn session_id(door: &Door, headers: &HeaderMap) -> Option<String> {
    let name = door.settings.cookie();
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut all = cookies.flat_map(|value| value.split(';')).filter_map(|one| one.split_once('='));
    all.find(|(key, _)| key.trim() == name).map(|(_, id)| id.trim().to_owned())
}

fn bearer(headers: &HeaderMap) -> Option<&str> {
    let value = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

impl Door {
    /// Who sends this. A token that is none is refused, so that a program notices; a cookie that
    /// is over is nobody's.
    fn who(&self, headers: &HeaderMap) -> Result<Option<Somebody>, Problem> {
        if let Some(token) = bearer(headers) {
            let program = self.of_token(token).ok_or_else(|| {
                let detail = "the token is unknown or has ended: ask a manager for a new one";
                Problem::new(StatusCode::UNAUTHORIZED, detail)
            });
            return program.map(Some);
        }
        let by_itself = headers.contains_key(BY_ITSELF);
        Ok(session_id(self, headers).and_then(|id| self.of_session(&id, by_itself)))
    }

    fn within_rate(&self, request: &Request) -> Result<(), Duration> {
        let from = request.extensions().get::<Peer>().map(|peer| peer.0);
        let shown = bearer(request.headers()).map(str::to_owned);
        let shown = shown.or_else(|| session_id(self, request.headers()));
        let (mut inside, now) = (self.inside(), Instant::now());
        if let Some(from) = from.filter(|from| !from.is_loopback()) {
            inside.by_address.take(from, now)?;
        }
        shown.map_or(Ok(()), |shown| inside.by_bearer.take(secret::digest(&shown), now))
    }

    pub(super) fn is_confirmed_each_time(&self, what: Confirmed) -> bool {
        what == Confirmed::Concession || self.settings.second_person.contains(&what)
    }

    /// Uses up the confirmation that this needs. Gives what to give back when it was for nothing.
    fn confirmed(
        &self,
        what: Confirmed,
        somebody: &Somebody,
        headers: &HeaderMap,
    ) -> Result<(String, Confirmation), Problem> {
        let second = self.settings.second_person.contains(&what);
        let refused = || {
            let with = if second { ", with a second person" } else { "" };
            let detail = if somebody.form_token.is_some() {
                format!("confirm who you are{with}: /confirm, or POST /api/v1/me/confirm")
            } else {
                "only people may do this: sign in".to_owned()
            };
            let problem = Problem::new(StatusCode::FORBIDDEN, detail);
            problem.with("confirm", serde_json::json!({ "second_person": second }))
        };
        let id = session_id(self, headers).filter(|_| somebody.form_token.is_some());
        let id = id.ok_or_else(refused)?;
        let (mut inside, now) = (self.inside(), Instant::now());
        let inside = &mut *inside;
        let session = inside.sessions.find(&id, &inside.people, now).map_err(|_| refused())?;
        if !session.confirmed_with(second, now) {
            return Err(refused());
        }
        let with = session.use_confirmation(now).ok_or_else(refused)?;
        Ok((id, with))
    }

    fn give_back(&self, id: &str, confirmation: Confirmation) {
        let mut inside = self.inside();
        let inside = &mut *inside;
        if let Ok(session) = inside.sessions.find(id, &inside.people, Instant::now()) {
            session.give_back(confirmation);
        }
    }
}

/// May this role use the route, for pages that leave out what somebody may not do.
#[must_use]
pub fn may_use(role: Option<Role>, method: &Method, path: &str) -> bool {
    matches!(find(method, path), Found::Row(row) if row.least.allows(role))
}
