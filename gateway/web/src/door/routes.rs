//! The routes of the door: signing in and out, confirming, and one's own secret, for pages and
//! for programs alike.

use axum::extract::rejection::JsonRejection;
use axum::extract::{Extension, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::Deserialize;
use serde_json::{Value, json};

use super::check::SignedIn;
use super::gate::session_id;
use super::page::{Page, local};
use super::who::Who;
use super::{Door, Peer};
use crate::Surface;
use crate::pages::words::Words;
use crate::problem::Problem;
use crate::said::bad;

/// All of them.
pub(crate) fn routes() -> Router<Surface> {
    let api = Router::new()
        .route("/sign-in", post(sign_in))
        .route("/sign-out", post(sign_out))
        .route("/me", get(me))
        .route("/me/confirm", post(confirm))
        .route("/me/secret", post(change_secret))
        .route("/people", get(people));
    Router::new()
        .nest("/api/v1", api)
        .route("/sign-in", get(sign_in_page).post(sign_in_form))
        .route("/sign-out", post(sign_out_form))
        .route("/confirm", get(confirm_page).post(confirm_form))
        .route("/secret", get(secret_page).post(secret_form))
}

type Said<T> = Result<Json<T>, JsonRejection>;
type From = Option<Extension<Peer>>;

/// A name and what shows that it is theirs.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Shown {
    name: String,
    secret: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Confirmed {
    secret: String,
    second: Option<Shown>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct Changed {
    old: String,
    password: Option<String>,
    pin: Option<String>,
}

/// Where somebody wanted to go.
#[derive(Default, Deserialize)]
struct Next {
    #[serde(default)]
    next: String,
}

fn address(from: &From) -> Option<std::net::IpAddr> {
    from.as_ref().map(|Extension(peer)| peer.0)
}

fn said<T>(said: Said<T>) -> Result<T, Problem> {
    said.map(|Json(said)| said).map_err(|rejection| bad(rejection.body_text()))
}

/// With the session's cookie: of this host only, not for scripts, not sent by other origins
/// (RFC 6265bis; ASVS 5.0, 3.3).
fn with_cookie(door: &Door, id: Option<&str>, mut response: Response) -> Response {
    let secure = if door.settings.secure { "; Secure" } else { "" };
    let end = if id.is_some() { "" } else { "; Max-Age=0" };
    let (name, id) = (door.settings.cookie(), id.unwrap_or_default());
    let cookie = format!("{name}={id}; Path=/; HttpOnly; SameSite=Strict{secure}{end}");
    if let Ok(value) = HeaderValue::from_str(&cookie) {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    response
}

async fn sign_in(
    State(surface): State<Surface>,
    from: From,
    headers: HeaderMap,
    shown: Said<Shown>,
) -> Result<Response, Problem> {
    let (door, shown) = (&surface.door, said(shown)?);
    let old = session_id(door, &headers);
    let signed = door.sign_in(&shown.name, &shown.secret, address(&from), old.as_deref()).await?;
    let SignedIn { id, name, role, provisional } = signed;
    let body = json!({ "name": name, "role": role, "change_secret": provisional });
    Ok(with_cookie(door, Some(&id), Json(body).into_response()))
}

async fn sign_out(State(surface): State<Surface>, headers: HeaderMap) -> Response {
    let door = &surface.door;
    if let Some(id) = session_id(door, &headers) {
        door.sign_out(&id);
    }
    with_cookie(door, None, Json(json!({ "done": true })).into_response())
}

/// `GET /api/v1/me`.
async fn me(who: Who) -> Json<Value> {
    Json(json!({
        "name": who.name(),
        "role": who.role(),
        "form_token": who.hidden_field().map(|(_, token)| token),
    }))
}

async fn confirm(
    State(surface): State<Surface>,
    from: From,
    who: Who,
    headers: HeaderMap,
    confirmed: Said<Confirmed>,
) -> Result<Response, Problem> {
    let (door, confirmed) = (&surface.door, said(confirmed)?);
    let own = session(door, &who, &headers)?;
    let second = confirmed.second.as_ref();
    let second = second.map(|second| (second.name.as_str(), second.secret.as_str()));
    let own = (own.0.as_str(), own.1);
    let id = door.confirm(own, &confirmed.secret, second, address(&from)).await?;
    Ok(with_cookie(door, Some(&id), Json(json!({ "done": true })).into_response()))
}

/// The session's id, and whose it is.
fn session<'a>(
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

async fn change_secret(
    State(surface): State<Surface>,
    from: From,
    who: Who,
    headers: HeaderMap,
    changed: Said<Changed>,
) -> Result<Response, Problem> {
    let (door, changed) = (&surface.door, said(changed)?);
    let (_, name) = session(door, &who, &headers)?;
    let (new, pin) = match (&changed.password, &changed.pin) {
        (Some(password), None) => (password, false),
        (None, Some(pin)) => (pin, true),
        _ => return Err(bad("say what is changed: password or pin")),
    };
    door.change_own(name, (&changed.old, new), pin, address(&from)).await?;
    let body = json!({ "done": true, "signed_out": true });
    Ok(with_cookie(door, None, Json(body).into_response()))
}

/// `GET /api/v1/people`: no secrets, no hashes, no badges.
async fn people(State(surface): State<Surface>) -> Json<Value> {
    let inside = surface.door.inside();
    let all: Vec<Value> = inside
        .people
        .all()
        .iter()
        .map(|person| {
            json!({
                "name": person.name, "role": person.role, "program": person.is_program(),
                "ends": person.ends, "change_secret": person.is_provisional(),
            })
        })
        .collect();
    Json(json!({ "people": all }))
}

// The same as pages.

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
