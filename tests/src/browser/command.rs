//! Commands to the driver that its library has no word for.

use fantoccini::wd::WebDriverCompatibleCommand;
use hyper::Method;
use serde_json::{Value, json};
use url::{ParseError, Url};

/// A command of the session: its path, and what is sent along.
#[derive(Debug)]
pub(super) struct Command {
    path: String,
    body: Option<Value>,
}

impl Command {
    /// The name that a screen reader tells (WebDriver, "Get Computed Label").
    pub(super) fn label(element: &str) -> Self {
        Self { path: format!("element/{element}/computedlabel"), body: None }
    }

    /// A command of the browser's own protocol, the Chrome DevTools Protocol.
    pub(super) fn own(name: &str, parameters: &Value) -> Self {
        let body = json!({ "cmd": name, "params": parameters });
        Self { path: "goog/cdp/execute".to_owned(), body: Some(body) }
    }

    /// Keys pressed and let go, one after the other, wherever the focus is.
    pub(super) fn keys(text: &str) -> Self {
        let stroke = |key: char| {
            let key = key.to_string();
            [json!({ "type": "keyDown", "value": key }), json!({ "type": "keyUp", "value": key })]
        };
        let strokes: Vec<Value> = text.chars().flat_map(stroke).collect();
        let board = json!({ "type": "key", "id": "keyboard", "actions": strokes });
        Self { path: "actions".to_owned(), body: Some(json!({ "actions": [board] })) }
    }
}

impl WebDriverCompatibleCommand for Command {
    fn endpoint(&self, base: &Url, session: Option<&str>) -> Result<Url, ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _: &Url) -> (Method, Option<String>) {
        match &self.body {
            Some(body) => (Method::POST, Some(body.to_string())),
            None => (Method::GET, None),
        }
    }
}
