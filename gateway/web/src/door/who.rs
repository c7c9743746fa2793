//! Who acts: for handlers and pages, the one place that knows.

use std::convert::Infallible;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use stencilward_domain::event::Role;

use super::Somebody;

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
