//! Two people who scan for one slot at once.

use serde_json::json;
use stencilward_tests::mosquitto::Persistence;

use crate::works::Works;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_is_permitted_and_the_other_told_why_not() {
    let Some(mut works) = Works::start(Persistence::Off, 0, "3.1.1").await else { return };
    let scan = |id: &str, code: &str| json!({ "id": id, "code": code, "slot": "A1" }).to_string();
    let ask = json!({
        "do": "ask", "topics": ["scan/one/rack", "scan/two/rack"],
        "texts": [scan("1", "ST-1"), scan("2", "ST-2")], "answers": "scan/answer",
    });
    let answered = works.tell(ask, "answered").await;
    let answers = answered["answers"].as_array().unwrap();
    let permitted = answers.iter().filter(|answer| answer["permitted"] == true).count();
    assert_eq!((answers.len(), permitted), (2, 1), "{answered}");
    let refused = answers.iter().find(|answer| answer["permitted"] == false).unwrap();
    assert_eq!(refused["reasons"][0]["code"], "slot-promised", "{answered}");
    let first = answers.iter().find(|answer| answer["permitted"] == true).unwrap();
    let sentence = refused["reasons"][0]["sentence"].as_str().unwrap();
    assert!(sentence.contains(first["stencil"].as_str().unwrap()), "{answered}");
}
