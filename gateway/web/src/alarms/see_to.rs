//! What people do with alarms, one POST each: the same with all that are named.

use std::collections::BTreeSet;
use std::time::Duration;

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::json;
use stencilward_domain::alarm::AlarmKind;
use stencilward_domain::event::Position;
use stencilward_domain::site::{AlarmAct, Reply, Request};

use super::id;
use crate::contract::shapes::{Count, EventNumber, Text};
use crate::door::Who;
use crate::problem::Problem;
use crate::repeat::Asking;
use crate::said::{Body, bad, by, count, needed, why};

/// Something that is done with alarms.
pub(crate) trait Act: DeserializeOwned + Send + 'static {
    /// With which, and by whom.
    fn named(&mut self) -> (Vec<String>, Option<String>);

    /// What.
    fn act(self) -> Result<AlarmAct, Problem>;
}

/// With how many it was done, and with which it could not be.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Seen {
    /// With how many.
    done: usize,
    /// The event that says so.
    #[schemars(with = "EventNumber")]
    event: Position,
    refused: Vec<Refused>,
}

/// An alarm with which it could not be done.
#[derive(Serialize, JsonSchema)]
struct Refused {
    alarm: String,
    why: String,
}

/// `POST /api/v1/alarms/...`. What cannot be done with one keeps nobody from the others.
pub(crate) async fn see_to<A: Act>(
    who: Who,
    Asking(site): Asking,
    Body(mut said): Body<A>,
) -> Result<Response, Problem> {
    let (alarms, claimed) = said.named();
    let (act, by) = (said.act()?, by(&who, claimed)?);
    if alarms.is_empty() {
        return Err(bad("alarms is empty: name at least one by its id"));
    }
    let ids = alarms.iter().map(|text| id(text)).collect::<Result<Vec<_>, _>>()?;
    if ids.iter().any(|id| id.kind == AlarmKind::LedgerTrouble) {
        let detail = "the ledger's trouble is live only: it ends when the ledger takes writes";
        return Err(Problem::new(StatusCode::CONFLICT, detail));
    }
    let asked = ids.iter().collect::<BTreeSet<_>>().len();
    let reply = site.ask(Request::Alarms { alarms: ids, act, by }).await?;
    let Reply::Alarms { event, refused } = reply else {
        return crate::actions::answer(reply);
    };
    let refused: Vec<Refused> =
        refused.into_iter().map(|(id, why)| Refused { alarm: id.to_string(), why }).collect();
    if refused.len() == asked {
        let first = refused.first().map_or("", |refused| refused.why.as_str());
        let problem = Problem::new(StatusCode::CONFLICT, first);
        return Err(problem.with("refused", json!(refused)));
    }
    Ok(Json(Seen { done: asked - refused.len(), event, refused }).into_response())
}

fn comment(text: Option<&str>) -> Result<String, Problem> {
    needed("comment", "what there is to say", text)
}

macro_rules! acts {
    ($(
        $(#[doc = $doc:literal])+
        $name:ident { $($(#[doc = $about:literal])* $field:ident: $kind:ty as $shape:literal,)* }
        $said:ident => $act:expr;
    )+) => {$(
        $(#[doc = $doc])+
        #[derive(Deserialize, JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub(crate) struct $name {
            /// Their ids.
            #[schemars(length(min = 1))]
            alarms: Vec<String>,
            /// Needed where nobody is signed in.
            #[schemars(with = "Option<Text>")]
            by: Option<String>,
            $($(#[doc = $about])* #[schemars(with = $shape)] $field: Option<$kind>,)*
        }

        impl Act for $name {
            fn named(&mut self) -> (Vec<String>, Option<String>) {
                (std::mem::take(&mut self.alarms), self.by.take())
            }

            fn act(self) -> Result<AlarmAct, Problem> {
                let $said = self;
                $act
            }
        }
    )+};
}

acts! {
    /// Somebody has seen them.
    Acknowledge { comment: String as "Option<Text>", }
    said => {
        let comment = said.comment.map(|said| comment(Some(&said))).transpose()?;
        Ok(AlarmAct::Acknowledge { comment })
    };
    /// What latched is over.
    Reset { comment: String as "Option<Text>", }
    said => {
        let comment = said.comment.map(|said| comment(Some(&said))).transpose()?;
        Ok(AlarmAct::Reset { comment })
    };
    /// Silent for a while.
    Shelve {
        /// For how long.
        minutes: u64 as "Count",
        why: String as "Text",
    }
    said => {
        let minutes = count("minutes", said.minutes)?;
        let span = Duration::from_secs(minutes.saturating_mul(60));
        Ok(AlarmAct::Shelve { span, why: why(said.why.as_deref())? })
    };
    /// No longer silent.
    Unshelve {}
    _said => Ok(AlarmAct::Unshelve);
    /// Out of service until somebody returns them.
    TakeOut { why: String as "Text", }
    said => Ok(AlarmAct::TakeOut { why: why(said.why.as_deref())? });
    /// Back in service.
    Return {}
    _said => Ok(AlarmAct::Return);
    /// Something to say of them.
    Comment { comment: String as "Text", }
    said => Ok(AlarmAct::Comment { comment: comment(said.comment.as_deref())? });
}
