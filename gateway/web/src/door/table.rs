//! The one table of who may what: each route that exists, and the least role that may use it.
//! What is not in here is refused, whoever asks.

use axum::http::Method;
use stencilward_domain::event::Role;

/// Who may use a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Least {
    /// Everybody, also who is not signed in.
    Anybody,
    /// Whoever has this role, or one that may more.
    Role(Role),
}

/// One route and who may use it.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    /// `GET` (which allows `HEAD`) or `POST`.
    pub method: &'static str,
    /// Its path; `*` stands for one part of any value.
    pub path: &'static str,
    /// Who may.
    pub least: Least,
    /// What a configuration calls it when it asks for a second person; such an action is
    /// confirmed by who does it, each time.
    pub confirmed: Option<Confirmed>,
}

/// What is confirmed by showing again who one is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Confirmed {
    /// Allow a worn stencil more strokes: always confirmed.
    Concession,
    /// Take a stencil out of use for good: confirmed where a second person is asked for.
    Retire,
}

const fn row(method: &'static str, path: &'static str, least: Least) -> Row {
    Row { method, path, least, confirmed: None }
}

const fn confirmed(path: &'static str, role: Role, what: Confirmed) -> Row {
    Row { method: "POST", path, least: Least::Role(role), confirmed: Some(what) }
}

const ANYBODY: Least = Least::Anybody;
const OPERATOR: Least = Least::Role(Role::Operator);
const TECHNICIAN: Least = Least::Role(Role::Technician);
const ENGINEER: Least = Least::Role(Role::Engineer);
const MANAGER: Least = Least::Role(Role::Manager);

/// Every route. What makes things safer, such as a hold, needs the least.
pub static TABLE: &[Row] = &[
    row("GET", "/healthz", ANYBODY),
    row("GET", "/readyz", ANYBODY),
    row("GET", "/metrics", OPERATOR),
    // What the API is, and what its problems mean.
    row("GET", "/openapi.json", ANYBODY),
    row("GET", "/problems/*", ANYBODY),
    // What every page looks like.
    row("GET", "/about", ANYBODY),
    row("GET", "/assets/page.css", ANYBODY),
    row("GET", "/assets/page.js", ANYBODY),
    row("GET", "/assets/icon.svg", ANYBODY),
    // The pages.
    row("GET", "/", OPERATOR),
    row("GET", "/live", OPERATOR),
    row("GET", "/scan", OPERATOR),
    row("POST", "/scan", OPERATOR),
    row("GET", "/stencils", OPERATOR),
    row("GET", "/stencils/*", OPERATOR),
    row("GET", "/stencils/*/tag", OPERATOR),
    row("GET", "/stencils/*/tag.svg", OPERATOR),
    row("GET", "/stencils/*/tag.pdf", OPERATOR),
    row("POST", "/stencils/*/wash", OPERATOR),
    row("POST", "/stencils/*/hold", OPERATOR),
    row("POST", "/stencils/*/release", TECHNICIAN),
    row("POST", "/stencils/*/strokes", TECHNICIAN),
    confirmed("/stencils/*/concession", Role::Manager, Confirmed::Concession),
    row("POST", "/stencils/*/withdraw", MANAGER),
    confirmed("/stencils/*/retire", Role::Manager, Confirmed::Retire),
    row("GET", "/machines", OPERATOR),
    row("GET", "/machines/*", OPERATOR),
    row("POST", "/machines/*/seat", OPERATOR),
    row("POST", "/machines/*/remove", OPERATOR),
    row("POST", "/machines/*/start", OPERATOR),
    row("POST", "/machines/*/finish", OPERATOR),
    row("POST", "/machines/*/begin-maintenance", TECHNICIAN),
    row("POST", "/machines/*/end-maintenance", TECHNICIAN),
    row("GET", "/alarms", OPERATOR),
    row("POST", "/alarms/acknowledge", OPERATOR),
    row("POST", "/alarms/comment", OPERATOR),
    row("POST", "/alarms/reset", TECHNICIAN),
    row("POST", "/alarms/shelve", TECHNICIAN),
    row("POST", "/alarms/unshelve", TECHNICIAN),
    row("POST", "/alarms/take-out", ENGINEER),
    row("POST", "/alarms/return", ENGINEER),
    row("GET", "/unattributed", OPERATOR),
    row("POST", "/unattributed/*/assign", TECHNICIAN),
    row("GET", "/events/*", OPERATOR),
    row("POST", "/events/*/correct", ENGINEER),
    row("GET", "/wear", OPERATOR),
    // Signing in and out, and one's own secret.
    row("GET", "/sign-in", ANYBODY),
    row("POST", "/sign-in", ANYBODY),
    row("POST", "/sign-out", OPERATOR),
    row("GET", "/secret", OPERATOR),
    row("POST", "/secret", OPERATOR),
    row("GET", "/confirm", OPERATOR),
    row("POST", "/confirm", OPERATOR),
    row("POST", "/api/v1/sign-in", ANYBODY),
    row("POST", "/api/v1/sign-out", OPERATOR),
    row("GET", "/api/v1/me", OPERATOR),
    row("POST", "/api/v1/me/confirm", OPERATOR),
    row("POST", "/api/v1/me/secret", OPERATOR),
    row("GET", "/api/v1/people", MANAGER),
    // Stencils.
    row("GET", "/api/v1/stencils", OPERATOR),
    row("GET", "/api/v1/stencils/*", OPERATOR),
    row("POST", "/api/v1/stencils/*/store", OPERATOR),
    row("POST", "/api/v1/stencils/*/take", OPERATOR),
    row("POST", "/api/v1/stencils/*/wash", OPERATOR),
    row("POST", "/api/v1/stencils/*/hold", OPERATOR),
    row("POST", "/api/v1/stencils/*/release", TECHNICIAN),
    row("POST", "/api/v1/stencils/*/strokes", TECHNICIAN),
    confirmed("/api/v1/stencils/*/concession", Role::Manager, Confirmed::Concession),
    row("POST", "/api/v1/stencils/*/withdraw", MANAGER),
    confirmed("/api/v1/stencils/*/retire", Role::Manager, Confirmed::Retire),
    row("GET", "/api/v1/export/stencils", OPERATOR),
    row("POST", "/api/v1/import/stencils", ENGINEER),
    // Machines.
    row("GET", "/api/v1/machines", OPERATOR),
    row("GET", "/api/v1/machines/*", OPERATOR),
    row("POST", "/api/v1/machines/*/seat", OPERATOR),
    row("POST", "/api/v1/machines/*/remove", OPERATOR),
    row("POST", "/api/v1/machines/*/start", OPERATOR),
    row("POST", "/api/v1/machines/*/finish", OPERATOR),
    row("POST", "/api/v1/machines/*/begin-maintenance", TECHNICIAN),
    row("POST", "/api/v1/machines/*/end-maintenance", TECHNICIAN),
    row("GET", "/api/v1/machines/*/trial", OPERATOR),
    row("POST", "/api/v1/machines/*/trial/compare", TECHNICIAN),
    // Alarms.
    row("GET", "/api/v1/alarms", OPERATOR),
    row("GET", "/api/v1/alarms/report", OPERATOR),
    row("GET", "/api/v1/alarms/*", OPERATOR),
    row("POST", "/api/v1/alarms/acknowledge", OPERATOR),
    row("POST", "/api/v1/alarms/comment", OPERATOR),
    row("POST", "/api/v1/alarms/reset", TECHNICIAN),
    row("POST", "/api/v1/alarms/shelve", TECHNICIAN),
    row("POST", "/api/v1/alarms/unshelve", TECHNICIAN),
    row("POST", "/api/v1/alarms/take-out", ENGINEER),
    row("POST", "/api/v1/alarms/return", ENGINEER),
    // Orders, and what people find out later.
    row("GET", "/api/v1/orders", OPERATOR),
    row("GET", "/api/v1/orders/*", OPERATOR),
    row("POST", "/api/v1/orders", TECHNICIAN),
    row("GET", "/api/v1/unattributed", OPERATOR),
    row("POST", "/api/v1/unattributed/*/assign", TECHNICIAN),
    // What happened.
    row("GET", "/api/v1/events", OPERATOR),
    row("GET", "/api/v1/events/live", OPERATOR),
    row("GET", "/api/v1/events/*", OPERATOR),
    row("POST", "/api/v1/events/*/correct", ENGINEER),
    row("GET", "/api/v1/stencils/*/history", OPERATOR),
    row("GET", "/api/v1/wear", OPERATOR),
    // The configuration.
    row("GET", "/api/v1/reload", ENGINEER),
    row("POST", "/api/v1/reload", ENGINEER),
];

/// What the table says of a request.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Found {
    /// Its row.
    Row(&'static Row),
    /// The path is there, but not by this method.
    OtherMethod,
    /// Nothing.
    Nothing,
}

/// Looks a request up. A path that is written out is never one of any value.
pub(crate) fn find(method: &Method, path: &str) -> Found {
    let method = if method == Method::HEAD { "GET" } else { method.as_str() };
    let written = TABLE.iter().any(|row| row.path == path);
    let is_there = |row: &&Row| if written { row.path == path } else { fits(row.path, path) };
    let mut there = false;
    for row in TABLE.iter().filter(is_there) {
        if row.method == method {
            return Found::Row(row);
        }
        there = true;
    }
    if there { Found::OtherMethod } else { Found::Nothing }
}

fn fits(pattern: &str, path: &str) -> bool {
    let (mut pattern, mut path) = (pattern.split('/'), path.split('/'));
    loop {
        match (pattern.next(), path.next()) {
            (None, None) => return true,
            (Some("*"), Some(part)) if !part.is_empty() => {}
            (Some(wanted), Some(part)) if wanted == part => {}
            _ => return false,
        }
    }
}

impl Least {
    /// May somebody of this role; `None` is nobody.
    #[must_use]
    pub fn allows(self, role: Option<Role>) -> bool {
        match self {
            Self::Anybody => true,
            Self::Role(least) => role.is_some_and(|role| role >= least),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_request_finds_its_row_and_nothing_else() {
        let least = |method: &Method, path: &str| match find(method, path) {
            Found::Row(row) => Some(row.least),
            _ => None,
        };
        assert_eq!(least(&Method::GET, "/healthz"), Some(Least::Anybody));
        assert_eq!(least(&Method::HEAD, "/healthz"), Some(Least::Anybody));
        assert_eq!(least(&Method::POST, "/api/v1/stencils/a/retire"), Some(MANAGER));
        for path in
            ["/nowhere", "/healthz/", "//healthz", "/api/v1/stencils//retire", "/api/v1/x/../me"]
        {
            assert!(matches!(find(&Method::GET, path), Found::Nothing), "{path}");
        }
        // A word in other letters or escapes is none that the table knows.
        for path in ["/api/v1/stencils/a/Retire", "/api/v1/stencils/a/%72etire"] {
            assert!(matches!(find(&Method::POST, path), Found::Nothing), "{path}");
        }
        assert!(matches!(find(&Method::DELETE, "/api/v1/stencils"), Found::OtherMethod));
        assert!(matches!(find(&Method::GET, "/api/v1/alarms/acknowledge"), Found::OtherMethod));
        assert!(matches!(find(&Method::POST, "/api/v1/alarms/anything"), Found::OtherMethod));
    }

    #[test]
    fn no_route_has_two_rows() {
        let mut seen = std::collections::BTreeSet::new();
        for row in TABLE {
            assert!(seen.insert((row.method, row.path)), "{} {}", row.method, row.path);
        }
    }
}
