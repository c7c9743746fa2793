//! The pages of the door: signing in and out, confirming, and one's own secret.

use axum::Router;
use axum::extract::{Extension, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use serde::Deserialize;

use super::gate::session_id;
use super::page::{Page, local};
use super::who::Who;
use super::{Door, Peer};
use crate::Surface;
use crate::pages::words::Words;
use crate::problem::Problem;
use crate::said::bad;

/// The routes of the pages.
pub(crate) fn routes() -> Router<Surface> {
    Router::new()
        .route("/sign-in", get(sign_in_page).post(sign_in_form))
        .route("/sign-out", post(sign_out_form))
        .route("/confirm", get(confirm_page).post(confirm_form))
        .route("/secret", get(secret_page).post(secret_form))
}

pub(super) type From = Option<Extension<Peer>>;

/// Where somebody wanted to go.
#[derive(Default, Deserialize)]
struct Next {
    #[serde(default)]
    next: String,
}

pub(super) fn address(from: &From) -> Option<std::net::IpAddr> {
    from.as_ref().map(|Extension(peer)| peer.0)
}

/// With the session's cookie: of this host only, not for scripts, not sent by other origins
/// (RFC 6265bis; ASVS 5.0, 3.3).
pub(super) fn with_cookie(door: &Door, id: Option<&str>, mut response: Response) -> Response {
    let secure = if door.settings.secure { "; Secure" } else { "" };
    let end = if id.is_some() { "" } else { "; Max-Age=0" };
    let (name, id) = (door.settings.cookie(), id.unwrap_or_default());
    let cookie = format!("{name}={id}; Path=/; HttpOnly; SameSite=Strict{secure}{end}");
    if let Ok(value) = HeaderValue::from_str(&cookie) {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    response
}

/// The session's id, and whose it is.
pub(super) fn session<'a>(
    door: &Door,
    who: &'a Who,
    headers: &HeaderMap,
) -> Result<(String, &'a str), Problem> {
    let person = who.is().filter(|somebody| somebody.form_token.is_some());
    person
        .and_then(|somebody| Some((session_id(door, headers)?, somebody.name.as_str())))
        .ok_or_else(|| {
            Problem::new(StatusCode::CONFLICT, "this is for people who signed in: sign in first")
        })
}

type Form = Result<axum::body::Bytes, axum::extract::rejection::BytesRejection>;

/// The fields of a form by their name; of two of one name the last.
fn fields(form: Form) -> Result<std::collections::BTreeMap<String, String>, Problem> {
    let form = form.map_err(|rejection| bad(rejection.body_text()))?;
    Ok(form_urlencoded::parse(&form).into_owned().collect())
}

type Fields = std::collections::BTreeMap<String, String>;

fn of<'a>(fields: &'a Fields, name: &str) -> &'a str {
    fields.get(name).map_or("", String::as_str)
}

async fn sign_in_page(words: Words, Query(Next { next }): Query<Next>) -> Response {
    Page::SignIn.show(&words, local(&next))
}

async fn sign_in_form(
    State(surface): State<Surface>,
    from: From,
    words: Words,
    headers: HeaderMap,
    form: Form,
) -> Result<Response, Problem> {
    let (door, fields) = (&surface.door, fields(form)?);
    let (old, next) = (session_id(door, &headers), local(of(&fields, "next")));
    let (name, secret) = (of(&fields, "name"), of(&fields, "secret"));
    Ok(match door.sign_in(name, secret, address(&from), old.as_deref()).await {
        Ok(signed) => {
            let next = if signed.provisional { "/secret" } else { next };
            with_cookie(door, Some(&signed.id), Redirect::to(next).into_response())
        }
        Err(problem) => Page::SignIn.again(&words, &problem, next),
    })
}

async fn sign_out_form(State(surface): State<Surface>, headers: HeaderMap) -> Response {
    if let Some(id) = session_id(&surface.door, &headers) {
        surface.door.sign_out(&id);
    }
    with_cookie(&surface.door, None, Redirect::to("/sign-in").into_response())
}

async fn confirm_page(words: Words, Query(Next { next }): Query<Next>) -> Response {
    Page::Confirm.show(&words, local(&next))
}

async fn confirm_form(
    State(surface): State<Surface>,
    from: From,
    words: Words,
    headers: HeaderMap,
    form: Form,
) -> Result<Response, Problem> {
    let (door, fields) = (&surface.door, fields(form)?);
    let (id, name) = session(door, &words.who, &headers)?;
    let second = (of(&fields, "second-name"), of(&fields, "second-secret"));
    let second = (!second.0.is_empty()).then_some(second);
    let (next, own) = (local(of(&fields, "next")), of(&fields, "secret"));
    Ok(match door.confirm((&id, name), own, second, address(&from)).await {
        Ok(id) => with_cookie(door, Some(&id), Redirect::to(next).into_response()),
        Err(problem) => Page::Confirm.again(&words, &problem, next),
    })
}

async fn secret_page(words: Words) -> Response {
    Page::Secret.show(&words, "/")
}

async fn secret_form(
    State(surface): State<Surface>,
    from: From,
    words: Words,
    headers: HeaderMap,
    form: Form,
) -> Result<Response, Problem> {
    let (door, fields) = (&surface.door, fields(form)?);
    let (_, name) = session(door, &words.who, &headers)?;
    let secrets = (of(&fields, "old"), of(&fields, "new"));
    Ok(match door.change_own(name, secrets, false, address(&from)).await {
        Ok(()) => with_cookie(door, None, Redirect::to("/sign-in").into_response()),
        Err(problem) => Page::Secret.again(&words, &problem, "/"),
    })
}
