//! Old events moved to an archive by the program: reports, exports, pages and backups read on as if
//! nothing had moved; what is missing is named.
#![allow(clippy::unwrap_used, reason = "a helper that cannot go on fails the test")]

mod backups;
mod full;
mod plant;

use std::fs;

use serde_json::json;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};

use plant::{LIMIT, Plant, STROKES};

/// All that the program tells of the past, without the time at which it was told.
fn told(plant: &Plant) -> [String; 3] {
    let end = ["--at", "2100-01-01", "--form", "json"];
    let report = plant.done("report", &[&["wear", "corrections"][..], &end].concat());
    [plant.done("export", &["--events"]), plant.done("export", &[]), report]
}

#[tokio::test]
async fn what_was_archived_is_told_as_before() {
    let plant = Plant::with_past("").await;
    let before = told(&plant);
    let events = ledger_read::recorded(&plant.path("plant.db")).await;
    let bytes = fs::metadata(plant.path("plant.db")).unwrap().len();

    let refused = plant.refused("archive", &[]);
    assert!(refused.contains("say which events: --before"), "{refused}");
    let done = plant.done("archive", &["--older-than", "10days"]);
    assert!(done.contains("plant.archive/plant-0000000001-"), "{done}");
    assert_eq!(plant.parts().len(), 1);
    assert!(fs::metadata(plant.path("plant.db")).unwrap().len() < bytes, "{done}");
    assert_eq!(told(&plant), before);
    assert_eq!(ledger_read::recorded(&plant.path("plant.db")).await, events);

    let again = plant.done("archive", &["--older-than", "10days"]);
    assert!(again.contains("no event in") && again.contains("0 events moved"), "{again}");
    plant.done("archive", &["--before", "2100-01-01"]);
    assert_eq!(told(&plant), before, "all of it");

    let mut gateway = plant.run().await;
    assert_eq!(plant.strokes().await, STROKES);
    let body = json!({ "machine": "printer", "strokes": 5, "by": "the test", "why": "on" });
    let booked = http::post(plant.address, "/api/v1/stencils/ST-1/strokes", &body).await.unwrap();
    assert_eq!(booked.status, 200, "{}", booked.body);
    let history = "/api/v1/stencils/ST-1/history?limit=900";
    let history = http::get(plant.address, history).await.unwrap().json();
    assert_eq!(
        history.as_array().map(Vec::len).or(history["events"].as_array().map(Vec::len)),
        Some(900),
        "{history}"
    );
    let refused = plant.refused("archive", &["--older-than", "1day"]);
    assert!(refused.contains("stop it first, or let it archive by itself"), "{refused}");
    gateway.stop();
    assert_eq!(ledger_read::recorded(&plant.path("plant.db")).await[..events.len()], events);
}

#[tokio::test]
async fn a_running_gateway_archives_as_the_configuration_says() {
    let plant = Plant::with_past("archive: { older-than: 10days, at-least: 500, to: old }").await;
    let before = ledger_read::recorded(&plant.path("plant.db")).await;
    let mut gateway = plant.run().await;
    let archived = async || {
        let page = http::get(plant.address, "/metrics").await.unwrap().body;
        let value = |name: &str| {
            let line = page.lines().find_map(|line| line.strip_prefix(name)).unwrap();
            line.trim().parse::<u64>().unwrap()
        };
        let events = value("stencilward_ledger_archived_events ");
        let bytes = value("stencilward_ledger_archive_size_bytes ");
        if events >= 700 { Ok((events, bytes)) } else { Err(events) }
    };
    let (events, bytes) = eventually("events in the archive", LIMIT, archived).await;
    let parts = plant::parts_in(&plant.path("old"));
    assert_eq!(parts.len(), 1, "{parts:?}");
    assert_eq!(fs::metadata(&parts[0]).unwrap().len(), bytes);
    assert!(events < STROKES, "{events}: what is younger stays");
    assert_eq!(plant.strokes().await, STROKES);
    let first = http::get(plant.address, "/api/v1/events/2").await.unwrap();
    assert_eq!(first.status, 200, "{}", first.body);
    gateway.stop();
    assert_eq!(ledger_read::recorded(&plant.path("plant.db")).await[..before.len()], before);
}

#[tokio::test]
async fn a_part_that_is_missing_or_damaged_is_named_everywhere() {
    let plant = Plant::with_past("").await;
    plant.done("archive", &["--older-than", "10days"]);
    let part = plant.parts().remove(0);
    let aside = plant.path("aside");
    fs::rename(&part, &aside).unwrap();
    let name = part.file_name().unwrap().to_str().unwrap();
    let backup = plant.path("kept").display().to_string();
    for (command, more) in [
        ("run", &[][..]),
        ("report", &[]),
        ("export", &["--events"]),
        ("export", &[]),
        ("archive", &["--older-than", "1day"]),
        ("backup", &[backup.as_str()]),
    ] {
        let refused = plant.refused(command, more);
        assert!(refused.contains(name), "{command}: {refused}");
        if command != "backup" {
            assert!(refused.contains("is missing: bring it back"), "{command}: {refused}");
        }
    }
    fs::copy(&aside, &part).unwrap();
    plant::damage(&part);
    let refused = plant.refused("export", &["--events"]);
    assert!(refused.contains(name) && refused.contains("is damaged at events"), "{refused}");
    let refused = plant.refused("run", &[]);
    assert!(refused.contains(name) && refused.contains("is damaged at events"), "{refused}");
    fs::rename(&aside, &part).unwrap();
    let mut gateway = plant.run().await;
    assert_eq!(plant.strokes().await, STROKES);
    gateway.stop();
}
