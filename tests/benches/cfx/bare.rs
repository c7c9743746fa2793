//! The library's own loop, which accepts at once and stores nothing.

use std::time::{Duration, Instant};

use fe2o3_amqp::Receiver;
use fe2o3_amqp::link::receiver::CreditMode;
use fe2o3_amqp::types::messaging::Body;
use fe2o3_amqp::types::primitives::Value;
use tokio::time::timeout;

use super::backlog::{Backlog, leave};

const PATIENCE: Duration = Duration::from_secs(60);

/// Messages a second.
pub(crate) async fn drain(backlog: &Backlog, panels: u64) -> f64 {
    let mut open = backlog.open("bench-bare").await;
    let begun = Instant::now();
    let mut receiver = Receiver::builder()
        .name("bare")
        .source(backlog.queue.as_str())
        .credit_mode(CreditMode::Auto(1_000))
        .attach(&mut open.session)
        .await
        .unwrap();
    for _ in 0..=panels {
        let received = timeout(PATIENCE, receiver.recv::<Body<Value>>()).await.unwrap().unwrap();
        receiver.accept(&received).await.unwrap();
    }
    let took = begun.elapsed();
    leave(open).await;
    panels as f64 / took.as_secs_f64()
}
