//! Dropped files, good and faulty, of text and of other bytes.

use serde_json::json;
use stencilward_adapters::files::{Link, Settings};
use stencilward_adapters::record::Decodes;
use stencilward_domain::signal::Said;

use crate::recorded::{Recorded, name, until};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn dropped_files_give_the_same_orders_again() {
    let folder = tempfile::tempdir().unwrap();
    let settings = json!({ "folder": folder.path(), "poll": "10ms", "settle": "10ms" });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    let recorded = Recorded::start(Box::new(Link::new(name(), settings)), "files");
    recorded.hears("the link", 1, |said| matches!(said, Said::LinkUp { .. })).await;
    let drop = |name: &str, content: &[u8]| {
        let hidden = folder.path().join(format!("{name}.tmp"));
        std::fs::write(&hidden, content).unwrap();
        std::fs::rename(hidden, folder.path().join(name)).unwrap();
    };
    drop("good.csv", b"order,quantity\nWO-1,400\nWO-2,\n");
    drop("odd.csv", b"order\n\xFF\xFE\n");
    drop("wrong.jsonl", b"{\"order\":\n");
    let gone = |name: &str| !folder.path().join(name).exists();
    until("the move", || ["good.csv", "odd.csv", "wrong.jsonl"].into_iter().all(gone)).await;
    let recording = recorded.stop().await;
    let orders =
        recording.heard.iter().filter(|heard| matches!(heard.said, Said::OrderReleased(_)));
    let got: Vec<_> = orders.cloned().collect();
    assert_eq!(got.len(), 2);
    assert!(got.iter().all(|heard| heard.identity.is_some()));
    let (given, differences) = recording.play(Decodes::Files);
    assert_eq!(differences, []);
    assert_eq!(given, got);
}
