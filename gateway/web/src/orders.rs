//! Orders: released, listed, and which stencils are right for one.

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::decision::Decision;
use stencilward_domain::event::Position;
use stencilward_domain::names::{MachineName, OrderName, ProductName, StencilCode};
use stencilward_domain::reason::Reason;
use stencilward_domain::signal::{OrderSpec, Side};
use stencilward_domain::site::{Reply, Request, Site};
use stencilward_domain::time::Timestamp;
use stencilward_exchange::orders;

use crate::actions::answer;
use crate::contract::shapes::{self, Count, EventNumber, Name, SideWord, Text};
use crate::door::Who;
use crate::lists::{faulty, form_of, whole};
use crate::paging::{Paged, Paging, page};
use crate::problem::Problem;
use crate::repeat::Asking;
use crate::said::{MOST, bad, by, understood, within};
use crate::views::DecisionView;
use crate::{Surface, version};

/// Largest list of orders taken, in bytes.
pub(crate) const LARGEST_LIST: usize = 256 * 1024;

/// Who releases a list of orders.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Release {
    /// Needed where nobody is signed in and the body does not say it.
    #[schemars(with = "Text")]
    by: Option<String>,
}

/// An order to be released. A list has the same as columns.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Order {
    #[schemars(with = "Name")]
    order: OrderName,
    #[schemars(with = "Option<Name>")]
    product: Option<ProductName>,
    #[schemars(with = "Option<SideWord>")]
    side: Option<Side>,
    #[schemars(with = "Option<Name>")]
    revision: Option<ProductName>,
    /// Boards to make.
    #[schemars(with = "Option<shapes::OneOrMore>")]
    quantity: Option<OneOrMore>,
    /// Boards that one print covers.
    #[schemars(with = "Option<shapes::OneOrMore>")]
    panels_per_stroke: Option<OneOrMore>,
    /// Strokes for one panel: 2 where it is printed twice.
    #[schemars(with = "Option<shapes::OneOrMore>")]
    strokes_per_panel: Option<OneOrMore>,
    /// Strokes before the first board.
    #[schemars(with = "Option<Count>")]
    setup_strokes: Option<u64>,
    /// The stencils it may be printed with; none: any that fits.
    #[schemars(with = "Option<Vec<Name>>")]
    stencils: Option<Vec<StencilCode>>,
    /// Needed where nobody is signed in and the query does not say it.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
}

/// At least one of something.
#[derive(Clone, Copy, Deserialize)]
#[serde(try_from = "u64")]
struct OneOrMore(u32);

impl TryFrom<u64> for OneOrMore {
    type Error = String;

    fn try_from(number: u64) -> Result<Self, String> {
        let small = u32::try_from(number).ok().filter(|_| (1..=MOST).contains(&number));
        small.map(Self).ok_or_else(|| format!("{number} is not 1 to {MOST}"))
    }
}

impl Order {
    fn apart(self) -> Result<(OrderSpec, Option<String>), Problem> {
        let setup = within("setup_strokes", self.setup_strokes)?;
        let spec = OrderSpec {
            order: self.order,
            product: self.product,
            side: self.side,
            revision: self.revision.map(|revision| revision.as_str().to_owned()),
            quantity: self.quantity.map(|OneOrMore(count)| u64::from(count)),
            panels_per_stroke: self.panels_per_stroke.map(|OneOrMore(count)| count),
            strokes_per_panel: self.strokes_per_panel.map(|OneOrMore(count)| count),
            setup_strokes: setup.and_then(|setup| u32::try_from(setup).ok()),
            stencils: self.stencils.unwrap_or_default(),
        };
        Ok((spec, self.by))
    }
}

/// Orders were released.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Released {
    /// Always true.
    done: bool,
    /// How many.
    orders: usize,
    /// The last event that says so.
    #[schemars(with = "EventNumber")]
    event: Position,
}

/// `POST /api/v1/orders`: one order as JSON, or a list of them.
pub(crate) async fn release(
    State(surface): State<Surface>,
    query: Result<Query<Release>, QueryRejection>,
    who: Who,
    Asking(site): Asking,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let Query(release) = query.map_err(|rejection| bad(rejection.body_text()))?;
    let body = whole(body)?;
    let kind = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    let one = kind.is_some_and(|kind| kind.split(';').next() == Some("application/json"));
    let (specs, claimed) = if one {
        let said = serde_json::from_slice(&body);
        let said = said.map_err(|error| bad(format!("the body is no JSON: {error}")))?;
        let (spec, claimed) = understood::<Order>(said)?.apart()?;
        (vec![spec], claimed.or(release.by))
    } else {
        let specs = orders::read(form_of(&headers)?, &body).map_err(|faults| faulty(&faults))?;
        (specs, release.by)
    };
    let who = by(&who, claimed)?;
    let (count, mut last) = (specs.len(), Position(0));
    for (number, spec) in (1..).zip(specs) {
        // What is sent again after it broke off half-way is to be done.
        let site = if number == count { &site } else { &surface.site };
        match site.ask(Request::ReleaseOrder { spec, by: who.clone() }).await? {
            Reply::Done(position) => last = position,
            other => return answer(other),
        }
    }
    Ok(Json(Released { done: true, orders: count, event: last }).into_response())
}

/// Orders that are not finished, by their names.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Orders {
    orders: Vec<OrderView>,
    /// Where the list goes on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "String")]
    next: Option<String>,
}

/// `GET /api/v1/orders`.
pub(crate) async fn orders(
    State(surface): State<Surface>,
    paging: Result<Query<Paging>, QueryRejection>,
) -> Result<Paged<Orders>, Problem> {
    let paging = Paging::of(paging)?;
    let paged = surface.site.look(move |site, _| {
        let all = site.state().orders.iter();
        let all = all.map(|(name, order)| (name.as_str().to_owned(), order));
        page(all, &paging, "/api/v1/orders", |order| OrderView::of(site, order))
    });
    let (orders, next) = paged.await?;
    Ok(Paged::new(next.clone(), Orders { orders, next }))
}

/// An order with the stencils that are right for it.
#[derive(Serialize, JsonSchema)]
pub(crate) struct WholeOrder {
    #[serde(flatten)]
    order: OrderView,
    /// May each be taken, and if not, what it needs first; those that may come first.
    right_stencils: Vec<DecisionView>,
}

/// `GET /api/v1/orders/{order}`.
pub(crate) async fn order(
    State(surface): State<Surface>,
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let missing = || Problem::not_found("order", &name);
    let wanted = OrderName::new(&name).map_err(|_| missing())?;
    let found = surface.site.look(move |site, now| whole_order(site, &wanted, now)).await?;
    version::answer(&headers, &found.ok_or_else(missing)?)
}

fn whole_order(site: &Site, name: &OrderName, now: Timestamp) -> Option<WholeOrder> {
    let order = OrderView::of(site, site.state().orders.get(name)?);
    let right = right_stencils(site, name, now);
    Some(WholeOrder { order, right_stencils: right.iter().map(DecisionView::from).collect() })
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

/// An order that is not finished.
#[derive(Serialize, JsonSchema)]
struct OrderView {
    #[schemars(with = "Name")]
    order: OrderName,
    #[schemars(with = "Option<Name>")]
    product: Option<ProductName>,
    #[schemars(with = "Option<SideWord>")]
    side: Option<Side>,
    revision: Option<String>,
    quantity: Option<u64>,
    panels_per_stroke: Option<u32>,
    strokes_per_panel: Option<u32>,
    setup_strokes: Option<u32>,
    #[schemars(with = "Vec<Name>")]
    stencils: Vec<StencilCode>,
    /// The machines that work on it.
    #[schemars(with = "Vec<Name>")]
    running_at: Vec<MachineName>,
}

impl OrderView {
    fn of(site: &Site, order: &OrderSpec) -> Self {
        let machines = site.state().machines.iter();
        let at = machines.filter(|(_, machine)| machine.works_on(&order.order));
        Self {
            order: order.order.clone(),
            product: order.product.clone(),
            side: order.side,
            revision: order.revision.clone(),
            quantity: order.quantity,
            panels_per_stroke: order.panels_per_stroke,
            strokes_per_panel: order.strokes_per_panel,
            setup_strokes: order.setup_strokes,
            stencils: order.stencils.clone(),
            running_at: at.map(|(name, _)| name.clone()).collect(),
        }
    }
}
