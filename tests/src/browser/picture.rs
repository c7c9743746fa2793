//! Pictures of whole pages, kept for people to look at.

use serde_json::json;
use thirtyfour::support::base64_decode;

use super::{Browser, good};
use crate::root;

impl Browser {
    /// Keeps a picture of the whole page as `target/screenshots/NAME-WIDTH.png`.
    pub async fn picture(&self, name: &str) {
        let size = self.tell("Page.getLayoutMetrics", json!({})).await;
        let clip = json!({
            "x": 0, "y": 0, "scale": 1,
            "width": self.width, "height": size["cssContentSize"]["height"],
        });
        let shot = json!({ "format": "png", "captureBeyondViewport": true, "clip": clip });
        let shot = self.tell("Page.captureScreenshot", shot).await;
        let bytes = good("the picture", base64_decode(shot["data"].as_str().unwrap_or_default()));
        let folder = root().join("target/screenshots");
        good("its folder", std::fs::create_dir_all(&folder));
        let file = folder.join(format!("{name}-{}.png", self.width));
        good("its file", std::fs::write(file, bytes));
    }
}
