//! What a request's body says, checked.

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;
use serde::de::DeserializeOwned;
use serde_json::Value;
use stencilward_domain::names::BadName;
use stencilward_domain::time::Timestamp;

use crate::door::Who;
use crate::problem::Problem;

/// Longest free text, in characters.
pub(crate) const LONGEST_TEXT: usize = 500;

/// Most strokes, boards or minutes that somebody may tell of at once.
pub(crate) const MOST: u64 = 1_000_000_000;

/// The last moment that may be named: the end of the year 9999.
pub(crate) const LAST_MOMENT: i64 = 253_402_300_799_999;

/// Whole numbers up to this are exact however they are written (RFC 8259, 6).
pub(crate) const EXACT: u64 = (1 << 53) - 1;

/// A body of JSON.
pub(crate) struct Body<T>(pub(crate) T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequest<S> for Body<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let read = Json::from_request(request, state).await;
        let Json(said) = read.map_err(|rejection: JsonRejection| {
            Problem::new(rejection.status(), rejection.body_text())
        })?;
        understood(said).map(Self)
    }
}

/// What is meant by JSON. A number without a fraction is a whole one, however it is written
/// (JSON Schema 2020-12 Validation, 6.1.1).
pub(crate) fn understood<T: DeserializeOwned>(said: Value) -> Result<T, Problem> {
    serde_json::from_value(whole(said)).map_err(|error| bad(format!("the body: {error}")))
}

fn whole(value: Value) -> Value {
    match value {
        Value::Number(number) => match number.as_f64() {
            // Checked just now: it has no fraction and fits.
            #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)]
            Some(float)
                if number.is_f64() && float.fract() == 0.0 && float.abs() <= EXACT as f64 =>
            {
                Value::from(float as i64)
            }
            _ => Value::Number(number),
        },
        Value::Array(items) => items.into_iter().map(whole).collect(),
        Value::Object(members) => {
            members.into_iter().map(|(name, value)| (name, whole(value))).collect()
        }
        other => other,
    }
}

/// Who does this: who signed in, whatever is said, else who is said to.
pub(crate) fn by(who: &Who, claimed: Option<String>) -> Result<String, Problem> {
    by_if_said(who, claimed)?.ok_or_else(|| missing("by", BY))
}

/// The same where it may stay unsaid.
pub(crate) fn by_if_said(who: &Who, claimed: Option<String>) -> Result<Option<String>, Problem> {
    let claimed = claimed.map(|claimed| needed("by", BY, Some(&claimed))).transpose()?;
    Ok(who.or_claimed(claimed))
}

const BY: &str = "who does this";

/// For what reason.
pub(crate) fn why(text: Option<&str>) -> Result<String, Problem> {
    needed("why", "the reason, in words", text)
}

pub(crate) fn bad(detail: impl Into<String>) -> Problem {
    Problem::new(StatusCode::BAD_REQUEST, detail)
}

fn missing(key: &str, meaning: &str) -> Problem {
    bad(format!("{key} is missing: {meaning}"))
}

/// A text that must be there, and may not be too long.
pub(crate) fn needed(key: &str, meaning: &str, text: Option<&str>) -> Result<String, Problem> {
    match text.map(str::trim) {
        None | Some("") => Err(missing(key, meaning)),
        Some(text) if text.chars().count() > LONGEST_TEXT => {
            Err(bad(format!("{key} is longer than {LONGEST_TEXT} characters")))
        }
        Some(text) => Ok(text.to_owned()),
    }
}

/// A number of things that must be there.
pub(crate) fn count(key: &str, number: Option<u64>) -> Result<u64, Problem> {
    within(key, number)?.ok_or_else(|| missing(key, "how many"))
}

/// A number of things that may be there.
pub(crate) fn within(key: &str, number: Option<u64>) -> Result<Option<u64>, Problem> {
    match number {
        Some(number) if number > MOST => Err(bad(format!("{key} is more than {MOST}"))),
        number => Ok(number),
    }
}

/// A moment that may be there.
pub(crate) fn moment(key: &str, at: Option<Timestamp>) -> Result<Option<Timestamp>, Problem> {
    match at {
        Some(at) if !(0..=LAST_MOMENT).contains(&at.0) => {
            Err(bad(format!("{key} is no moment in milliseconds since 1970")))
        }
        at => Ok(at),
    }
}

/// A name that may be there.
pub(crate) fn name<T>(
    key: &str,
    text: Option<&String>,
    new: fn(&str) -> Result<T, BadName>,
) -> Result<Option<T>, Problem> {
    text.map(|text| new(text).map_err(|error| bad(format!("{key}: {error}")))).transpose()
}

/// A name that must be there.
pub(crate) fn named<T>(
    key: &str,
    meaning: &str,
    text: Option<&String>,
    new: fn(&str) -> Result<T, BadName>,
) -> Result<T, Problem> {
    name(key, text, new)?.ok_or_else(|| missing(key, meaning))
}
