//! What was exported and is imported again is the same, in both forms, whatever it holds.

use proptest::prelude::*;
use stencilward_domain::event::StencilSpec;
use stencilward_domain::names::{LONGEST_NAME, ProductName, StencilCode};
use stencilward_domain::plant::{Listed, Plant};
use stencilward_domain::signal::Side;
use stencilward_domain::site::{Request, Site};
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::{Share, WearLimits};
use stencilward_exchange::{Form, stencils};

const NOW: Timestamp = Timestamp(1_000_000);

/// Texts that lists trip over: separators, quotes, what spreadsheets compute, other scripts.
fn text() -> impl Strategy<Value = String> {
    let odd = prop_oneof!["[,;\"'=+@#\\\\ \u{2028}\u{feff}a-c0-9äß漢😀-]{1,20}", "\\PC{1,64}"];
    odd.prop_map(|text| text.trim().to_owned())
        .prop_filter("a name", |text| (1..=LONGEST_NAME).contains(&text.chars().count()))
}

fn limits() -> impl Strategy<Value = WearLimits> {
    (0..100_000_u32, 1..=100_000_u32)
        .prop_filter("in order", |(reorder, stop)| reorder < stop)
        .prop_map(|(reorder, stop)| WearLimits { reorder: Share(reorder), stop: Share(stop) })
}

fn listed() -> impl Strategy<Value = Listed> {
    let names = (text(), proptest::option::of(text()), proptest::option::of(text()));
    let side = prop_oneof![Just(None), Just(Some(Side::Top)), Just(Some(Side::Bottom))];
    let rated = (1..=u64::MAX, proptest::option::of(1..=u64::MAX), proptest::option::of(limits()));
    let bought =
        (proptest::option::of(0..=100_000_000_000_000_u64), proptest::option::of(any::<u32>()));
    (names, side, rated, bought, any::<u64>(), any::<bool>()).prop_filter_map(
        "names",
        |(names, side, rated, bought, starting_strokes, clean)| {
            let product = names.1.map(|name| ProductName::new(&name)).transpose().ok()?;
            let spec = StencilSpec {
                stencil: StencilCode::new(&names.0).ok()?,
                product,
                side,
                revision: names.2,
                rated_strokes: rated.0,
                rated_washes: rated.1,
                wear_limits: rated.2,
                price_centi: bought.0,
                lead_days: bought.1,
            };
            Some(Listed { spec, starting_strokes, clean, source: "the test".to_owned() })
        },
    )
}

/// A site that took these in, as its list.
fn exported(entries: Vec<Listed>) -> (Site, Vec<stencils::Entry>) {
    let mut site = Site::new(Plant::default());
    site.start("test", NOW);
    site.ask(&Request::TakeIn { entries }, NOW);
    let entries = stencils::entries(&site.state().stencils, "the export");
    (site, entries)
}

proptest! {
    #[test]
    fn an_export_reads_back_as_it_is(listed in proptest::collection::vec(listed(), 0..8)) {
        let (site, entries) = exported(listed);
        for form in [Form::Csv, Form::JsonLines] {
            let text = stencils::write(form, &entries);
            let read = stencils::read(form, text.as_bytes());
            prop_assert_eq!(&read.faults, &[], "{}", text);

            let plan = stencils::plan(&read, &site, "nobody");
            prop_assert_eq!((plan.same, plan.request()), (entries.len(), None));

            let fresh = Site::new(Plant::default());
            let (copy, again) = exported(stencils::plan(&read, &fresh, "nobody").new);
            prop_assert_eq!(&again, &entries);
            prop_assert_eq!(stencils::write(form, &again), text);
            for (code, stencil) in &site.state().stencils {
                prop_assert_eq!(&copy.state().stencils[code].spec, &stencil.spec);
            }
        }
    }
}
