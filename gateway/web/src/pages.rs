//! The pages: what four people look at and do, shift by shift.
//!
//! Made whole on the server, so that they work without a script; with one they are live. Each
//! page is a file; what all have around them is in `layout`, every sentence in `words`.

mod about;
mod alarms;
mod assets;
mod event;
pub(crate) mod forms;
pub(crate) mod layout;
mod live;
mod machine;
mod machines;
mod scan;
mod shapes;
mod stencil;
mod stencils;
mod tag;
mod telling;
mod unattributed;
mod wear;
pub(crate) mod words;
mod worklist;

use axum::Router;
use axum::routing::{get, post};

use crate::Surface;
pub use words::Language;

/// Adds the pages' routes.
pub(crate) fn with_pages(router: Router<Surface>) -> Router<Surface> {
    let router = router
        .route("/", get(worklist::worklist))
        .route("/alarms", get(alarms::alarms))
        .route("/alarms/{action}", post(alarms::see_to))
        .route("/unattributed", get(unattributed::unattributed))
        .route("/unattributed/{event}/assign", post(unattributed::assign))
        .route("/wear", get(wear::wear))
        .route("/stencils/{code}/tag", get(tag::tag))
        .route("/stencils/{code}/tag.svg", get(tag::tag_svg))
        .route("/stencils/{code}/tag.pdf", get(tag::tag_pdf))
        .route("/scan", get(scan::scan).post(scan::scanned))
        .route("/machines", get(machines::machines))
        .route("/machines/{name}", get(machine::machine))
        .route("/machines/{name}/{action}", post(machine::act))
        .route("/stencils", get(stencils::stencils))
        .route("/stencils/{code}", get(stencil::stencil))
        .route("/stencils/{code}/{action}", post(stencil::act))
        .route("/events/{event}", get(event::event))
        .route("/events/{event}/correct", post(event::correct))
        .route("/about", get(about::about))
        .route("/live", get(live::live));
    assets::with_assets(router)
}
