//! Carries WebDriver commands to the driver: plain HTTP on loopback, one connection each.

use std::sync::Arc;
use std::time::Duration;

use http_body_util::{BodyExt as _, Full};
use hyper::body::Bytes;
use hyper::client::conn::http1;
use hyper::{Request, Response};
use hyper_util::rt::TokioIo;
use thirtyfour::error::{WebDriverError, WebDriverResult};
use thirtyfour::session::http::{Body, HttpClient};
use tokio::net::TcpStream;

/// Longest wait for an answer.
const LIMIT: Duration = Duration::from_secs(60);

/// The library's own client would bring a second TLS and much else.
pub(super) struct Carrier;

#[async_trait::async_trait]
impl HttpClient for Carrier {
    async fn send(&self, request: Request<Body<'_>>) -> WebDriverResult<Response<Bytes>> {
        let failed = |why: String| WebDriverError::RequestFailed(why);
        match tokio::time::timeout(LIMIT, exchange(request)).await {
            Ok(answer) => answer.map_err(|error| failed(error.to_string())),
            Err(_) => Err(failed(format!("no answer within {LIMIT:?}"))),
        }
    }

    async fn new(&self) -> Arc<dyn HttpClient> {
        Arc::new(Self)
    }
}

type Failure = Box<dyn std::error::Error + Send + Sync>;

async fn exchange(request: Request<Body<'_>>) -> Result<Response<Bytes>, Failure> {
    let (mut head, body) = request.into_parts();
    let authority = head.uri.authority().ok_or("a command without an address")?.to_string();
    let body = match body {
        Body::Empty => Vec::new(),
        Body::Json(json) => serde_json::to_vec(json)?,
    };
    head.headers.insert("host", authority.parse()?);
    head.uri = head.uri.path().parse()?;
    let stream = TcpStream::connect(authority).await?;
    stream.set_nodelay(true)?;
    let (mut sender, connection) = http1::handshake(TokioIo::new(stream)).await?;
    let driving = tokio::spawn(connection);
    let answer = sender.send_request(Request::from_parts(head, Full::<Bytes>::from(body))).await?;
    let (head, body) = answer.into_parts();
    let body = body.collect().await?.to_bytes();
    driving.abort();
    Ok(Response::from_parts(head, body))
}
