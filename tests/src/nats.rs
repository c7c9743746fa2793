//! A NATS server of our own ([`Service`]) with JetStream, whose streams it keeps in files.

use std::net::SocketAddr;
use std::process::Command;

use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufStream};
use tokio::net::TcpStream;

use crate::missing;
use crate::service::{Server, Service, Site};

/// A server that stands alone and lets everybody in.
#[derive(Debug, Clone, Copy)]
pub struct JetStream;

/// A running server.
pub type Nats = Service<JetStream>;

impl Nats {
    /// Starts a server and waits until it answers.
    ///
    /// # Panics
    /// As for [`Service::run`].
    pub async fn start() -> Option<Self> {
        Self::run(JetStream).await
    }
}

impl Server for JetStream {
    const NAME: &'static str = "nats";
    const IMAGE: &'static str = "nats:2";
    const PORTS: &'static [u16] = &[4222];
    const CONFIGURATION: &'static str = "/etc/nats";
    const DATA: &'static str = "/data";
    const LISTENS: &'static str = "Server is ready";

    fn files(&self, site: &Site) -> Vec<(&'static str, String)> {
        let text = format!(
            "listen: \"{}:{}\"\njetstream {{ store_dir: \"{}\" }}\n",
            site.address,
            site.ports[0],
            site.data.display()
        );
        vec![("nats-server.conf", text)]
    }

    fn command(&self, site: &Site) -> Vec<String> {
        let file = site.configuration.join("nats-server.conf");
        vec!["--config".to_owned(), file.display().to_string()]
    }

    fn programs(&self, site: &Site) -> Option<Vec<Command>> {
        let program = missing::program("nats-server", "Debian package nats-server")?;
        let mut command = Command::new(program);
        command.args(self.command(site));
        Some(vec![command])
    }

    async fn hello(&self, address: SocketAddr) -> Result<(), String> {
        match ping(address).await {
            Ok(answer) if answer == "PONG" => Ok(()),
            Ok(answer) => Err(format!("it answered {answer:?}")),
            Err(why) => Err(why.to_string()),
        }
    }
}

/// INFO, CONNECT, PING and PONG of the NATS client protocol (docs.nats.io, Client Protocol).
async fn ping(address: SocketAddr) -> std::io::Result<String> {
    let mut stream = BufStream::new(TcpStream::connect(address).await?);
    let mut line = String::new();
    stream.read_line(&mut line).await?;
    if !line.starts_with("INFO ") {
        return Ok(line);
    }
    stream.write_all(b"CONNECT {\"verbose\":false}\r\nPING\r\n").await?;
    stream.flush().await?;
    line.clear();
    stream.read_line(&mut line).await?;
    Ok(line.trim_end().to_owned())
}
