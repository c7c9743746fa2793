//! `stencilward ready [ADDRESS]`.

mod anybody;

use std::net::SocketAddr;
use std::process::ExitCode;
use std::str::FromStr;
use std::time::Duration;

use anyhow::Context as _;
use axum::http::{Request, StatusCode, header};
use http_body_util::{BodyExt as _, Empty, Limited};
use hyper::body::Bytes;
use hyper_util::rt::TokioIo;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::time::timeout;

/// Longest wait for the answer, and for the way to it.
const PATIENCE: Duration = Duration::from_secs(5);
/// Longest answer that is read, in bytes.
const LONGEST: usize = 4096;

/// Where on this computer a gateway listens, and whether over TLS.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Place {
    address: SocketAddr,
    secured: bool,
}

impl FromStr for Place {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (secured, rest) = match (text.strip_prefix("https://"), text.strip_prefix("http://")) {
            (Some(rest), _) => (true, rest),
            (_, Some(rest)) => (false, rest),
            _ => (false, text),
        };
        let address: SocketAddr = rest.trim_end_matches('/').parse().map_err(|_| {
            "write an address and a port, such as https://127.0.0.1:9464, or without TLS \
             http://127.0.0.1:9464"
        })?;
        if !address.ip().is_loopback() {
            return Err("it asks on this computer only: write 127.0.0.1 or [::1]; another \
                        computer's /readyz is asked with curl, which checks its certificate"
                .to_owned());
        }
        Ok(Self { address, secured })
    }
}

/// Says what the gateway says of its readiness. Exit status 0: ready; 1: not, or nobody answers.
pub(super) fn ready(place: Place) -> ExitCode {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let asked = runtime.map_err(anyhow::Error::from).and_then(|runtime| {
        runtime.block_on(async {
            let late = || format!("no answer within {} s", PATIENCE.as_secs());
            timeout(PATIENCE, ask(place)).await.with_context(late).flatten()
        })
    });
    match asked {
        Ok((StatusCode::OK, said)) => {
            println!("{said}");
            ExitCode::SUCCESS
        }
        Ok((_, said)) => {
            eprintln!("{said}");
            ExitCode::FAILURE
        }
        Err(error) => {
            eprintln!("no gateway answers at {}: {error:#}", place.address);
            ExitCode::FAILURE
        }
    }
}

async fn ask(place: Place) -> anyhow::Result<(StatusCode, String)> {
    let stream = TcpStream::connect(place.address).await?;
    if place.secured {
        let stream = anybody::secure(place.address.ip(), stream).await;
        exchange(stream.context("it speaks no TLS: ask http://")?, place).await
    } else {
        exchange(stream, place).await.context("it speaks no HTTP: with TLS ask https://")
    }
}

async fn exchange<S>(stream: S, place: Place) -> anyhow::Result<(StatusCode, String)>
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let request = Request::get("/readyz").header(header::HOST, place.address.to_string());
    let request = request.body(Empty::<Bytes>::new())?;
    let (mut sender, connection) =
        hyper::client::conn::http1::handshake(TokioIo::new(stream)).await?;
    let connection = tokio::spawn(connection);
    let response = sender.send_request(request).await?;
    let status = response.status();
    let body = Limited::new(response.into_body(), LONGEST).collect().await;
    connection.abort();
    let body = body.map_err(anyhow::Error::from_boxed)?.to_bytes();
    Ok((status, String::from_utf8_lossy(&body).trim_end().to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn with_tls_or_without() {
        let place = |text: &str| text.parse::<Place>().map(|place| place.secured);
        assert_eq!(place("https://127.0.0.1:9464"), Ok(true));
        assert_eq!(place("http://[::1]:9464/"), Ok(false));
        assert_eq!(place("127.0.0.1:9464"), Ok(false));
    }

    #[test]
    fn nowhere_else() {
        let why = "https://192.0.2.1:9464".parse::<Place>().unwrap_err();
        assert!(why.contains("on this computer only"), "{why}");
        let why = "gateway:9464".parse::<Place>().unwrap_err();
        assert!(why.contains("such as https://127.0.0.1:9464"), "{why}");
    }
}
