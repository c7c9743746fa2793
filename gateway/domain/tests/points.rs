//! Each thing a machine tells, with its age and whether it is believed.

mod common;

use common::floor::Floor;
use common::plant::NAMER;
use common::words::{at, link_lost, link_up, machine, reads, seated};
use stencilward_domain::site::Quality;

fn points(floor: &Floor) -> Vec<(&'static str, Quality, Option<u64>)> {
    let all = floor.site.points(&machine(NAMER)).into_iter();
    all.map(|point| (point.kind, point.quality, point.raw)).collect()
}

#[test]
fn a_point_is_never_heard_then_good_then_old() {
    let mut floor = Floor::new();
    assert_eq!(points(&floor), [("stencil-seated", Quality::Never, None)]);
    floor.says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, reads(5));
    assert_eq!(
        points(&floor),
        [("stroke-total", Quality::Good, Some(5)), ("stencil-seated", Quality::Good, None)]
    );
    floor.after(60).says(NAMER, reads(6));
    let all = floor.site.points(&machine(NAMER));
    let (total, seat) = (&all[0], &all[1]);
    assert_eq!(total.at.map(|read| read.since(seat.at.unwrap_or(at(0))).as_secs()), Some(60));
    floor.says(NAMER, link_lost());
    assert!(points(&floor).iter().all(|(_, quality, _)| *quality == Quality::Old));
}

#[test]
fn a_counter_that_cannot_be_is_doubted_and_shows_what_counts() {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, reads(5));
    floor.after(10).says(NAMER, reads(60_000));
    assert_eq!(points(&floor)[0], ("stroke-total", Quality::Doubted, Some(5)));
    for more in 1..4 {
        floor.after(10).says(NAMER, reads(5 + more));
    }
    assert_eq!(points(&floor)[0].1, Quality::Good);
}

#[test]
fn after_a_restart_nothing_was_heard_yet() {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, reads(5));
    floor.restart_after(5);
    assert_eq!(
        points(&floor),
        [("stroke-total", Quality::Never, Some(5)), ("stencil-seated", Quality::Never, None)]
    );
}
