//! Who acts: for handlers and pages, the one place that knows.

use std::convert::Infallible;

use axum::extract::FromRequestParts;
use axum::http::Method;
use axum::http::request::Parts;
use stencilward_domain::event::Role;

use super::Somebody;
use super::table::{Confirmed, Found, find};

/// The name of the hidden field that each form bears.
pub(super) const FIELD: &str = "form-token";

/// Who sent a request: somebody who showed who they are, or, while the door stands open, anybody.
#[derive(Debug, Clone, Default)]
pub struct Who(Option<Somebody>);

impl Who {
    pub(super) fn somebody(somebody: Somebody) -> Self {
        Self(Some(somebody))
    }

    pub(super) fn is(&self) -> Option<&Somebody> {
        self.0.as_ref()
    }

    /// Their name, if they showed it.
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        self.0.as_ref().map(|somebody| somebody.name.as_str())
    }

    /// Their role, if they showed who they are.
    #[must_use]
    pub fn role(&self) -> Option<Role> {
        self.0.as_ref().map(|somebody| somebody.role)
    }

    /// The hidden field that each form that POSTs bears, as its name and value; none while the
    /// door stands open. Both need no escaping.
    #[must_use]
    pub fn hidden_field(&self) -> Option<(&'static str, &str)> {
        let token = self.0.as_ref()?.form_token.as_deref()?;
        Some((FIELD, token))
    }

    /// True when they may POST to this path: all that the table allows their role, and while the
    /// door stands open everything.
    #[must_use]
    pub(crate) fn may_post(&self, path: &str) -> bool {
        match find(&Method::POST, path) {
            Found::Row(row) => self.0.is_none() || row.least.allows(self.role()),
            _ => false,
        }
    }

    /// True when a POST to this path would be refused until they confirm who they are.
    #[must_use]
    pub(crate) fn must_confirm(&self, path: &str) -> bool {
        let Some(somebody) = &self.0 else { return false };
        let what: Option<Confirmed> = match find(&Method::POST, path) {
            Found::Row(row) => row.confirmed,
            _ => None,
        };
        what.is_some_and(|what| somebody.unconfirmed.contains(&what))
    }

    /// Who acts: whoever showed who they are, whatever the request claims; else whom it names.
    #[must_use]
    pub(crate) fn or_claimed(&self, claimed: Option<String>) -> Option<String> {
        self.name().map(str::to_owned).or(claimed)
    }
}

impl<S: Sync> FromRequestParts<S> for Who {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(parts.extensions.get::<Self>().cloned().unwrap_or_default())
    }
}
