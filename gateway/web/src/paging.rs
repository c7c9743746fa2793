//! Lists in parts: at most so many, and where the list goes on (RFC 8288, relation `next`).

use axum::Json;
use axum::extract::Query;
use axum::extract::rejection::QueryRejection;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::problem::Problem;
use crate::said::bad;

/// Entries in an answer, unless another number is asked for.
const USUAL: u16 = 500;

/// Most entries in one answer.
const MOST: u16 = 1_000;

/// Longest place in a list, in characters.
const LONGEST_PLACE: usize = 2_000;

/// Which part of a list.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Paging {
    /// How many at most.
    #[schemars(range(min = 1, max = MOST), with = "u16")]
    limit: Option<u16>,
    /// Where to go on: as `next` of the answer before says.
    #[schemars(regex(pattern = "^([0-9a-f]{2})+$"), length(max = LONGEST_PLACE), with = "String")]
    after: Option<String>,
}

impl Paging {
    pub(crate) fn of(query: Result<Query<Self>, QueryRejection>) -> Result<Self, Problem> {
        let Query(paging) = query.map_err(|rejection| bad(rejection.body_text()))?;
        paging.checked()
    }

    /// As given, if it may be so.
    pub(crate) fn checked(self) -> Result<Self, Problem> {
        if !self.limit.is_none_or(|limit| (1..=MOST).contains(&limit)) {
            return Err(bad(format!("limit is 1 to {MOST}")));
        }
        let place = self.after.as_deref();
        if !place.is_none_or(|text| text.len() <= LONGEST_PLACE && bytes(text).is_some()) {
            return Err(bad("after is no place in a list: take it from the answer before"));
        }
        Ok(self)
    }

    pub(crate) fn from(limit: Option<u16>, after: Option<String>) -> Result<Self, Problem> {
        Self { limit, after }.checked()
    }

    pub(crate) fn limit(&self) -> usize {
        usize::from(self.limit.unwrap_or(USUAL))
    }

    /// The place after which to go on.
    fn place(&self) -> Option<Vec<u8>> {
        self.after.as_deref().and_then(bytes)
    }

    /// The number after which to go on, where the list is one of numbers.
    pub(crate) fn number(&self) -> u64 {
        let digits = self.place().and_then(|place| String::from_utf8(place).ok());
        digits.and_then(|digits| digits.parse().ok()).unwrap_or(0)
    }

    /// Where to go on after `last`.
    pub(crate) fn next(&self, path: &str, last: &str) -> String {
        let limit = self.limit.map(|limit| format!("limit={limit}&")).unwrap_or_default();
        let mark = if path.contains('?') { '&' } else { '?' };
        format!("{path}{mark}{limit}after={}", hexadecimal(last))
    }
}

fn bytes(text: &str) -> Option<Vec<u8>> {
    let text = text.as_bytes();
    if text.is_empty() || !text.len().is_multiple_of(2) {
        return None;
    }
    let digit = |byte: u8| match byte {
        b'0'..=b'9' => Some(byte - b'0'),
        b'a'..=b'f' => Some(byte - b'a' + 10),
        _ => None,
    };
    text.chunks(2).map(|two| Some(digit(two[0])? * 16 + digit(two[1])?)).collect()
}

fn hexadecimal(text: &str) -> String {
    text.bytes().map(|byte| format!("{byte:02x}")).collect()
}

/// A number as a place in a list: as text it has the order it has as a number.
pub(crate) fn number(count: u64) -> String {
    format!("{count:020}")
}

/// The part that is asked for of entries in the order of their places, and where it goes on.
pub(crate) fn page<T, V>(
    entries: impl Iterator<Item = (String, T)>,
    paging: &Paging,
    path: &str,
    view: impl Fn(T) -> V,
) -> (Vec<V>, Option<String>) {
    let after = paging.place();
    let later = |place: &str| after.as_ref().is_none_or(|after| place.as_bytes() > &after[..]);
    let mut wanted = entries.filter(|(place, _)| later(place)).peekable();
    let (mut shown, mut last) = (Vec::new(), String::new());
    while shown.len() < paging.limit() {
        let Some((place, entry)) = wanted.next() else { return (shown, None) };
        shown.push(view(entry));
        last = place;
    }
    let more = wanted.peek().is_some();
    (shown, more.then(|| paging.next(path, &last)))
}

/// A part of a list, with a link to the next one.
pub(crate) struct Paged<T> {
    next: Option<String>,
    body: T,
}

impl<T> Paged<T> {
    pub(crate) fn new(next: Option<String>, body: T) -> Self {
        Self { next, body }
    }
}

impl<T: Serialize> IntoResponse for Paged<T> {
    fn into_response(self) -> Response {
        let mut response = Json(self.body).into_response();
        let link = self.next.map(|next| HeaderValue::from_str(&format!("<{next}>; rel=\"next\"")));
        if let Some(Ok(link)) = link {
            response.headers_mut().insert(header::LINK, link);
        }
        response
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_put_together_are_the_list() {
        let all: Vec<String> = (0..23).map(number).collect();
        for limit in [1, 2, 11, 12, 22, 23, 24] {
            let (mut seen, mut after) = (Vec::new(), None);
            loop {
                let paging = Paging::from(Some(limit), after.clone()).unwrap();
                let entries = all.iter().map(|place| (place.clone(), place.clone()));
                let (part, next) = page(entries, &paging, "/x", |place| place);
                assert!(part.len() <= usize::from(limit));
                seen.extend(part);
                let Some(next) = next else { break };
                let (_, place) = next.split_once("after=").unwrap();
                after = Some(place.to_owned());
            }
            assert_eq!(seen, all, "{limit} at a time");
        }
    }

    #[test]
    fn what_is_no_place_or_number_is_refused() {
        for after in ["", "f", "fg", "FF", "é0", &"0".repeat(LONGEST_PLACE + 2)] {
            assert!(Paging::from(None, Some(after.to_owned())).is_err(), "{after:?}");
        }
        for limit in [0, MOST + 1] {
            assert!(Paging::from(Some(limit), None).is_err(), "{limit}");
        }
    }
}
