//! A real browser, used as people use it: by what they see, hear and type.
//!
//! Debian's Chromium without a window, driven over WebDriver (W3C) by its own driver. Each
//! [`Browser`] is a fresh person at a fresh machine: a driver, a browser and a profile of its own.

mod axe;
mod command;
mod finding;
mod picture;

use std::fmt::Debug;
use std::net::SocketAddr;
use std::path::Path;
use std::time::Duration;

use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Map, Value, json};

use crate::child::Child;
use crate::free_port::free_port;
use crate::missing;
use crate::wait::eventually;
pub use axe::Axe;
use command::Command;
pub use finding::{ENTER, TAB, Thing};

/// How long something may take to show.
pub const LIMIT: Duration = Duration::from_secs(20);

/// How a browser is set up.
#[derive(Debug, Clone, Copy)]
pub struct Setup {
    /// Width of the page in CSS pixels.
    pub width: u32,
    /// What the person reads, as in `Accept-Language`.
    pub language: &'static str,
    /// False: it runs no script of any page.
    pub scripts: bool,
}

impl Setup {
    /// A handheld: 360 pixels.
    pub const HANDHELD: Self = Self { width: 360, language: "en-GB,en", scripts: true };
    /// A desk.
    pub const DESK: Self = Self { width: 1280, ..Self::HANDHELD };
}

/// A running browser. Dropping it ends it.
pub struct Browser {
    driver: Client,
    base: String,
    width: u32,
    // In this order: the driver ends its browser before the profile goes.
    _process: Child,
    _profile: tempfile::TempDir,
}

impl Browser {
    /// A browser that looks at what is served there; none, said aloud, where it is not installed.
    ///
    /// # Panics
    /// When it cannot be started, and where it is missing and `CI=true`.
    pub async fn open(at: SocketAddr, setup: Setup) -> Option<Self> {
        let binary = missing::program("chromium", "Debian package chromium")?;
        let program = missing::program("chromedriver", "Debian package chromium-driver")?;
        let profile = tempfile::tempdir().unwrap_or_else(|why| panic!("no folder: {why}"));
        let port = free_port();
        let mut command = std::process::Command::new(program);
        command.arg(format!("--port={port}"));
        let mut process = Child::start(&command);
        let ready = |line: &str| line.contains("started successfully").then_some(());
        process.line("that it is ready", LIMIT, ready).await;
        let capabilities = capabilities(&binary.to_string_lossy(), profile.path(), setup);
        let driver = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{port}"))
            .await;
        let driver = good("a browser", driver);
        let base = format!("http://{at}");
        let mut browser =
            Self { driver, base, width: setup.width, _process: process, _profile: profile };
        browser.resize(setup.width).await;
        let off = json!({ "value": !setup.scripts });
        browser.tell("Emulation.setScriptExecutionDisabled", off).await;
        Some(browser)
    }

    /// Ends it in order, which is quicker than dropping it.
    pub async fn close(self) {
        self.driver.close().await.ok();
    }

    /// Goes to a page of the gateway.
    pub async fn goto(&self, path: &str) {
        good("going there", self.driver.goto(&format!("{}{path}", self.base)).await);
    }

    /// Loads the page again.
    pub async fn reload(&self) {
        good("loading again", self.driver.refresh().await);
    }

    /// The path of the page it shows, with what is asked for in it.
    pub async fn path(&self) -> String {
        let url = good("the address", self.driver.current_url().await).to_string();
        url.strip_prefix(&self.base).unwrap_or(&url).to_owned()
    }

    /// Waits until it shows this page.
    pub async fn arrives(&self, path: &str) {
        eventually(&format!("the browser is at {path}"), LIMIT, async || {
            let at = self.path().await;
            if at == path { Ok(()) } else { Err(at) }
        })
        .await;
    }

    /// What stands on the page, as it is read.
    pub async fn text(&self) -> String {
        let text = self.run("return document.body.innerText").await;
        text.as_str().unwrap_or_default().to_owned()
    }

    /// Waits until this stands on the page.
    pub async fn sees(&self, text: &str) {
        eventually(&format!("{text:?} stands on the page"), LIMIT, async || {
            let seen = self.text().await;
            if seen.contains(text) { Ok(()) } else { Err(seen) }
        })
        .await;
    }

    /// Waits until this stands on the page no more.
    pub async fn misses(&self, text: &str) {
        eventually(&format!("{text:?} is gone from the page"), LIMIT, async || {
            let seen = self.text().await;
            if seen.contains(text) { Err(seen) } else { Ok(()) }
        })
        .await;
    }

    /// Makes the page so wide.
    pub async fn resize(&mut self, width: u32) {
        self.width = width;
        self.measure(if width < 500 { 740 } else { width * 9 / 16 }).await;
    }

    async fn measure(&self, height: u32) {
        let metrics = json!({
            "width": self.width, "height": height, "deviceScaleFactor": 1,
            "mobile": self.width < 500,
        });
        self.tell("Emulation.setDeviceMetricsOverride", metrics).await;
    }

    /// By how many pixels the page is wider than the screen: then it must be pushed sideways to
    /// be read (WCAG 2.2, 1.4.10).
    pub async fn overflow(&self) -> i64 {
        let wide = self.run("return document.documentElement.scrollWidth").await;
        wide.as_i64().unwrap_or_default() - i64::from(self.width)
    }

    /// Has the page print itself: what stands on the paper (CSS `print`) is what is seen after.
    pub async fn on_paper(&self, on: bool) {
        let media = json!({ "media": if on { "print" } else { "" } });
        self.tell("Emulation.setEmulatedMedia", media).await;
    }

    /// What a script of the person who looks gives; none of the page's.
    pub async fn run(&self, script: &str) -> Value {
        good(script, self.driver.execute(script, Vec::new()).await)
    }

    async fn tell(&self, command: &str, parameters: Value) {
        good(command, self.driver.issue_cmd(Command::own(command, &parameters)).await);
    }
}

fn capabilities(binary: &str, profile: &Path, setup: Setup) -> Map<String, Value> {
    let profile = format!("--user-data-dir={}", profile.display());
    // Root has no sandbox; a container's /dev/shm is small; nothing may leave the machine.
    let arguments = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--hide-scrollbars",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-proxy-server",
        &profile,
    ];
    let preferences = json!({
        "intl.accept_languages": setup.language,
        "credentials_enable_service": false,
    });
    let options = json!({ "binary": binary, "args": arguments, "prefs": preferences });
    Map::from_iter([("goog:chromeOptions".to_owned(), options)])
}

/// What came of it.
fn good<T, E: Debug>(what: &str, came: Result<T, E>) -> T {
    came.unwrap_or_else(|why| panic!("{what}: {why:?}"))
}
