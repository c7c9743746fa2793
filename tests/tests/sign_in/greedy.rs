//! Connections that send too much, or too slowly: they are ended, and others are served.

use std::net::SocketAddr;

use stencilward_tests::http;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::time::timeout;

use super::LIMIT;
use super::plant::Plant;

/// Sends this and no more. Gives the status it is answered with, 0 without one, once the gateway
/// ends the connection.
async fn status_at_end(address: SocketAddr, begin: String) -> u16 {
    let mut stream = TcpStream::connect(address).await.unwrap();
    stream.write_all(begin.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    let end = timeout(2 * LIMIT, stream.read_to_end(&mut answer)).await;
    end.expect("the gateway ends it").ok();
    let answer = String::from_utf8_lossy(&answer).into_owned();
    answer.split(' ').nth(1).map_or(0, |status| status.parse().unwrap())
}

#[tokio::test]
async fn slow_and_large_requests_hold_up_nobody() {
    let plant = Plant::new("127.0.0.1", "");
    let mut gateway = plant.run().await;
    let address = plant.address();
    let head = "POST /api/v1/stencils/ST-1/hold HTTP/1.1\r\nHost: localhost\r\n\
                Content-Type: application/json\r\n";
    let slow_head = (0..50).map(|_| tokio::spawn(status_at_end(address, head.to_owned())));
    let slow_head: Vec<_> = slow_head.collect();
    let body = format!("{head}Connection: close\r\nContent-Length: 100\r\n\r\n{{");
    let slow_body = tokio::spawn(status_at_end(address, body));
    let silent = tokio::spawn(status_at_end(address, String::new()));

    let many = (0..100).fold(head.to_owned(), |head, n| format!("{head}X-{n}: 1\r\n"));
    assert_eq!(status_at_end(address, format!("{many}\r\n")).await, 431, "many headers");
    let long = format!("{head}X: {}\r\n\r\n", "x".repeat(40_000));
    assert_eq!(status_at_end(address, long).await, 431, "long headers");
    let end = "Connection: close\r\n";
    let large = format!("{head}{end}Content-Length: 20000\r\n\r\n{}", "x".repeat(20_000));
    assert_eq!(status_at_end(address, large).await, 413, "a large body");
    // Two lengths, or a length and chunks, are how requests are smuggled (RFC 9112, 6.3).
    let two = format!("{head}{end}Content-Length: 2\r\nContent-Length: 3\r\n\r\n{{}}");
    assert_eq!(status_at_end(address, two).await, 400, "two lengths");
    let folded = "GET /healthz HTTP/1.1\r\nHost: localhost\r\nX: a\r\n b: c\r\n\r\n".to_owned();
    assert_eq!(status_at_end(address, folded).await, 400, "a folded header");

    let fair = http::get(address, "/healthz").await.expect("others are served meanwhile");
    assert_eq!(fair.status, 200);
    for slow in slow_head {
        let status = slow.await.unwrap();
        assert!(status == 0 || status == 408, "{status}");
    }
    let status = slow_body.await.unwrap();
    assert!((400..500).contains(&status), "{status}");
    assert_eq!(silent.await.unwrap(), 0);
    gateway.stop();
}
