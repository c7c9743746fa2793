//! Wear: strokes and washes against rated life.

mod common;

use common::floor::{Floor, names};
use common::one::{One, strokes, wash_began, wash_ended};
use common::plant::{NAMER, WASHER, plant_with, spec};
use common::words::{self, at, code, washed};
use stencilward_domain::event::{Event, StencilSpec};
use stencilward_domain::plant::{Plant, Policy};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::wear::{Share, WearBand, WearLimits};

const LIMITS: WearLimits = WearLimits { reorder: Share::percent(80), stop: Share::percent(99) };

#[test]
fn the_band_is_the_worse_of_strokes_and_washes() {
    // Strokes of 1000, washes of 10 or not rated.
    let table = [
        (0, 0, Some(10), WearBand::InService),
        (799, 7, Some(10), WearBand::InService),
        (800, 0, Some(10), WearBand::Reorder),
        (0, 8, Some(10), WearBand::Reorder),
        (989, 9, Some(10), WearBand::Reorder),
        (990, 0, Some(10), WearBand::Stopped),
        (0, 10, Some(10), WearBand::Stopped),
        (800, 10, Some(10), WearBand::Stopped),
        (0, 10, None, WearBand::InService),
        (u64::MAX, 0, None, WearBand::Stopped),
    ];
    for (count, washes, rated_washes, expected) in table {
        let mut one = One::registered(true);
        one.then(Event::StencilRevised {
            spec: StencilSpec { rated_washes, ..spec("A") },
            source: None,
        });
        for _ in 0..washes {
            one.then(wash_began()).then(wash_ended(WashOutcome::Passed));
        }
        one.then(strokes(count));
        let band = one.stencil().wear_band(LIMITS);
        assert_eq!(band, expected, "{count} strokes, {washes} of {rated_washes:?} washes");
    }
}

#[test]
fn the_ratio_is_the_larger_share_and_goes_beyond_one() {
    let mut one = One::registered(true);
    let ratio = |one: &One| (one.stencil().life_ratio() * 1_000.0).round();
    assert_eq!(ratio(&one), 0.0);
    one.then(strokes(250));
    assert_eq!(ratio(&one), 250.0);
    one.then(Event::StencilRevised {
        spec: StencilSpec { rated_washes: Some(2), ..spec("A") },
        source: None,
    });
    one.then(wash_ended(WashOutcome::Passed));
    assert_eq!(ratio(&one), 500.0);
    one.then(strokes(1_250));
    assert_eq!(ratio(&one), 1_500.0);
}

#[test]
fn a_stencil_rated_for_nothing_is_stopped() {
    let plant = plant_with(|plant| rate(plant, 0));
    let floor = Floor::of(plant);
    assert_eq!(floor.stencil("A").band.value, WearBand::Stopped);
    assert_eq!(floor.stencil("A").life_ratio(), 1.0);
}

fn rate(plant: &mut Plant, strokes: u64) {
    if let Some(entry) = plant.stencils.get_mut(&code("A")) {
        entry.spec.rated_strokes = strokes;
    }
}

#[test]
fn passing_into_a_band_is_noted_once() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    let stroke = |floor: &mut Floor, count| names(&floor.says(NAMER, words::strokes(count)));
    assert_eq!(stroke(&mut floor, 799), ["strokes-booked"]);
    assert_eq!(stroke(&mut floor, 1), ["strokes-booked", "wear-band-entered"]);
    assert_eq!(stroke(&mut floor, 189), ["strokes-booked"]);
    let stopped = stroke(&mut floor, 1);
    assert_eq!(stopped, ["strokes-booked", "wear-band-entered", "decided"]);
    assert_eq!(stroke(&mut floor, 1), ["strokes-booked"]);
    assert_eq!(floor.stencil("A").band.value, WearBand::Stopped);
}

#[test]
fn a_band_may_be_skipped() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, words::strokes(2_000));
    let entered =
        floor.ledger.iter().filter(|r| matches!(r.fact.event, Event::WearBandEntered { .. }));
    assert_eq!(entered.count(), 1);
}

#[test]
fn washes_wear_a_stencil_too() {
    let mut floor = Floor::of(plant_with(|plant| {
        if let Some(entry) = plant.stencils.get_mut(&code("A")) {
            entry.spec.rated_washes = Some(2);
        }
    }));
    assert_eq!(names(&floor.says(WASHER, washed("A"))), ["wash-began", "wash-ended"]);
    let second = names(&floor.after(600).says(WASHER, washed("A")));
    assert_eq!(second, ["wash-began", "wash-ended", "wear-band-entered"]);
    assert_eq!(floor.stencil("A").band.value, WearBand::Stopped);
}

#[test]
fn strokes_made_before_the_gateway_count() {
    let floor = Floor::of(plant_with(|plant| {
        if let Some(entry) = plant.stencils.get_mut(&code("A")) {
            entry.starting_strokes = 850;
        }
    }));
    assert_eq!(floor.strokes("A"), 850);
    assert_eq!(floor.stencil("A").band.value, WearBand::Reorder);
    assert_eq!(floor.stencil("A").strokes_since_wash, 0);
}

#[test]
fn limits_are_the_stencils_own_then_its_products_then_the_plants() {
    let limits = |stop| WearLimits { reorder: Share::percent(50), stop: Share::percent(stop) };
    let policy = Policy {
        wear: limits(90),
        product_wear: [(words::product("board-7"), limits(80))].into(),
        ..Policy::default()
    };
    let mut what = spec("A");
    assert_eq!(policy.wear_limits(&what), limits(90));
    what.product = Some(words::product("board-8"));
    assert_eq!(policy.wear_limits(&what), limits(90));
    what.product = Some(words::product("board-7"));
    assert_eq!(policy.wear_limits(&what), limits(80));
    what.wear_limits = Some(limits(70));
    assert_eq!(policy.wear_limits(&what), limits(70));
}

/// The configuration was edited while the gateway was off.
#[test]
fn a_new_rating_is_taken_in_at_the_next_start() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, words::strokes(700));
    let mut site = stencilward_domain::site::Site::new(plant_with(|plant| rate(plant, 700)));
    for recorded in &floor.ledger {
        site.replay(recorded);
    }
    site.start("0.0.0", at(60));
    let stencil = site.state().stencils.get(&code("A")).expect("A is listed");
    assert_eq!((stencil.strokes, stencil.spec.rated_strokes), (700, 700));
    assert_eq!(stencil.band.value, WearBand::Stopped);
}
