//! What each answer tells browsers not to do (OWASP Secure Headers Project; ASVS 5.0, 3.4).

use axum::http::header::{self, HeaderName};
use axum::http::{HeaderMap, HeaderValue};

/// Nothing from elsewhere and nothing inline: a free text can never become a script.
const ALWAYS: [(HeaderName, &str); 6] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; \
         frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// Adds them. What is not said to be kept is not kept: it is somebody's.
pub(super) fn add(headers: &mut HeaderMap) {
    for (name, value) in ALWAYS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
}
