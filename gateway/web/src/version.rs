//! Which version of a thing somebody saw (RFC 9110, 8.8.3 and 13): the entity tag of an answer is
//! made of the answer, so that two that differ never have the same.

use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use crate::problem::Problem;
use crate::said::bad;

/// What the answer would be, and its tag.
fn written<T: Serialize>(view: &T) -> (Vec<u8>, String) {
    let body = serde_json::to_vec(view).unwrap_or_default();
    let digest = Sha256::digest(&body);
    let tag: String = digest.iter().take(12).map(|byte| format!("{byte:02x}")).collect();
    (body, format!("\"{tag}\""))
}

/// The tag of what this shows.
pub(crate) fn tag<T: Serialize>(view: &T) -> String {
    written(view).1
}

/// The answer with its tag; 304 to who has it already.
pub(crate) fn answer<T: Serialize>(headers: &HeaderMap, view: &T) -> Result<Response, Problem> {
    let (body, tag) = written(view);
    let seen = Seen::of(headers, &header::IF_NONE_MATCH)?;
    let mut response = if seen.is_some_and(|seen| seen.weakly(&tag)) {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        ([(header::CONTENT_TYPE, "application/json")], body).into_response()
    };
    if let Ok(tag) = HeaderValue::from_str(&tag) {
        response.headers_mut().insert(header::ETAG, tag);
    }
    // Kept by who asked, and asked for again each time: it is somebody's.
    let kept = HeaderValue::from_static("private, no-cache");
    response.headers_mut().insert(header::CACHE_CONTROL, kept);
    Ok(response)
}

/// The versions that somebody names.
#[derive(Debug, Clone)]
pub(crate) struct Seen(Vec<String>);

impl Seen {
    /// Those in a header; none without it. A list may hold nothing (RFC 9110, 5.6.1).
    fn of(headers: &HeaderMap, name: &HeaderName) -> Result<Option<Self>, Problem> {
        if !headers.contains_key(name) {
            return Ok(None);
        }
        let mut tags = Vec::new();
        for line in headers.get_all(name) {
            let all = line.to_str().unwrap_or("?").split(',').map(str::trim);
            tags.extend(all.filter(|tag| !tag.is_empty()).map(str::to_owned));
        }
        if tags.iter().all(|tag| tag == "*" || is_tag(tag)) {
            return Ok(Some(Self(tags)));
        }
        Err(bad(format!("{name} names no version: send back an ETag as it was given, or *")))
    }

    /// Those to which a change is bound.
    pub(crate) fn if_match(headers: &HeaderMap) -> Result<Option<Self>, Problem> {
        Self::of(headers, &header::IF_MATCH)
    }

    /// By the strong comparison, which a change needs.
    pub(crate) fn strongly(&self, tag: &str) -> bool {
        self.0.iter().any(|seen| seen == "*" || seen == tag)
    }

    fn weakly(&self, tag: &str) -> bool {
        let opaque = |seen: &String| seen.strip_prefix("W/").unwrap_or(seen) == tag;
        self.0.iter().any(|seen| seen == "*" || opaque(seen))
    }
}

/// An entity tag (RFC 9110, 8.8.3), of visible ASCII without a comma: ours have none.
fn is_tag(text: &str) -> bool {
    let opaque = text.strip_prefix("W/").unwrap_or(text);
    let inside = opaque.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
    inside.is_some_and(|inside| inside.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'"'))
}
