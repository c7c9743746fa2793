//! A browser's connection: kept open, one question at a time.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

pub(crate) struct Client {
    address: SocketAddr,
    stream: TcpStream,
    read: Vec<u8>,
}

pub(crate) struct Answered {
    pub(crate) took: Duration,
    pub(crate) weight: usize,
}

impl Client {
    pub(crate) async fn connect(address: SocketAddr) -> Self {
        let stream = TcpStream::connect(address).await.unwrap();
        stream.set_nodelay(true).unwrap();
        Self { address, stream, read: Vec::new() }
    }

    pub(crate) async fn get(&mut self, path: &str) -> Answered {
        self.send(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\n\r\n", self.address)).await
    }

    pub(crate) async fn form(&mut self, path: &str, body: &str) -> Answered {
        let (address, length) = (self.address, body.len());
        self.send(&format!(
            "POST {path} HTTP/1.1\r\nHost: {address}\r\nContent-Length: {length}\r\n\
             Content-Type: application/x-www-form-urlencoded\r\n\r\n{body}"
        ))
        .await
    }

    /// Asks for a stream and reads it to nowhere.
    pub(crate) async fn follow(mut self, path: &str) {
        let request = format!("GET {path} HTTP/1.1\r\nHost: {}\r\n\r\n", self.address);
        self.stream.write_all(request.as_bytes()).await.unwrap();
        let mut nowhere = [0; 4_096];
        while self.stream.read(&mut nowhere).await.is_ok_and(|count| count > 0) {}
    }

    async fn send(&mut self, request: &str) -> Answered {
        let began = Instant::now();
        self.stream.write_all(request.as_bytes()).await.unwrap();
        self.read.clear();
        let (mut whole, mut weight) = (usize::MAX, 0);
        while self.read.len() < whole {
            let count = self.stream.read_buf(&mut self.read).await.unwrap();
            assert!(count > 0, "the connection ended: {request}");
            if whole == usize::MAX
                && let Some(end) = self.read.windows(4).position(|four| four == b"\r\n\r\n")
            {
                let head = String::from_utf8_lossy(&self.read[..end]).to_ascii_lowercase();
                assert!(head.starts_with("http/1.1 200"), "{request}{head}");
                let length = head.lines().find_map(|line| line.strip_prefix("content-length:"));
                weight = length.unwrap().trim().parse().unwrap();
                whole = end + 4 + weight;
            }
        }
        Answered { took: began.elapsed(), weight }
    }
}
