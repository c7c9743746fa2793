//! The style sheet, the script and the icon, each kept by browsers until it changes.

use std::hash::{DefaultHasher, Hash as _, Hasher as _};

use axum::Router;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;

use crate::Surface;

/// Path, kind and text of each.
const ASSETS: [(&str, &str, &str); 3] = [
    ("/assets/page.css", "text/css; charset=utf-8", include_str!("page.css")),
    ("/assets/page.js", "text/javascript; charset=utf-8", include_str!("page.js")),
    ("/assets/icon.svg", "image/svg+xml", include_str!("icon.svg")),
];

/// Adds their routes.
pub(crate) fn with_assets(router: Router<Surface>) -> Router<Surface> {
    ASSETS.into_iter().fold(router, |router, (path, kind, text)| {
        router
            .route(path, get(move |headers: HeaderMap| async move { served(&headers, kind, text) }))
    })
}

/// The text, or that it is still the one the browser has (RFC 9110, 13.1.2).
fn served(headers: &HeaderMap, kind: &'static str, text: &'static str) -> Response {
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    let tag = format!("\"{:016x}\"", hasher.finish());
    let known = headers.get(header::IF_NONE_MATCH).and_then(|value| value.to_str().ok());
    let known = known.is_some_and(|known| known.split(',').any(|one| one.trim() == tag));
    let about = [
        (header::ETAG, tag),
        (header::CACHE_CONTROL, "no-cache".to_owned()),
        (header::CONTENT_TYPE, kind.to_owned()),
    ];
    if known {
        (StatusCode::NOT_MODIFIED, about).into_response()
    } else {
        (about, text).into_response()
    }
}
