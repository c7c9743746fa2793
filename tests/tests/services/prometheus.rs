//! Prometheus keeps a sample that it could scrape only once, and works out a rule.

use std::net::SocketAddr;
use std::time::Duration;

use stencilward_tests::prometheus::Scraper;
use stencilward_tests::service::{Service, Way};
use stencilward_tests::wait::eventually;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpListener;

use crate::life::{Keeps, live};

const LIMIT: Duration = Duration::from_secs(30);

/// The sample at any time, not only now.
const SAMPLE: &str = "last_over_time(invented_strokes_total[1h])";

const RULES: &str = "groups:\n- name: invented\n  rules:\n  \
                     - { record: invented:one, expr: vector(1) }\n";

/// Listens for one scrape and answers it; whoever comes later is refused.
async fn once() -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(async move {
        let (mut stream, _) = listener.accept().await.unwrap();
        drop(listener);
        let _ = stream.read(&mut [0; 4_096]).await;
        let body = "# TYPE invented_strokes_total counter\ninvented_strokes_total 7\n";
        let answer = format!(
            "HTTP/1.1 200 OK\r\nContent-Type: text/plain; version=0.0.4\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        stream.write_all(answer.as_bytes()).await.unwrap();
    });
    address
}

/// That this many series come.
async fn gives(service: &Service<Scraper>, expression: &str, series: usize) -> Result<(), String> {
    let count = service.query(expression).await?;
    if count == series { Ok(()) } else { Err(format!("{expression} gives {count} series")) }
}

impl Keeps for Scraper {
    async fn put(service: &Service<Self>) {
        for expression in [SAMPLE, "invented:one"] {
            eventually("a scrape", LIMIT, async || gives(service, expression, 1).await).await;
        }
    }

    async fn kept(service: &Service<Self>) -> Result<(), String> {
        gives(service, SAMPLE, 1).await
    }
}

#[tokio::test]
async fn in_a_container() {
    live(Scraper::new(once().await, RULES), Way::Container).await;
}

#[tokio::test]
async fn installed() {
    live(Scraper::new(once().await, RULES), Way::Process).await;
}
