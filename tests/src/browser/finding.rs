//! Finding things as people do: by what they are and what they are called, as the browser tells
//! screen readers (WebDriver, "Get Computed Label"; WAI-ARIA, accessible name).

use fantoccini::Locator;
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use serde_json::Value;

use super::command::Command;
use super::{Browser, LIMIT, good};
use crate::wait::eventually;

/// The Enter key (WebDriver, "Keyboard actions").
pub const ENTER: &str = "\u{e007}";

/// The Tab key.
pub const TAB: &str = "\u{e004}";

type Done<T> = Result<T, CmdError>;

/// What a person looks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thing {
    /// Something to press.
    Button,
    /// Somewhere to go.
    Link,
    /// Something to fill in, choose or tick.
    Field,
    /// A title.
    Heading,
    /// What folds up.
    Fold,
}

impl Thing {
    fn css(self) -> &'static str {
        match self {
            Self::Button => "button",
            Self::Link => "a[href]",
            Self::Field => "input:not([type=hidden]), select, textarea",
            Self::Heading => "h1, h2, h3",
            Self::Fold => "summary",
        }
    }
}

impl Browser {
    async fn label(&self, element: &Element) -> Done<String> {
        let label = self.driver.issue_cmd(Command::label(&element.element_id())).await?;
        Ok(label.as_str().unwrap_or_default().to_owned())
    }

    /// Those of this name, or whose name begins so, that can be seen.
    async fn named(&self, thing: Thing, name: &str) -> Done<Vec<Element>> {
        let (mut exactly, mut nearly) = (Vec::new(), Vec::new());
        for element in self.driver.find_all(Locator::Css(thing.css())).await? {
            let label = self.label(&element).await?;
            if !label.starts_with(name) || !element.is_displayed().await? {
                continue;
            }
            if label == name { exactly.push(element) } else { nearly.push(element) }
        }
        Ok(if exactly.is_empty() { nearly } else { exactly })
    }

    /// How many of this name can be seen at the moment.
    pub async fn count(&self, thing: Thing, name: &str) -> usize {
        good("looking", self.named(thing, name).await).len()
    }

    /// Waits until one of this name can be seen, and does something with the first.
    async fn with<T>(
        &self,
        thing: Thing,
        name: &str,
        mut act: impl AsyncFnMut(Element) -> Done<T>,
    ) -> T {
        eventually(&format!("the {thing:?} {name:?} can be used"), LIMIT, async || {
            // The page may show itself anew between the look and the act: then once more.
            let found = self.named(thing, name).await.map_err(|why| why.to_string())?;
            let found = found.into_iter().next();
            let element = found.ok_or("there is none");
            match element {
                Ok(element) => act(element).await.map_err(|why| why.to_string()),
                Err(none) => Err(format!("{none} in:\n{}", self.text().await)),
            }
        })
        .await
    }

    /// Waits until there is one.
    pub async fn finds(&self, thing: Thing, name: &str) {
        self.with(thing, name, async |_| Ok(())).await;
    }

    /// Presses a button, follows a link, ticks a box, unfolds.
    pub async fn press(&self, thing: Thing, name: &str) {
        self.with(thing, name, async |element| element.click().await).await;
    }

    /// Fills a field with this instead of what is in it.
    pub async fn fill(&self, name: &str, text: &str) {
        self.with(Thing::Field, name, async |field| {
            if field.tag_name().await? == "select" {
                return field.send_keys(text).await;
            }
            field.clear().await?;
            field.send_keys(text).await
        })
        .await;
    }

    /// What is in a field.
    pub async fn filled(&self, name: &str) -> String {
        self.with(Thing::Field, name, async |field| field.prop("value").await)
            .await
            .unwrap_or_default()
    }

    /// True when a box is ticked.
    pub async fn ticked(&self, name: &str) -> bool {
        self.with(Thing::Field, name, async |field| field.is_selected().await).await
    }

    /// Types on the keyboard, wherever the focus is; also keys such as [`ENTER`].
    pub async fn types(&self, keys: &str) {
        good("typing", self.driver.issue_cmd(Command::keys(keys)).await);
    }

    /// What has the focus: its kind and its name.
    pub async fn focused(&self) -> (String, String) {
        eventually("something has the focus", LIMIT, async || {
            let look = async || {
                let element = self.driver.active_element().await?;
                Ok((element.tag_name().await?, self.label(&element).await?))
            };
            look().await.map_err(|why: CmdError| why.to_string())
        })
        .await
    }

    /// True when whatever has the focus shows it (WCAG 2.2, 2.4.7): by an outline of its own.
    pub async fn shows_focus(&self) -> bool {
        let script = "const style = getComputedStyle(document.activeElement);
            return style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2";
        self.run(script).await == Value::Bool(true)
    }
}
