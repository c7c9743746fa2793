//! Pictures of whole pages, kept for people to look at.

use super::{Browser, good};
use crate::root;

impl Browser {
    /// Keeps a picture of the whole page as `target/screenshots/NAME-WIDTH.png`.
    pub async fn picture(&mut self, name: &str) {
        let tall = self.run("return document.documentElement.scrollHeight").await;
        self.measure(u32::try_from(tall.as_u64().unwrap_or_default()).unwrap_or_default()).await;
        let shot = good("the picture", self.driver.screenshot().await);
        let folder = root().join("target/screenshots");
        good("its folder", std::fs::create_dir_all(&folder));
        let file = folder.join(format!("{name}-{}.png", self.width));
        good("its file", std::fs::write(file, shot));
        self.resize(self.width).await;
    }
}
