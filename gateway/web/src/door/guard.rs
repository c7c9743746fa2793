//! Keeps pages of other origins away while the gateway listens on loopback without sign-in.

use axum::extract::Request;
use axum::http::{StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::problem::Problem;

/// Refuses a request whose `Host` is not a loopback name: a browser tricked into resolving a
/// foreign name to loopback would send that name.
pub(crate) async fn loopback_names_only(request: Request, next: Next) -> Response {
    let host = request
        .headers()
        .get(header::HOST)
        .and_then(|host| host.to_str().ok())
        .or_else(|| request.uri().authority().map(axum::http::uri::Authority::as_str))
        .unwrap_or_default();
    if is_loopback(host) {
        next.run(request).await
    } else {
        Problem::new(
            StatusCode::FORBIDDEN,
            "this gateway answers only to localhost, 127.0.0.1 and [::1]: call it by one of these",
        )
        .into_response()
    }
}

fn is_loopback(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_loopback_names_pass() {
        for host in ["localhost", "localhost:9464", "127.0.0.1:9464", "[::1]:9464", "127.1.2.3"] {
            assert!(is_loopback(host), "{host}");
        }
        for host in ["", "plant.example:9464", "127.0.0.1.example", "10.0.0.1", "[fe80::1]"] {
            assert!(!is_loopback(host), "{host}");
        }
    }
}
