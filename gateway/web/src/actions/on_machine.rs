//! What people do at a machine.

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use schemars::JsonSchema;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use stencilward_domain::event::Stream;
use stencilward_domain::names::{MachineName, OrderName, StencilCode};
use stencilward_domain::site::{Request, Site};

use super::{carry_out, version};
use crate::Surface;
use crate::contract::shapes::{Count, Name, Text};
use crate::door::Who;
use crate::problem::Problem;
use crate::repeat::Asking;
use crate::said::{Body, bad, by, named, why, within};
use crate::views::machine_view;

/// Something that people do at a machine.
pub(crate) trait Act: DeserializeOwned + Send + 'static {
    /// The request that follows from what was said.
    fn request(self, machine: MachineName, who: &Who) -> Result<Request, Problem>;
}

/// `POST /api/v1/machines/{name}/...`.
pub(crate) async fn act<A: Act>(
    State(surface): State<Surface>,
    Path(name): Path<String>,
    who: Who,
    Asking(site): Asking,
    headers: HeaderMap,
    Body(said): Body<A>,
) -> Result<Response, Problem> {
    let machine = MachineName::new(&name).map_err(|error| bad(format!("machine: {error}")))?;
    let request = said.request(machine.clone(), &who)?;
    let of = Stream::Machine(machine.clone());
    let tag = move |site: &Site, now| {
        let known = site.plant().machines.contains_key(&machine);
        known.then(|| version::tag(&machine_view(site, &machine, now)))
    };
    carry_out(&surface, &site, &headers, of, request, tag).await
}

/// A scan at a printer or washer: this stencil is in it.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Seat {
    /// The code that was scanned.
    #[schemars(with = "Name")]
    stencil: Option<String>,
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

impl Act for Seat {
    fn request(self, machine: MachineName, who: &Who) -> Result<Request, Problem> {
        let scanned = "the code that was scanned";
        let stencil = named("stencil", scanned, self.stencil.as_ref(), StencilCode::new)?;
        Ok(Request::Seat { stencil, machine, by: by(who, self.by)? })
    }
}

/// The stencil that is in it was taken out.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Remove {
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

impl Act for Remove {
    fn request(self, machine: MachineName, who: &Who) -> Result<Request, Problem> {
        Ok(Request::Remove { machine, by: by(who, self.by)? })
    }
}

fn order(text: Option<&String>) -> Result<OrderName, Problem> {
    named("order", "its number", text, OrderName::new)
}

/// An order begins at a printer.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Start {
    #[schemars(with = "Name")]
    order: Option<String>,
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

impl Act for Start {
    fn request(self, machine: MachineName, who: &Who) -> Result<Request, Problem> {
        let order = order(self.order.as_ref())?;
        Ok(Request::StartOrder { machine, order, by: by(who, self.by)? })
    }
}

/// An order ends at a printer.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Finish {
    #[schemars(with = "Name")]
    order: Option<String>,
    /// The boards that were made, where known.
    #[schemars(with = "Option<Count>")]
    made: Option<u64>,
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

impl Act for Finish {
    fn request(self, machine: MachineName, who: &Who) -> Result<Request, Problem> {
        let (order, made) = (order(self.order.as_ref())?, within("made", self.made)?);
        Ok(Request::FinishOrder { machine, order, made, by: by(who, self.by)? })
    }
}

/// Somebody begins to mend it: its alarms are suppressed meanwhile.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct BeginMaintenance {
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
    #[schemars(with = "Text")]
    why: Option<String>,
}

impl Act for BeginMaintenance {
    fn request(self, machine: MachineName, who: &Who) -> Result<Request, Problem> {
        let (by, why) = (by(who, self.by)?, why(self.why.as_deref())?);
        Ok(Request::BeginMaintenance { machine, by, why })
    }
}

/// It is mended.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct EndMaintenance {
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
    /// Taken, and not kept.
    #[schemars(with = "Option<Text>")]
    why: Option<String>,
}

impl Act for EndMaintenance {
    fn request(self, machine: MachineName, who: &Who) -> Result<Request, Problem> {
        if self.why.is_some() {
            why(self.why.as_deref())?;
        }
        Ok(Request::EndMaintenance { machine, by: by(who, self.by)? })
    }
}
