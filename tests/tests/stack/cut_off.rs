//! The gateway's container is killed, paused, frozen, cut off from the floor, and short of disk,
//! while printers print on: no stroke is lost or counted twice, and what `/readyz`, the container's
//! health and the metrics say is true at each moment.

use std::collections::BTreeMap;
use std::time::Duration;

use stencilward_domain::event::Event;
use stencilward_domain::names::StencilCode;
use stencilward_tests::ledger_read;

use crate::works::{Disk, Works};

/// Strokes that each printer makes while the gateway is away.
const MEANWHILE: u64 = 40;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_stroke_is_lost_when_the_container_is_killed_paused_or_cut_off() {
    let Some(mut works) = Works::start(Disk::Volume).await else { return };
    works.engine.until_health(works.gateway.id(), "healthy").await;
    for _ in 0..2 {
        killed(&works).await;
        paused(&works).await;
        frozen(&works).await;
        cut_off(&works).await;
    }
    works.until_printed(MEANWHILE).await;
    works.stop_printing().await;
    works.until_all_known().await;
    let ledger = works.ledger().await;
    compare(&works, &ledger_read::events(&ledger).await);
}

async fn killed(works: &Works) {
    works.engine.signal(works.gateway.id(), "SIGKILL").await;
    assert_eq!(works.ready(), 0, "nobody answers");
    assert!(!works.gateway.is_running().await.unwrap());
    works.until_printed(MEANWHILE).await;
    works.gateway.start().await.unwrap();
    back(works).await;
}

/// The engine asks nothing of a paused container: that it is paused is what it says.
async fn paused(works: &Works) {
    works.gateway.pause().await.unwrap();
    assert_eq!(works.ready(), 0, "nobody answers");
    assert_eq!(works.engine.state(works.gateway.id()).await.paused, Some(true));
    works.until_printed(MEANWHILE).await;
    works.gateway.unpause().await.unwrap();
    back(works).await;
}

/// The program stands still, and its container does not know: its health does.
async fn frozen(works: &Works) {
    works.engine.signal(works.gateway.id(), "SIGSTOP").await;
    assert_eq!(works.ready(), 0, "nobody answers");
    assert!(works.gateway.is_running().await.unwrap());
    works.engine.until_health(works.gateway.id(), "unhealthy").await;
    works.engine.signal(works.gateway.id(), "SIGCONT").await;
    back(works).await;
}

/// Machines are down and up again. The gateway itself is well: what it has is durable.
async fn cut_off(works: &Works) {
    works.engine.cut_off(&works.floor, works.gateway.id()).await;
    works.until_down().await;
    assert_eq!(works.ready(), 200);
    works.until_printed(MEANWHILE).await;
    works.engine.until_health(works.gateway.id(), "healthy").await;
    works.engine.connect(&works.floor, works.gateway.id()).await;
    back(works).await;
}

async fn back(works: &Works) {
    works.until_ready(200).await;
    works.until_up().await;
    works.engine.until_health(works.gateway.id(), "healthy").await;
    works.until_printed(1).await;
}

fn compare(works: &Works, events: &[Event]) {
    let mut booked: BTreeMap<StencilCode, u64> = BTreeMap::new();
    let mut links: BTreeMap<String, (u32, u32)> = BTreeMap::new();
    for event in events {
        match event {
            Event::StrokesBooked { stencil, count, .. } => {
                *booked.entry(stencil.clone()).or_default() += count;
            }
            Event::StrokesUnattributed { .. } => panic!("no stencil ever changed: {event:?}"),
            Event::MachineUp { machine, .. } => {
                links.entry(machine.to_string()).or_default().0 += 1
            }
            Event::MachineDown { machine, .. } => {
                links.entry(machine.to_string()).or_default().1 += 1
            }
            _ => {}
        }
    }
    let made = works.tally.count().stencils;
    let made: BTreeMap<StencilCode, u64> =
        made.into_iter().map(|(code, done)| (code, done.strokes)).collect();
    println!("strokes made: {made:?}; links up and lost: {links:?}");
    assert_eq!(booked, made, "booked beside made");
    assert!(made.len() == 2 && made.values().all(|strokes| *strokes > 8 * MEANWHILE), "{made:?}");
    assert!(
        links.len() == 2 && links.values().all(|(up, lost)| *up > 2 && *lost >= 2),
        "{links:?}"
    );
}

/// A ledger that takes no writes shows at once, and what printers did meanwhile is not lost.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_disk_shows_and_loses_nothing() {
    let Some(mut works) = Works::start(Disk::Small(16)).await else { return };
    works.engine.until_health(works.gateway.id(), "healthy").await;
    let ballast = ["dd", "if=/dev/zero", "of=/var/lib/stencilward/ballast", "bs=4k"];
    let (_, said) = works.inside(&ballast).await;
    assert!(said.contains("No space left"), "{said}");
    works.until_ready(503).await;
    works.engine.until_health(works.gateway.id(), "unhealthy").await;
    let why = works.client.get("/readyz").1;
    assert!(why.starts_with("not ready: "), "{why}");
    let (status, said) = works.inside(&["stencilward", "ready", "https://127.0.0.1:9464"]).await;
    assert_eq!((status, said.trim()), (1, why.trim()));
    // Printers whose lock was shut go on when it opens again.
    tokio::time::sleep(Duration::from_secs(1)).await;

    assert_eq!(works.inside(&["rm", "/var/lib/stencilward/ballast"]).await.0, 0);
    works.until_ready(200).await;
    works.engine.until_health(works.gateway.id(), "healthy").await;
    works.until_printed(MEANWHILE).await;
    works.stop_printing().await;
    works.until_all_known().await;
}
