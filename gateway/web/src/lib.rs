//! What people and programs see over HTTP.
//!
//! The pages and the API know the domain and one small handle: they visit the site task and read
//! what it shows. They hold no state of their own and never see the ledger or a protocol.

mod actions;
mod guard;
mod handle;
mod health;
mod problem;
mod views;

use std::sync::Arc;

use axum::Router;
use axum::routing::{get, post};

pub use handle::{Look, SiteHandle, Unavailable, Visit};
pub use health::Readiness;

/// Largest request body taken, in bytes.
const LARGEST_BODY: usize = 16 * 1024;

/// What the routes work with.
#[derive(Clone)]
pub struct Surface {
    /// The way to the site task.
    pub site: SiteHandle,
    /// Whether the gateway can do its work.
    pub readiness: Arc<Readiness>,
    /// Gives the metrics in Prometheus' text format 0.0.4.
    pub metrics: Arc<dyn Fn() -> String + Send + Sync>,
}

/// All routes.
pub fn router(surface: Surface) -> Router {
    let api = Router::new()
        .route("/stencils", get(views::stencils))
        .route("/stencils/{code}", get(views::stencil))
        .route("/stencils/{code}/{action}", post(actions::on_stencil))
        .route("/machines", get(views::machines))
        .route("/machines/{name}", get(views::machine))
        .route("/machines/{name}/{action}", post(actions::on_machine));
    Router::new()
        .nest("/api/v1", api)
        .route("/healthz", get(health::alive))
        .route("/readyz", get(health::ready))
        .route("/metrics", get(health::metrics))
        .fallback(problem::no_such_page)
        .layer(axum::extract::DefaultBodyLimit::max(LARGEST_BODY))
        .layer(axum::middleware::from_fn(guard::loopback_names_only))
        .with_state(surface)
}
