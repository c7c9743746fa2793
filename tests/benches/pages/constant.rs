//! The same HTTP server with nothing behind it: one page, whatever is asked.

use axum::Router;
use axum::response::Html;

pub(crate) const AS_SERVER: &str = "as-constant-server";

pub(crate) fn serve(port: u16, weight: usize) {
    let page = "x".repeat(weight);
    tokio::runtime::Runtime::new().unwrap().block_on(async {
        let router = Router::new().fallback(move || {
            let page = page.clone();
            async move { Html(page) }
        });
        let listener = tokio::net::TcpListener::bind(("127.0.0.1", port)).await.unwrap();
        axum::serve(listener, router).await.unwrap();
    });
}
