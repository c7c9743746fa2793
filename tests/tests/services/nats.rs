//! NATS keeps a message of a stream, by its text protocol and JSON requests to JetStream
//! (docs.nats.io: Client Protocol, JetStream wire API).

use std::time::Duration;

use serde_json::{Value, json};
use stencilward_tests::nats::JetStream;
use stencilward_tests::service::{Service, Way};
use tokio::io::{AsyncBufReadExt as _, AsyncReadExt as _, AsyncWriteExt as _, BufStream};
use tokio::net::TcpStream;
use tokio::time::timeout;

use crate::life::{Keeps, live};

const LIMIT: Duration = Duration::from_secs(10);
const STREAM: &str = "INVENTED";
const SUBJECT: &str = "invented.kept";

/// The payload, and the same in base64 (RFC 4648), as the stream tells it.
const PAYLOAD: (&str, &str) = ("seven", "c2V2ZW4=");

/// Asks one question on a connection of its own, and gives the answer.
async fn ask(service: &Service<JetStream>, subject: &str, body: &str) -> Value {
    timeout(LIMIT, asked(service, subject, body)).await.expect("an answer in time").unwrap()
}

async fn asked(service: &Service<JetStream>, subject: &str, body: &str) -> std::io::Result<Value> {
    let mut stream = BufStream::new(TcpStream::connect(service.address()).await?);
    let question = format!(
        "CONNECT {{\"verbose\":false}}\r\nSUB answers 1\r\nPUB {subject} answers {}\r\n{body}\r\n",
        body.len()
    );
    stream.write_all(question.as_bytes()).await?;
    stream.flush().await?;
    loop {
        let mut line = String::new();
        stream.read_line(&mut line).await?;
        let words: Vec<&str> = line.split_whitespace().collect();
        match words[..] {
            ["MSG", .., length] => {
                let mut answer = vec![0; length.parse().unwrap()];
                stream.read_exact(&mut answer).await?;
                return Ok(serde_json::from_slice(&answer)?);
            }
            ["INFO", ..] => {}
            ref other => panic!("the server said {other:?}"),
        }
    }
}

impl Keeps for JetStream {
    async fn put(service: &Service<Self>) {
        let stream = json!({ "name": STREAM, "subjects": ["invented.>"], "storage": "file" });
        let request = format!("$JS.API.STREAM.CREATE.{STREAM}");
        let made = ask(service, &request, &stream.to_string()).await;
        assert_eq!(made["config"]["storage"], "file", "{made}");
        let stored = ask(service, SUBJECT, PAYLOAD.0).await;
        assert_eq!(stored, json!({ "stream": STREAM, "seq": 1 }));
    }

    async fn kept(service: &Service<Self>) -> Result<(), String> {
        let last = json!({ "last_by_subj": SUBJECT }).to_string();
        let answer = ask(service, &format!("$JS.API.STREAM.MSG.GET.{STREAM}"), &last).await;
        let message = &answer["message"];
        let same = message["seq"] == 1 && message["data"] == PAYLOAD.1;
        if same { Ok(()) } else { Err(answer.to_string()) }
    }
}

#[tokio::test]
async fn in_a_container() {
    live(JetStream, Way::Container).await;
}

#[tokio::test]
async fn installed() {
    live(JetStream, Way::Process).await;
}
