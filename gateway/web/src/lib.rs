//! What people and programs see over HTTP.
//!
//! The pages and the API know the domain and one small handle: they visit the site task and read
//! what it shows; what only the past can tell they ask of an [`Archive`]. They hold no state of
//! their own and never see the ledger or a protocol.

mod actions;
mod alarms;
mod archive;
mod board;
mod contract;
mod door;
mod events;
mod handle;
mod health;
mod lists;
mod orders;
mod pages;
mod paging;
mod past;
mod problem;
mod reload;
mod repeat;
mod said;
mod second_thoughts;
mod trials;
mod version;
mod views;

use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};
use jiff::tz::TimeZone;

pub use archive::{AlarmFigures, Archive, Coming, News, Outlook, Sums, Unread, Wear};
pub use board::{AlarmBoard, Standing};
pub use contract::openapi;
pub use door::{
    Changes, Confirmed, Door, DoorSettings, Fresh, Least, Limits, Network, Peer, People,
    PeopleError, PeopleFile, Person, Rate, Reason, Row, TABLE, Who, judge_password, judge_pin,
    may_use,
};
pub use handle::{Look, LookAndAsk, SiteHandle, Unavailable, Visit};
pub use health::Readiness;
pub use pages::Language;
pub use reload::{Fault, LinksAfter, NotReloaded, ReloadAsk, ReloadHandle, Reloaded};

/// Largest request body taken, in bytes, where no list is sent.
const LARGEST_BODY: usize = 16 * 1024;

/// What the routes work with.
#[derive(Clone)]
pub struct Surface {
    /// The way to the site task.
    pub site: SiteHandle,
    /// The way to the task that reads the configuration anew.
    pub reload: ReloadHandle,
    /// Whether the gateway can do its work.
    pub readiness: Arc<Readiness>,
    /// The alarms that stand.
    pub alarms: Arc<AlarmBoard>,
    /// Who may come in.
    pub door: Arc<Door>,
    /// Gives the metrics in Prometheus' text format 0.0.4.
    pub metrics: Arc<dyn Fn() -> String + Send + Sync>,
    /// Answers what only the ledger can.
    pub archive: Arc<dyn Archive>,
    /// What pages say of the plant.
    pub premises: Premises,
}

/// The plant as its pages show it.
#[derive(Debug, Clone)]
pub struct Premises {
    /// Its name.
    pub name: String,
    /// The zone in which times are shown.
    pub zone: TimeZone,
    /// The language for whoever wishes for none that is known.
    pub language: Language,
}

/// All routes.
pub fn router(surface: Surface) -> Router {
    let api = Router::new()
        .merge(door::api::api())
        .route("/alarms", get(alarms::alarms))
        .route("/alarms/report", get(past::alarms))
        .route("/alarms/{which}", get(alarms::alarm))
        .route("/reload", get(reload::preview).post(reload::reload))
        .route("/unattributed", get(second_thoughts::unattributed))
        .route("/unattributed/{event}/assign", post(second_thoughts::assign))
        .route("/events", get(events::events))
        .route("/events/live", get(events::live))
        .route("/events/{event}", get(events::event))
        .route("/events/{event}/correct", post(second_thoughts::correct))
        .route("/orders/{order}", get(orders::order))
        .route("/wear", get(past::wear))
        .route("/export/stencils", get(lists::export_stencils));
    let api = with_lists(with_acts(api));
    let kept = (Arc::new(repeat::Kept::default()), surface.site.clone());
    pages::with_pages(Router::new())
        .nest("/api/v1", api)
        .route("/openapi.json", get(contract::served))
        .route("/problems/{kind}", get(problem::explained))
        .route("/healthz", get(health::alive))
        .route("/readyz", get(health::ready))
        .route("/metrics", get(health::metrics))
        .merge(door::routes())
        .fallback(problem::no_such_page)
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(axum::middleware::from_fn_with_state(kept, repeat::repeat))
        .layer(axum::middleware::from_fn_with_state(surface.clone(), door::gate))
        .with_state(surface)
}

/// Adds what people look at and do of stencils, machines and alarms.
fn with_acts(api: Router<Surface>) -> Router<Surface> {
    use actions::{on_machine as machine, on_stencil as stencil};
    use alarms::see_to as alarm;
    api.route("/stencils", get(views::stencils))
        .route("/stencils/{code}", get(views::stencil))
        .route("/stencils/{code}/history", get(past::history))
        .route("/stencils/{code}/store", post(stencil::act::<stencil::Store>))
        .route("/stencils/{code}/take", post(stencil::act::<stencil::Take>))
        .route("/stencils/{code}/wash", post(stencil::act::<stencil::Wash>))
        .route("/stencils/{code}/strokes", post(stencil::act::<stencil::Strokes>))
        .route("/stencils/{code}/hold", post(stencil::act::<stencil::Hold>))
        .route("/stencils/{code}/release", post(stencil::act::<stencil::Release>))
        .route("/stencils/{code}/concession", post(stencil::act::<stencil::Concession>))
        .route("/stencils/{code}/withdraw", post(stencil::act::<stencil::Withdraw>))
        .route("/stencils/{code}/retire", post(stencil::act::<stencil::Retire>))
        .route("/machines", get(views::machines))
        .route("/machines/{name}", get(views::machine))
        .route("/machines/{name}/seat", post(machine::act::<machine::Seat>))
        .route("/machines/{name}/remove", post(machine::act::<machine::Remove>))
        .route("/machines/{name}/start", post(machine::act::<machine::Start>))
        .route("/machines/{name}/finish", post(machine::act::<machine::Finish>))
        .route(
            "/machines/{name}/begin-maintenance",
            post(machine::act::<machine::BeginMaintenance>),
        )
        .route("/machines/{name}/end-maintenance", post(machine::act::<machine::EndMaintenance>))
        .route("/machines/{name}/trial", get(trials::trial))
        .route("/machines/{name}/trial/compare", post(trials::compare))
        .route("/alarms/acknowledge", post(alarm::see_to::<alarm::Acknowledge>))
        .route("/alarms/comment", post(alarm::see_to::<alarm::Comment>))
        .route("/alarms/reset", post(alarm::see_to::<alarm::Reset>))
        .route("/alarms/shelve", post(alarm::see_to::<alarm::Shelve>))
        .route("/alarms/unshelve", post(alarm::see_to::<alarm::Unshelve>))
        .route("/alarms/take-out", post(alarm::see_to::<alarm::TakeOut>))
        .route("/alarms/return", post(alarm::see_to::<alarm::Return>))
}

/// Adds the routes that take a list, each with a limit of its own.
fn with_lists(api: Router<Surface>) -> Router<Surface> {
    let orders = post(orders::release).layer(DefaultBodyLimit::max(orders::LARGEST_LIST));
    let stencils = post(lists::import_stencils).layer(DefaultBodyLimit::max(lists::LARGEST_LIST));
    api.route("/orders", orders.get(orders::orders)).route("/import/stencils", stencils)
}
