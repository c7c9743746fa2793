//! Orders: released, listed, and which stencils are right for one.

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, header};
use serde::Deserialize;
use serde_json::{Map, Value, json};
use stencilward_domain::decision::Decision;
use stencilward_domain::event::Position;
use stencilward_domain::names::{MachineName, OrderName};
use stencilward_domain::reason::Reason;
use stencilward_domain::signal::OrderSpec;
use stencilward_domain::site::{Reply, Request, Site};
use stencilward_domain::time::Timestamp;
use stencilward_exchange::{Form, orders};

use crate::Surface;
use crate::actions::answer;
use crate::door::Who;
use crate::lists::{faulty, form_of, whole};
use crate::problem::Problem;
use crate::said::{bad, by};
use crate::views::decision_view;

/// Largest list of orders taken, in bytes.
pub(crate) const LARGEST_LIST: usize = 256 * 1024;

/// Who releases a list of orders.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Release {
    by: Option<String>,
}

/// `POST /api/v1/orders`: one order as JSON, or a list of them.
pub(crate) async fn release(
    State(surface): State<Surface>,
    query: Result<Query<Release>, QueryRejection>,
    who: Who,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Json<Value>, Problem> {
    let Query(release) = query.map_err(|rejection| bad(rejection.body_text()))?;
    let body = whole(body)?;
    let kind = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    let one = kind.is_some_and(|kind| kind.split(';').next() == Some("application/json"));
    let (form, body, claimed) = if one {
        let (order, claimed) = apart(&body)?;
        (Form::JsonLines, Bytes::from(order), claimed.or(release.by))
    } else {
        (form_of(&headers)?, body, release.by)
    };
    let who = by(who.or_claimed(claimed).as_deref())?;
    let specs = orders::read(form, &body).map_err(|faults| faulty(&faults))?;
    let (count, mut last) = (specs.len(), Position(0));
    for spec in specs {
        match surface.site.ask(Request::ReleaseOrder { spec, by: who.clone() }).await? {
            Reply::Done(position) => last = position,
            other => return answer(other),
        }
    }
    Ok(Json(json!({ "done": true, "orders": count, "event": last })))
}

/// One order as a line of its own, and who releases it.
fn apart(body: &[u8]) -> Result<(String, Option<String>), Problem> {
    let read = serde_json::from_slice::<Map<String, Value>>(body);
    let mut said = read.map_err(|error| bad(format!("the body is no JSON object: {error}")))?;
    let who = match said.remove("by") {
        None | Some(Value::Null) => None,
        Some(Value::String(who)) => Some(who),
        Some(_) => return Err(bad("by is no text: write a name")),
    };
    Ok((Value::Object(said).to_string(), who))
}

/// `GET /api/v1/orders`.
pub(crate) async fn orders(State(surface): State<Surface>) -> Result<Json<Value>, Problem> {
    let list = surface.site.look(|site, _| {
        let all = site.state().orders.values();
        all.map(|order| order_view(site, order)).collect::<Vec<_>>()
    });
    Ok(Json(json!({ "orders": list.await? })))
}

/// `GET /api/v1/orders/{order}`.
pub(crate) async fn order(
    State(surface): State<Surface>,
    Path(name): Path<String>,
) -> Result<Json<Value>, Problem> {
    let missing = || Problem::not_found("order", &name);
    let wanted = OrderName::new(&name).map_err(|_| missing())?;
    let found = surface.site.look(move |site, now| whole_order(site, &wanted, now)).await?;
    found.map(Json).ok_or_else(missing)
}

fn whole_order(site: &Site, name: &OrderName, now: Timestamp) -> Option<Value> {
    let order = site.state().orders.get(name)?;
    let mut view = order_view(site, order);
    if let Value::Object(fields) = &mut view {
        let stencils = right_stencils(site, name, now);
        let stencils: Vec<Value> = stencils.iter().map(decision_view).collect();
        fields.insert("right_stencils".to_owned(), json!(stencils));
    }
    Some(view)
}

/// May they be taken for the order? Every stencil that is not wrong for it, those that may be
/// taken now before those that need something first.
fn right_stencils(site: &Site, order: &OrderName, now: Timestamp) -> Vec<Decision> {
    let case = site.case(now);
    let all = site.state().stencils.keys();
    let decisions = all.map(|code| case.take(code, None, Some(order)));
    let mut right: Vec<Decision> = decisions
        .filter(|decision| !decision.reasons.iter().any(|c| is_wrong(&c.reason)))
        .collect();
    right.sort_by_key(|decision| !decision.permitted());
    right
}

fn is_wrong(reason: &Reason) -> bool {
    matches!(
        reason,
        Reason::WrongProduct { .. }
            | Reason::WrongSide { .. }
            | Reason::WrongRevision { .. }
            | Reason::NotForOrder { .. }
    )
}

fn order_view(site: &Site, order: &OrderSpec) -> Value {
    let machines = site.state().machines.iter();
    let at: Vec<&MachineName> = machines
        .filter(|(_, machine)| machine.works_on(&order.order))
        .map(|(name, _)| name)
        .collect();
    json!({
        "order": order.order,
        "product": order.product,
        "side": order.side,
        "revision": order.revision,
        "quantity": order.quantity,
        "panels_per_stroke": order.panels_per_stroke,
        "strokes_per_panel": order.strokes_per_panel,
        "setup_strokes": order.setup_strokes,
        "stencils": order.stencils,
        "running_at": at,
    })
}
