//! Turns, and who is tried when.

use std::future::Future;

use serde_json::json;
use tokio::time::timeout;

use super::*;
use crate::modbus::settings::Settings;

fn line(shared: bool) -> Line {
    let settings: Settings = serde_json::from_value(json!({ "address": "h:1" })).unwrap();
    Line::new(settings.endpoint().unwrap(), shared)
}

async fn within<T>(future: impl Future<Output = T>) -> T {
    timeout(Duration::from_secs(20), future).await.unwrap()
}

#[tokio::test]
async fn turns_come_in_the_order_in_which_they_were_asked_for() {
    let line = line(true);
    let held = line.turn().await;
    let order = Mutex::new(Vec::new());
    let wait = async |number: u8| {
        let turn = line.turn().await;
        order.lock().unwrap().push(number);
        drop(turn);
    };
    let release = async { drop(held) };
    within(async { tokio::join!(wait(1), wait(2), wait(3), release) }).await;
    assert_eq!(*order.lock().unwrap(), [1, 2, 3]);
}

#[tokio::test]
async fn a_turn_is_long_after_its_time() {
    let turn = line(true).turn().await;
    assert!(!turn.is_long());
    tokio::time::sleep(LONGEST_TURN).await;
    assert!(turn.is_long());
}

#[tokio::test]
async fn after_a_try_the_line_belongs_to_the_others_for_three_times_as_long() {
    let line = line(true);
    let before = *line.tries.lock().await;
    drop(line.try_silent().await);
    assert_eq!(*line.tries.lock().await, before, "one that never had the line");
    let mut tried = line.try_silent().await.unwrap();
    tried.begin();
    let began = Instant::now();
    tokio::time::sleep(Duration::from_millis(20)).await;
    let took = began.elapsed();
    drop(tried);
    assert!(*line.tries.lock().await >= began + took + took * 3);
}

#[tokio::test]
async fn one_silent_machine_is_tried_at_a_time() {
    let line = line(true);
    let first = line.try_silent().await.unwrap();
    let second = timeout(Duration::from_millis(20), line.try_silent()).await;
    assert!(second.is_err());
    drop(first);
    within(line.try_silent()).await.unwrap();
}

#[tokio::test]
async fn who_is_alone_need_not_be_tried_with_care() {
    assert!(line(false).try_silent().await.is_none());
}
