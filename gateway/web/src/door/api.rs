//! The door for programs: signing in and out, confirming, one's own secret, and who there is.

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::event::Role;
use stencilward_domain::time::Timestamp;

use super::check::SignedIn;
use super::gate::session_id;
use super::routes::{From, address, session, with_cookie};
use super::who::Who;
use crate::Surface;
use crate::contract::shapes::{Moment, RoleWord};
use crate::problem::Problem;
use crate::said::{Body, bad};

/// All of them.
pub(crate) fn api() -> Router<Surface> {
    Router::new()
        .route("/sign-in", post(sign_in))
        .route("/sign-out", post(sign_out))
        .route("/me", get(me))
        .route("/me/confirm", post(confirm))
        .route("/me/secret", post(change_secret))
        .route("/people", get(people))
}

/// A name and what shows that it is theirs.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Shown {
    /// The name, or what the badge says.
    name: String,
    /// The password, or at a shared station the PIN.
    secret: String,
}

/// Who somebody is, shown again.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Confirmed {
    /// One's own.
    secret: String,
    /// Who is with them, where the plant asks for two.
    second: Option<Shown>,
}

/// One's own secret: either a password or a PIN.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
#[schemars(transform = one_of_both)]
pub(crate) struct Changed {
    /// The present one.
    old: String,
    password: Option<String>,
    pin: Option<String>,
}

fn one_of_both(schema: &mut schemars::Schema) {
    let only = |one: &str, other: &str| {
        serde_json::json!({
            "required": [one],
            "properties": { one: { "type": "string" }, other: { "type": "null" } },
        })
    };
    let either = serde_json::json!([only("password", "pin"), only("pin", "password")]);
    schema.insert("oneOf".to_owned(), either);
}

/// Somebody signed in.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Welcome {
    name: String,
    #[schemars(with = "RoleWord")]
    role: Role,
    /// True while somebody else chose the password: another one must be chosen first.
    change_secret: bool,
}

/// It is done.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Simply {
    /// Always true.
    done: bool,
}

/// The secret is changed.
#[derive(Serialize, JsonSchema)]
pub(crate) struct SignedOut {
    /// Always true.
    done: bool,
    /// Always true: sign in anew.
    signed_out: bool,
}

/// Who sends this.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Me {
    /// None while everybody may act.
    name: Option<String>,
    #[schemars(with = "Option<RoleWord>")]
    role: Option<Role>,
    /// What the forms of their pages bear; none of programs.
    form_token: Option<String>,
}

/// Those who may act.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Everybody {
    people: Vec<Member>,
}

/// A person or a program.
#[derive(Serialize, JsonSchema)]
struct Member {
    name: String,
    #[schemars(with = "RoleWord")]
    role: Role,
    program: bool,
    /// When it ends by itself.
    #[schemars(with = "Option<Moment>")]
    ends: Option<Timestamp>,
    change_secret: bool,
}

/// `POST /api/v1/sign-in`.
async fn sign_in(
    State(surface): State<Surface>,
    from: From,
    headers: HeaderMap,
    Body(shown): Body<Shown>,
) -> Result<Response, Problem> {
    let (door, old) = (&surface.door, session_id(&surface.door, &headers));
    let signed = door.sign_in(&shown.name, &shown.secret, address(&from), old.as_deref()).await?;
    let SignedIn { id, name, role, provisional } = signed;
    let welcome = Welcome { name, role, change_secret: provisional };
    Ok(with_cookie(door, Some(&id), Json(welcome).into_response()))
}

/// `POST /api/v1/sign-out`.
async fn sign_out(State(surface): State<Surface>, headers: HeaderMap) -> Response {
    let door = &surface.door;
    if let Some(id) = session_id(door, &headers) {
        door.sign_out(&id);
    }
    with_cookie(door, None, Json(Simply { done: true }).into_response())
}

/// `GET /api/v1/me`.
async fn me(who: Who) -> Json<Me> {
    Json(Me {
        name: who.name().map(str::to_owned),
        role: who.role(),
        form_token: who.hidden_field().map(|(_, token)| token.to_owned()),
    })
}

/// `POST /api/v1/me/confirm`.
async fn confirm(
    State(surface): State<Surface>,
    from: From,
    who: Who,
    headers: HeaderMap,
    Body(confirmed): Body<Confirmed>,
) -> Result<Response, Problem> {
    let door = &surface.door;
    let own = session(door, &who, &headers)?;
    let second = confirmed.second.as_ref();
    let second = second.map(|second| (second.name.as_str(), second.secret.as_str()));
    let own = (own.0.as_str(), own.1);
    let id = door.confirm(own, &confirmed.secret, second, address(&from)).await?;
    Ok(with_cookie(door, Some(&id), Json(Simply { done: true }).into_response()))
}

/// `POST /api/v1/me/secret`.
async fn change_secret(
    State(surface): State<Surface>,
    from: From,
    who: Who,
    headers: HeaderMap,
    Body(changed): Body<Changed>,
) -> Result<Response, Problem> {
    let door = &surface.door;
    let (new, pin) = match (&changed.password, &changed.pin) {
        (Some(password), None) => (password, false),
        (None, Some(pin)) => (pin, true),
        _ => return Err(bad("say what is changed: password or pin")),
    };
    let (_, name) = session(door, &who, &headers)?;
    door.change_own(name, (&changed.old, new), pin, address(&from)).await?;
    let body = Json(SignedOut { done: true, signed_out: true });
    Ok(with_cookie(door, None, body.into_response()))
}

/// `GET /api/v1/people`: no secrets, no hashes, no badges.
async fn people(State(surface): State<Surface>) -> Json<Everybody> {
    let inside = surface.door.inside();
    let member = |person: &super::Person| Member {
        name: person.name.clone(),
        role: person.role,
        program: person.is_program(),
        ends: person.ends,
        change_secret: person.is_provisional(),
    };
    Json(Everybody { people: inside.people.all().iter().map(member).collect() })
}
