//! Asking the gateway over HTTP, as `curl` would.

use std::net::SocketAddr;
use std::time::Duration;

use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::timeout;

/// Longest wait for an answer.
const LIMIT: Duration = Duration::from_secs(10);

/// An answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// Its status.
    pub status: u16,
    /// Its head, as sent.
    pub head: String,
    /// Its body.
    pub body: String,
}

impl Answer {
    /// The body as JSON.
    ///
    /// # Panics
    /// When it is none.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {}", self.body))
    }
}

/// `GET path`; none when nobody answers in time.
pub async fn get(address: SocketAddr, path: &str) -> Option<Answer> {
    let head = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    send(address, &head).await
}

/// `POST path` with a JSON body; none when nobody answers in time.
pub async fn post(address: SocketAddr, path: &str, body: &Value) -> Option<Answer> {
    let body = body.to_string();
    let request = format!(
        "POST {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    send(address, &request).await
}

/// Sends these bytes as they are; none when nobody answers in time.
pub async fn send(address: SocketAddr, request: &str) -> Option<Answer> {
    let exchange = async {
        let mut stream = TcpStream::connect(address).await.ok()?;
        stream.write_all(request.as_bytes()).await.ok()?;
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).await.ok()?;
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let (head, body) = text.split_once("\r\n\r\n")?;
        let status = head.split(' ').nth(1)?.parse().ok()?;
        Some(Answer { status, head: head.to_owned(), body: body.to_owned() })
    };
    timeout(LIMIT, exchange).await.ok().flatten()
}
