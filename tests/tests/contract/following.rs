//! Events as they come, followed over a real connection: none is missed and none comes twice,
//! whoever breaks off.

use std::net::SocketAddr;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_tests::wait::eventually;
use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::TcpStream;
use tokio::time::timeout;

use super::{LIMIT, Plant};

/// Somebody who reads along.
struct Reader {
    stream: BufReader<TcpStream>,
}

impl Reader {
    /// Begins after this event, else with the next one.
    async fn begin(address: SocketAddr, token: &str, after: Option<u64>) -> Self {
        let mut stream = TcpStream::connect(address).await.expect("it listens");
        let after = after.map(|id| format!("Last-Event-ID: {id}\r\n")).unwrap_or_default();
        let head = format!(
            "GET /api/v1/events/live HTTP/1.1\r\nHost: {address}\r\nAccept: text/event-stream\r\n\
             Authorization: Bearer {token}\r\n{after}\r\n"
        );
        stream.write_all(head.as_bytes()).await.expect("it reads");
        let mut reader = Self { stream: BufReader::new(stream) };
        let first = reader.line().await.expect("an answer");
        assert!(first.contains(" 200 "), "{first}");
        while reader.line().await.is_some_and(|line| !line.is_empty()) {}
        reader
    }

    /// The next line; none at the end.
    async fn line(&mut self) -> Option<String> {
        let mut line = String::new();
        let read = timeout(LIMIT, self.stream.read_line(&mut line)).await.expect("a line in time");
        (read.unwrap_or(0) > 0).then(|| line.trim_end().to_owned())
    }

    /// The next event with its id; none at the end.
    async fn event(&mut self) -> Option<(u64, Value)> {
        let mut id = None;
        loop {
            let line = self.line().await?;
            if let Some(text) = line.strip_prefix("id: ") {
                id = text.parse().ok();
            }
            if let Some(text) = line.strip_prefix("data: ") {
                return Some((id.expect("an id first"), serde_json::from_str(text).expect("JSON")));
            }
        }
    }
}

/// Places from here on, as many as were heard of.
async fn heard(reader: &mut Reader, count: usize) -> Vec<u64> {
    let mut places = Vec::new();
    while places.len() < count {
        let (id, event) = reader.event().await.expect("an event");
        assert_eq!(event["position"], id, "{event}");
        places.push(id);
    }
    places
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_follows_misses_nothing_and_hears_nothing_twice() {
    let plant = Plant::new();
    let token = plant.program("technician");
    let mut gateway = plant.run().await;
    let hold = |why: String| {
        let (plant, token) = (&plant, &token);
        async move {
            let body = json!({ "why": why });
            for act in ["hold", "release"] {
                let path = format!("/api/v1/stencils/ST-1/{act}");
                assert_eq!(plant.post(token, &path, &body).await.status, 200);
            }
        }
    };
    // From the beginning of the ledger over its live edge.
    let mut reader = Reader::begin(plant.address(), &token, Some(0)).await;
    let (_, first) = reader.event().await.unwrap();
    assert_eq!(first["position"], 1);
    for round in 0..20 {
        hold(format!("round {round}")).await;
    }
    let mut places = heard(&mut reader, 30).await;
    // Cut off, while more happens.
    drop(reader);
    for round in 20..40 {
        hold(format!("round {round}")).await;
    }
    let last = places.last().copied();
    let mut reader = Reader::begin(plant.address(), &token, last).await;
    places.extend(heard(&mut reader, 40).await);
    let expected: Vec<u64> = (2..72).collect();
    assert_eq!(places, expected);
    // The list tells the same.
    let listed = plant.send(&token, "GET", "/api/v1/events?limit=1000", "", "").await.json();
    let listed: Vec<u64> = listed["events"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|e| e["position"].as_u64())
        .collect();
    assert_eq!(listed[1..71], expected[..]);
    // It ends with the gateway, which need not wait for it.
    let following = tokio::spawn(async move { while reader.event().await.is_some() {} });
    gateway.stop();
    timeout(LIMIT, following).await.expect("it ends").unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn following_ends_with_the_token_and_begins_nowhere_but_in_the_ledger() {
    let plant = Plant::new();
    let (token, other) = (plant.program("operator"), plant.program("manager"));
    let _gateway = plant.run().await;
    for wrong in ["x", "-1", "99999999"] {
        let head = format!("Last-Event-ID: {wrong}\r\n");
        let answer = plant.send(&token, "GET", "/api/v1/events/live", &head, "").await;
        assert_eq!(answer.status, 400, "{wrong}: {}", answer.body);
    }
    let mut reader = Reader::begin(plant.address(), &token, None).await;
    plant.dismiss("operator");
    let ended = tokio::spawn(async move { while reader.event().await.is_some() {} });
    // The gateway notices what became of people when somebody comes.
    eventually("the token is none", LIMIT, async || {
        let answer = plant.send(&token, "GET", "/api/v1/me", "", "").await;
        if answer.status == 401 { Ok(()) } else { Err(answer.status) }
    })
    .await;
    timeout(Duration::from_secs(30), ended).await.expect("it ends").unwrap();
    assert_eq!(plant.send(&other, "GET", "/api/v1/me", "", "").await.status, 200);
}

/// Sent again, it is answered as before and done once; bound to what somebody saw, it is refused
/// where that is no more.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_sent_twice_is_done_once_and_what_was_overtaken_is_not_done() {
    let plant = Plant::new();
    let token = plant.program("technician");
    let _gateway = plant.run().await;
    let path = "/api/v1/stencils/ST-1/strokes";
    let body = json!({ "machine": "printer", "strokes": 5, "why": "a set-up" }).to_string();
    let key = "Idempotency-Key: \"4bd1c7\"\r\n";
    let sent: Vec<_> = (0..8).map(|_| plant.send(&token, "POST", path, key, &body)).collect();
    let answers = futures::future::join_all(sent).await;
    let done: Vec<_> = answers.iter().filter(|answer| answer.status == 200).collect();
    assert!(!done.is_empty() && done.iter().all(|answer| answer.body == done[0].body));
    let others = answers.iter().filter(|answer| answer.status != 200);
    for other in others {
        assert_eq!((other.status, &other.json()["type"]), (409, &json!("/problems/under-way")));
    }
    let view = plant.send(&token, "GET", "/api/v1/stencils/ST-1", "", "").await;
    assert_eq!(view.json()["strokes"], 5);
    let other = plant.send(&token, "POST", path, key, &body.replace('5', "6")).await;
    assert_eq!((other.status, &other.json()["type"]), (422, &json!("/problems/key-used")));

    let tag = view.head.lines().find_map(|line| line.strip_prefix("etag: ")).expect("a tag");
    let seen = format!("If-Match: {tag}\r\n");
    let hold = json!({ "why": "a dent" }).to_string();
    let path = "/api/v1/stencils/ST-1/hold";
    let known = format!("If-None-Match: {tag}\r\n");
    let same = plant.send(&token, "GET", "/api/v1/stencils/ST-1", &known, "").await;
    assert_eq!((same.status, same.body.as_str()), (304, ""));
    assert_eq!(plant.send(&token, "POST", path, &seen, &hold).await.status, 200);
    let late = plant.send(&token, "POST", path, &seen, &hold).await;
    let problem = late.json();
    assert_eq!((late.status, &problem["type"]), (412, &json!("/problems/changed-meanwhile")));
    assert_eq!(problem["last_event"]["by"], "a technician's program");
    assert!(late.head.contains("etag: "), "{}", late.head);
    assert_ne!(problem["etag"], tag);
}
