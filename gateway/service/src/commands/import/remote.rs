//! Handing a list to the gateway that has the ledger.

use anyhow::Context as _;
use axum::body::Bytes;
use axum::http::{Request, StatusCode, header};
use http_body_util::{BodyExt as _, Full};
use hyper_util::rt::TokioIo;
use serde_json::Value;
use stencilward_exchange::Form;
use tokio::net::TcpStream;

use super::Outcome;
use crate::commands::TOKEN;

/// Sends the list to the gateway that listens there.
pub(super) async fn import(
    listen: &str,
    form: Form,
    list: Vec<u8>,
    by: Option<&str>,
) -> anyhow::Result<Outcome> {
    let by = by.map(|by| format!("?by={}", escaped(by))).unwrap_or_default();
    let request = Request::post(format!("/api/v1/import/stencils{by}"))
        .header(header::HOST, listen)
        .header(header::CONTENT_TYPE, form.media_type());
    let request = match std::env::var(TOKEN) {
        Ok(token) => request.header(header::AUTHORIZATION, format!("Bearer {}", token.trim())),
        Err(_) => request,
    };
    let request = request.body(Full::new(Bytes::from(list)))?;
    let (status, answer) = exchange(listen, request).await.with_context(|| {
        format!(
            "a gateway has the ledger, but none answers at {listen}: see that it runs with this \
             configuration, or stop it and import again"
        )
    })?;
    if status == StatusCode::OK || status == StatusCode::UNPROCESSABLE_ENTITY {
        return Ok(outcome(&answer));
    }
    let detail = answer["detail"].as_str().unwrap_or("it gave no reason");
    anyhow::bail!("the gateway at {listen} refuses the list: {detail}")
}

async fn exchange(
    listen: &str,
    request: Request<Full<Bytes>>,
) -> anyhow::Result<(StatusCode, Value)> {
    let stream = TcpStream::connect(listen).await?;
    let (mut sender, connection) =
        hyper::client::conn::http1::handshake(TokioIo::new(stream)).await?;
    let connection = tokio::spawn(connection);
    let response = sender.send_request(request).await?;
    let status = response.status();
    let body = response.into_body().collect().await?.to_bytes();
    connection.abort();
    Ok((status, serde_json::from_slice(&body)?))
}

fn outcome(answer: &Value) -> Outcome {
    let count = |key: &str| answer[key].as_u64().unwrap_or(0);
    let list = |key: &str| answer[key].as_array().cloned().unwrap_or_default();
    let fault = |fault: &Value| {
        let column = fault["column"].as_str().map(|name| format!(", {name}")).unwrap_or_default();
        let said = fault["fault"].as_str().unwrap_or_default();
        format!("line {}{column}: {said}", fault["line"])
    };
    Outcome {
        new: count("new"),
        revised: count("revised"),
        same: count("same"),
        faults: list("faults").iter().map(fault).collect(),
        changes: Vec::new(),
    }
}

/// As a value of a query (RFC 3986, 2.1): all but the unreserved characters by their bytes.
fn escaped(text: &str) -> String {
    let mut escaped = String::new();
    for byte in text.bytes() {
        match byte {
            b'-' | b'.' | b'_' | b'~' | b'0'..=b'9' | b'A'..=b'Z' | b'a'..=b'z' => {
                escaped.push(char::from(byte));
            }
            byte => escaped.push_str(&format!("%{byte:02X}")),
        }
    }
    escaped
}
