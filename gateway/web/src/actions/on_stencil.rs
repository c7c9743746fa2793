//! What people do to a stencil.

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use schemars::JsonSchema;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use stencilward_domain::event::Stream;
use stencilward_domain::names::{MachineName, OrderName, SlotName, StencilCode};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::Request;
use stencilward_domain::time::Timestamp;

use super::{carry_out, version};
use crate::Surface;
use crate::contract::shapes::{Count, Moment, Name, OutcomeWord, Text};
use crate::door::Who;
use crate::problem::Problem;
use crate::repeat::Asking;
use crate::said::{Body, bad, by, by_if_said, count, moment, name, named, why};
use crate::views::whole;

/// Something that people do to a stencil.
pub(crate) trait Act: DeserializeOwned + Send + 'static {
    /// The request that follows from what was said.
    fn request(self, stencil: StencilCode, who: &Who) -> Result<Request, Problem>;
}

/// `POST /api/v1/stencils/{code}/...`.
pub(crate) async fn act<A: Act>(
    State(surface): State<Surface>,
    Path(code): Path<String>,
    who: Who,
    Asking(site): Asking,
    headers: HeaderMap,
    Body(said): Body<A>,
) -> Result<Response, Problem> {
    let stencil = StencilCode::new(&code).map_err(|error| bad(format!("stencil: {error}")))?;
    let request = said.request(stencil.clone(), &who)?;
    let of = Stream::Stencil(stencil.clone());
    let tag = move |site: &_, now| whole(site, &stencil, now).map(|view| version::tag(&view));
    carry_out(&surface, &site, &headers, of, request, tag).await
}

/// May it be put into storage?
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Store {
    /// Into which rack.
    #[schemars(with = "Option<Name>")]
    rack: Option<String>,
    /// Into which slot.
    #[schemars(with = "Option<Name>")]
    slot: Option<String>,
    /// Who asks; who is signed in, whatever is said here.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

impl Act for Store {
    fn request(self, stencil: StencilCode, who: &Who) -> Result<Request, Problem> {
        let rack = name("rack", self.rack.as_ref(), MachineName::new)?;
        let slot = name("slot", self.slot.as_ref(), SlotName::new)?;
        Ok(Request::Store { stencil, rack, slot, by: by_if_said(who, self.by)? })
    }
}

/// May it be taken out of storage?
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Take {
    /// Out of which rack.
    #[schemars(with = "Option<Name>")]
    rack: Option<String>,
    /// For which order.
    #[schemars(with = "Option<Name>")]
    order: Option<String>,
    /// Who asks; who is signed in, whatever is said here.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

impl Act for Take {
    fn request(self, stencil: StencilCode, who: &Who) -> Result<Request, Problem> {
        let rack = name("rack", self.rack.as_ref(), MachineName::new)?;
        let order = name("order", self.order.as_ref(), OrderName::new)?;
        Ok(Request::Take { stencil, rack, order, by: by_if_said(who, self.by)? })
    }
}

/// A person reports a wash, where policy lets them.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Wash {
    /// How it ended; passed unless given.
    #[schemars(with = "Option<OutcomeWord>")]
    outcome: Option<WashOutcome>,
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

impl Act for Wash {
    fn request(self, stencil: StencilCode, who: &Who) -> Result<Request, Problem> {
        let outcome = self.outcome.unwrap_or(WashOutcome::Passed);
        Ok(Request::ReportWash { stencil, outcome, by: by(who, self.by)? })
    }
}

/// Strokes that only a person knows of.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Strokes {
    /// The printer that made them.
    #[schemars(with = "Name")]
    machine: Option<String>,
    #[schemars(with = "Count")]
    strokes: Option<u64>,
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
    #[schemars(with = "Text")]
    why: Option<String>,
}

impl Act for Strokes {
    fn request(self, stencil: StencilCode, who: &Who) -> Result<Request, Problem> {
        let made_them = "the printer that made the strokes";
        Ok(Request::Enter {
            stencil,
            machine: named("machine", made_them, self.machine.as_ref(), MachineName::new)?,
            strokes: count("strokes", self.strokes)?,
            by: by(who, self.by)?,
            why: why(self.why.as_deref())?,
        })
    }
}

/// More strokes for a worn stencil.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Concession {
    #[schemars(with = "Count")]
    strokes: Option<u64>,
    /// When it ends, whatever was used.
    #[schemars(with = "Option<Moment>")]
    until: Option<Timestamp>,
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
    #[schemars(with = "Text")]
    why: Option<String>,
}

impl Act for Concession {
    fn request(self, stencil: StencilCode, who: &Who) -> Result<Request, Problem> {
        Ok(Request::Grant {
            stencil,
            strokes: count("strokes", self.strokes)?,
            until: moment("until", self.until)?,
            by: by(who, self.by)?,
            why: why(self.why.as_deref())?,
        })
    }
}

macro_rules! said_why {
    ($($(#[doc = $doc:literal])+ $name:ident)+) => {$(
        $(#[doc = $doc])+
        #[derive(Deserialize, JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub(crate) struct $name {
            /// Needed where nobody is signed in.
            #[schemars(with = "Option<Text>")]
            by: Option<String>,
            #[schemars(with = "Text")]
            why: Option<String>,
        }

        impl Act for $name {
            fn request(self, stencil: StencilCode, who: &Who) -> Result<Request, Problem> {
                Ok(Request::$name { stencil, by: by(who, self.by)?, why: why(self.why.as_deref())? })
            }
        }
    )+};
}

said_why! {
    /// It is not to be used until a person releases it.
    Hold
    /// It may be used again.
    Release
    /// The concession ends.
    Withdraw
    /// It is out of use for good.
    Retire
}
