//! The measures of the alarms on their page: for those who look after them.

mod common;

use axum::http::StatusCode;
use common::{get, send, surface};

#[tokio::test]
async fn measures_stand_below_the_alarms_with_what_is_good() {
    let (status, page) = send(&surface(), get("/alarms")).await;
    assert_eq!(status, StatusCode::OK);
    let section = page.split("How well the alarms serve").nth(1).expect("a section");
    assert!(section.contains("Over 12\u{a0}d"), "{section}");
    for (what, value) in [
        ("Alarms told", "4"),
        ("In ten minutes, at most", "2.50"),
        ("Share of priority low", "75\u{a0}%"),
    ] {
        let row = section.split("<tr>").find(|row| row.contains(what));
        let row = row.unwrap_or_else(|| panic!("no {what} in {section}"));
        assert!(row.contains(&format!(">{value}<")), "{what}: {row}");
    }
    assert!(section.contains("printer-1: link lost <strong>3</strong>"), "{section}");
}
