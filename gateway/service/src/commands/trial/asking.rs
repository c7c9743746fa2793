//! Asking the gateway that runs on this computer.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use serde_json::Value;

use crate::commands::TOKEN;

/// Longest wait for the gateway.
const PATIENCE: Duration = Duration::from_secs(10);
/// Largest answer taken, in bytes.
const LARGEST: u64 = 16 * 1024 * 1024;

/// A gateway, by where it listens.
pub(super) struct Gateway {
    pub(super) listen: String,
}

impl Gateway {
    pub(super) fn get(&self, path: &str) -> Result<Value, String> {
        self.ask(&format!(
            "GET {path} HTTP/1.0\r\nHost: {}\r\n{}\r\n",
            self.listen,
            authorization()
        ))
    }

    pub(super) fn post(&self, path: &str, body: &Value) -> Result<Value, String> {
        let body = body.to_string();
        self.ask(&format!(
            "POST {path} HTTP/1.0\r\nHost: {}\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\n{}\r\n{body}",
            self.listen,
            body.len(),
            authorization()
        ))
    }

    /// The answer's body; of a refusal the reason.
    fn ask(&self, request: &str) -> Result<Value, String> {
        let answer = self.exchange(request).map_err(|error| {
            let listen = &self.listen;
            format!("no gateway answers at {listen} ({error}): start it with stencilward run")
        })?;
        let strange = || format!("what answers at {} is no gateway", self.listen);
        let (head, body) = answer.split_once("\r\n\r\n").ok_or_else(strange)?;
        let status = head.split(' ').nth(1).ok_or_else(strange)?;
        let body: Value = serde_json::from_str(body).map_err(|_| strange())?;
        match (status, body["detail"].as_str()) {
            ("200", _) => Ok(body),
            (_, Some(detail)) => Err(detail.to_owned()),
            (_, None) => Err(strange()),
        }
    }

    fn exchange(&self, request: &str) -> std::io::Result<String> {
        let mut stream = TcpStream::connect(&self.listen)?;
        stream.set_read_timeout(Some(PATIENCE))?;
        stream.set_write_timeout(Some(PATIENCE))?;
        stream.write_all(request.as_bytes())?;
        let mut answer = String::new();
        stream.take(LARGEST).read_to_string(&mut answer)?;
        Ok(answer)
    }
}

/// The header line that shows the token, where one is set.
fn authorization() -> String {
    let token =
        std::env::var(TOKEN).ok().filter(|token| token.bytes().all(|b| b.is_ascii_graphic()));
    token.map(|token| format!("Authorization: Bearer {token}\r\n")).unwrap_or_default()
}

/// A name as a part of a path (RFC 3986, 2.1 and 2.3).
pub(super) fn escaped(name: &str) -> String {
    let plain =
        |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'.' | b'_' | b'~');
    name.bytes()
        .map(|byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odd_names_are_escaped() {
        assert_eq!(escaped("printer-1"), "printer-1");
        assert_eq!(escaped("line 1/é"), "line%201%2F%C3%A9");
    }

    #[test]
    fn a_gateway_that_is_not_there_is_told_with_what_to_do() {
        let nowhere = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let listen = nowhere.local_addr().unwrap().to_string();
        drop(nowhere);
        let why = Gateway { listen }.get("/").unwrap_err();
        assert!(why.contains("start it with stencilward run"), "{why}");
    }
}
