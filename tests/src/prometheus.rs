//! A Prometheus of our own ([`Service`]) that scrapes one address every two seconds.

use std::fmt::Write as _;
use std::net::SocketAddr;
use std::path::Path;
use std::process::Command;

use crate::http;
use crate::missing;
use crate::service::{Server, Service, Site};

/// What is scraped, and the rules that are worked out.
#[derive(Debug, Clone)]
pub struct Scraper {
    target: SocketAddr,
    rules: String,
}

/// A running Prometheus.
pub type Prometheus = Service<Scraper>;

impl Scraper {
    /// Scrapes this address, with rules in Prometheus' own format; empty text is none.
    #[must_use]
    pub fn new(target: SocketAddr, rules: &str) -> Self {
        Self { target, rules: rules.to_owned() }
    }
}

impl Prometheus {
    /// Starts one that scrapes this address with this file of rules, and waits until it is ready.
    ///
    /// # Panics
    /// As for [`Service::run`]; when the file cannot be read.
    pub async fn start(target: SocketAddr, rules: &Path) -> Option<Self> {
        let text = std::fs::read_to_string(rules);
        let text = text.unwrap_or_else(|why| panic!("{}: {why}", rules.display()));
        Self::run(Scraper::new(target, &text)).await
    }

    /// How many series an instant query gives.
    ///
    /// # Errors
    /// When it cannot be asked, or not so.
    pub async fn query(&self, expression: &str) -> Result<usize, String> {
        let mut path = String::from("/api/v1/query?query=");
        for byte in expression.bytes() {
            let _ = write!(path, "%{byte:02X}");
        }
        // Of HTTP/1.0 since no answer then comes in chunks.
        let request = format!("GET {path} HTTP/1.0\r\nHost: {}\r\n\r\n", self.address());
        let answer = http::send(self.address(), &request).await.ok_or("no answer")?;
        let body = answer.json();
        match body["data"]["result"].as_array() {
            Some(result) => Ok(result.len()),
            None => Err(body.to_string()),
        }
    }
}

impl Server for Scraper {
    const NAME: &'static str = "prometheus";
    const IMAGE: &'static str = "prom/prometheus:v3";
    const PORTS: &'static [u16] = &[9090];
    const CONFIGURATION: &'static str = "/etc/prometheus";
    const DATA: &'static str = "/prometheus";
    /// What it scrapes listens on loopback.
    const SHARES_NETWORK: bool = true;
    const LISTENS: &'static str = "Server is ready to receive web requests";

    fn files(&self, site: &Site) -> Vec<(&'static str, String)> {
        let text = format!(
            "global: {{ scrape_interval: 2s, evaluation_interval: 2s }}\n\
             rule_files: [{}/rules.yml]\n\
             scrape_configs:\n  - job_name: stencilward\n    static_configs: [{{ targets: [\"{}\"] }}]\n",
            site.configuration.display(),
            self.target
        );
        vec![("prometheus.yml", text), ("rules.yml", self.rules.clone())]
    }

    fn command(&self, site: &Site) -> Vec<String> {
        vec![
            format!("--config.file={}/prometheus.yml", site.configuration.display()),
            format!("--storage.tsdb.path={}", site.data.display()),
            format!("--web.listen-address={}:{}", site.address, site.ports[0]),
        ]
    }

    fn programs(&self, site: &Site) -> Option<Vec<Command>> {
        let program = missing::program("prometheus", "Debian package prometheus")?;
        let mut command = Command::new(program);
        command.args(self.command(site));
        Some(vec![command])
    }

    async fn hello(&self, address: SocketAddr) -> Result<(), String> {
        let answer = http::get(address, "/-/ready").await.ok_or("nobody answers")?;
        if answer.status == 200 { Ok(()) } else { Err(answer.head) }
    }
}
