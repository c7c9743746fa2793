//! Keeps pages of other origins away: by the name they call, and by where they say they are.

use axum::http::{HeaderMap, StatusCode, Uri, header};

use crate::problem::Problem;

/// The name by which the request calls the gateway.
fn host<'a>(headers: &'a HeaderMap, uri: &'a Uri) -> &'a str {
    let named = headers.get(header::HOST).and_then(|host| host.to_str().ok());
    named.or_else(|| uri.authority().map(axum::http::uri::Authority::as_str)).unwrap_or_default()
}

/// Refuses a request whose `Host` is not a loopback name: a browser tricked into resolving a
/// foreign name to loopback would send that name.
pub(super) fn loopback_names_only(headers: &HeaderMap, uri: &Uri) -> Result<(), Problem> {
    if is_loopback(host(headers, uri)) {
        return Ok(());
    }
    Err(Problem::new(
        StatusCode::FORBIDDEN,
        "this gateway answers only to localhost, 127.0.0.1 and [::1]: call it by one of these",
    ))
}

fn is_loopback(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

/// Refuses what a browser says comes from a page of another origin (RFC 6454, 7; W3C Fetch
/// Metadata). What says nothing is no browser's, or is judged by its form's token.
pub(super) fn same_origin_only(
    headers: &HeaderMap,
    uri: &Uri,
    secure: bool,
) -> Result<(), Problem> {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let scheme = if secure { "https" } else { "http" };
    let own = format!("{scheme}://{}", host(headers, uri));
    let origin = text("origin").is_none_or(|origin| origin.eq_ignore_ascii_case(&own));
    let site = text("sec-fetch-site").is_none_or(|site| matches!(site, "same-origin" | "none"));
    if origin && site {
        return Ok(());
    }
    let detail = "a page of another origin may not do this: open the gateway's own page";
    Err(Problem::new(StatusCode::FORBIDDEN, detail))
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

    #[test]
    fn only_our_own_pages_pass() {
        let passes = |headers: &[(&'static str, &str)]| {
            let mut all = HeaderMap::new();
            all.insert("host", "plant.example:9464".parse().unwrap());
            all.extend(headers.iter().map(|(name, value)| {
                (axum::http::HeaderName::from_static(name), value.parse().unwrap())
            }));
            same_origin_only(&all, &Uri::from_static("/x"), true).is_ok()
        };
        assert!(passes(&[]));
        assert!(passes(&[("origin", "https://plant.example:9464")]));
        assert!(passes(&[("sec-fetch-site", "same-origin")]));
        for other in ["http://plant.example:9464", "https://plant.example", "null", "https://x"] {
            assert!(!passes(&[("origin", other)]), "{other}");
        }
        for other in ["cross-site", "same-site"] {
            assert!(!passes(&[("sec-fetch-site", other)]), "{other}");
        }
    }
}
