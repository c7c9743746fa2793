//! Everything is kept, today's program goes on from it, and the way back is open.

use serde_json::json;
use stencilward_tests::{http, ledger_read};

use super::old::{FIRST, LAST, Old};
use super::{Plant, rows, schema, walked};

#[tokio::test]
async fn the_very_first_ledger_is_kept() {
    is_kept(&FIRST).await;
}

#[tokio::test]
async fn the_last_ledger_of_the_first_schema_is_kept() {
    is_kept(&LAST).await;
}

async fn is_kept(old: &Old) {
    let before = rows(&old.ledger());
    let plant = Plant::with(&old.ledger());
    assert_eq!(schema(&plant.ledger()), (1, false));
    let noted = walked(&plant.ledger());
    assert_eq!(noted.as_deref().unwrap_or(old.walked), old.walked);

    let mut gateway = plant.run().await;
    let now = http::get(plant.address, "/api/v1/stencils").await.unwrap().json();
    let stencils = old.stencils();
    assert_eq!(now["stencils"].as_array().unwrap().len(), stencils.len());
    for (was, is) in stencils.iter().zip(now["stencils"].as_array().unwrap()) {
        for (key, value) in was.as_object().unwrap() {
            assert_eq!(&is[key], value, "{key} of {}", was["stencil"]);
        }
    }
    let hold = json!({ "by": "Invented Person", "why": "after the upgrade" });
    let held = http::post(plant.address, "/api/v1/stencils/ST-101/hold", &hold).await.unwrap();
    assert_eq!(held.status, 200, "{}", held.body);
    assert!(gateway.stop().success(), "{}", gateway.transcript());

    let after = rows(&plant.ledger());
    assert_eq!(after[..before.len()], before[..], "byte for byte");
    assert!(after[before.len()..].iter().any(|row| row.4.contains("after the upgrade")));
    assert_eq!(schema(&plant.ledger()), (3, true));
    if let Some(told) = walked(&plant.ledger()) {
        assert!(told.starts_with(&format!("whole up to {}, ", after.len())), "{told}");
    }
    // Every kind of event it holds is still understood.
    assert_eq!(ledger_read::events(&plant.ledger()).await.len(), after.len());
}

/// A backup of the old ledger, taken by today's program before its gateway starts, is one that the
/// old program can go on with.
#[tokio::test]
async fn the_way_back_is_a_backup_of_the_old_schema() {
    let plant = Plant::with(&LAST.ledger());
    let kept = plant.folder.path().join("kept");
    let output = plant.command("backup").arg(&kept).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let backup = std::fs::read_dir(&kept).unwrap().next().unwrap().unwrap().path();
    let mut gateway = plant.run().await;
    gateway.stop();
    assert_eq!(schema(&plant.ledger()), (3, true));
    let output = plant.command("restore").arg(&backup).arg("--replace").output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(schema(&plant.ledger()), (1, false));
    assert_eq!(rows(&plant.ledger()), rows(&LAST.ledger()));
    assert_eq!(walked(&plant.ledger()).as_deref().unwrap_or(LAST.walked), LAST.walked);
}
