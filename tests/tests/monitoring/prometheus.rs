//! A Prometheus of its own, as a local process of Debian's package.

use std::fmt::Write as _;
use std::net::SocketAddr;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, missing};

/// It ends when this is dropped.
pub(crate) struct Prometheus {
    address: SocketAddr,
    _child: Child,
}

impl Prometheus {
    /// Scrapes the gateway every two seconds and works out these rules.
    pub(crate) async fn start(folder: &Path, gateway: SocketAddr, rules: &Path) -> Option<Self> {
        let program = missing::program("prometheus", "Debian package prometheus")?;
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        let config = folder.join("prometheus.yml");
        let text = format!(
            "global: {{ scrape_interval: 2s, evaluation_interval: 2s }}\n\
             rule_files: [{}]\n\
             scrape_configs:\n  - job_name: stencilward\n    static_configs: [{{ targets: [\"{gateway}\"] }}]\n",
            rules.display()
        );
        std::fs::write(&config, text).unwrap();
        let mut command = Command::new(program);
        command.arg(format!("--config.file={}", config.display()));
        command.arg(format!("--storage.tsdb.path={}", folder.join("data").display()));
        command.arg(format!("--web.listen-address={address}"));
        let child = Child::start(&command);
        let ready = async || {
            let answer = http::get(address, "/-/ready").await.ok_or("nobody answers")?;
            if answer.status == 200 { Ok(()) } else { Err("not ready") }
        };
        eventually("Prometheus", Duration::from_secs(30), ready).await;
        Some(Self { address, _child: child })
    }

    /// How many series an instant query gives; the reason when it cannot be asked.
    pub(crate) async fn query(&self, expression: &str) -> Result<usize, String> {
        let mut path = String::from("/api/v1/query?query=");
        for byte in expression.bytes() {
            let _ = write!(path, "%{byte:02X}");
        }
        // Of HTTP/1.0 since no answer then comes in chunks.
        let request = format!("GET {path} HTTP/1.0\r\nHost: {}\r\n\r\n", self.address);
        let answer = http::send(self.address, &request).await.ok_or("no answer")?;
        let body = answer.json();
        match body["data"]["result"].as_array() {
            Some(result) => Ok(result.len()),
            None => Err(body.to_string()),
        }
    }
}
