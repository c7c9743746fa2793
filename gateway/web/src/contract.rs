//! The API's contract: an OpenAPI document, made of one table of operations and of the types that
//! handlers read and answer.

mod document;
mod operation;
mod operations;
pub(crate) mod shapes;

use std::sync::LazyLock;

use axum::http::header;
use axum::response::IntoResponse;

static DOCUMENT: LazyLock<String> = LazyLock::new(openapi);

/// The OpenAPI document, as it is served.
#[must_use]
pub fn openapi() -> String {
    let document = document::document(&operations::all());
    let mut text = serde_json::to_string_pretty(&document).unwrap_or_default();
    text.push('\n');
    text
}

/// `GET /openapi.json`.
pub(crate) async fn served() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "application/json")], DOCUMENT.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `STENCILWARD_WRITE=1` writes the document anew.
    #[test]
    fn the_published_document_is_the_one_that_is_served() {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/openapi.json");
        if std::env::var_os("STENCILWARD_WRITE").is_some() {
            std::fs::write(file, openapi()).unwrap();
        }
        let published = std::fs::read_to_string(file).unwrap_or_default();
        assert!(published == openapi(), "STENCILWARD_WRITE=1 writes gateway/web/openapi.json anew");
    }
}
