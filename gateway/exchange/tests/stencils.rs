//! The stencil list: every fault of every row, and what a list would change.

use std::collections::BTreeMap;

use stencilward_domain::event::StencilSpec;
use stencilward_domain::names::StencilCode;
use stencilward_domain::plant::{Listed, Plant};
use stencilward_domain::site::{Reply, Request, Site};
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::{Share, WearLimits};
use stencilward_exchange::stencils::{self, plan};
use stencilward_exchange::{Form, MOST_ROWS};

const NOW: Timestamp = Timestamp(1_000_000);

fn faults(text: &str) -> Vec<String> {
    let list = stencils::read(Form::Csv, text.as_bytes());
    list.faults.iter().map(ToString::to_string).collect()
}

fn planned(site: &Site, text: &str) -> stencils::Plan {
    plan(&stencils::read(Form::Csv, text.as_bytes()), site, "the test")
}

fn told(plan: &stencils::Plan) -> Vec<String> {
    plan.faults.iter().map(ToString::to_string).collect()
}

fn code(code: &str) -> StencilCode {
    StencilCode::new(code).expect("a code")
}

fn listed(name: &str, strokes: u64) -> Listed {
    let spec = StencilSpec::rated(code(name), 1_000);
    Listed { spec, starting_strokes: strokes, clean: true, source: "the plan".to_owned() }
}

/// ST-C is in the configuration; ST-1 with 10 strokes and ST-R, which is retired, came by list.
fn site() -> Site {
    let stencils = BTreeMap::from([(code("ST-C"), listed("ST-C", 0))]);
    let mut site = Site::new(Plant { stencils, ..Plant::default() });
    site.start("test", NOW);
    let entries = vec![listed("ST-1", 10), listed("ST-R", 0)];
    let retire = Request::Retire { stencil: code("ST-R"), by: "me".into(), why: "bent".into() };
    for request in [Request::TakeIn { entries }, retire] {
        assert!(matches!(site.ask(&request, NOW), Reply::Done(_)));
    }
    site
}

#[test]
fn a_row_says_all_of_a_stencil() {
    let text = "stencil,product,side,revision,rated_strokes,rated_washes,reorder_percent,\
                stop_percent,price,lead_days,strokes_so_far,source,clean\n\
                ST-9,Controller,top,B,50000,400,75.5,99,1250.5,21,123,\"old book, page 3\",TRUE\n";
    let plan = planned(&site(), text);
    let limits = WearLimits { reorder: Share(7_550), stop: Share::percent(99) };
    let new = &plan.new[0];
    assert_eq!((new.spec.price_centi, new.spec.lead_days), (Some(125_050), Some(21)));
    assert_eq!((new.spec.wear_limits, new.spec.rated_washes), (Some(limits), Some(400)));
    assert_eq!((new.starting_strokes, new.clean), (123, true));
    assert_eq!(new.source, "old book, page 3");
}

#[test]
fn what_a_new_stencil_does_not_say_is_as_by_default() {
    let plan = planned(&site(), "rated_strokes,stencil\n500,ST-9\n");
    let spec = StencilSpec::rated(code("ST-9"), 500);
    let source = "the test".to_owned();
    let expected = Listed { spec, starting_strokes: 0, clean: false, source };
    assert_eq!((plan.new.as_slice(), plan.faults.len()), ([expected].as_slice(), 0));
}

#[test]
fn every_fault_of_every_row_is_told_at_once() {
    let text = "stencil,side,rated_strokes,reorder_percent,stop_percent,price,clean\n\
                ST-9,front,0,80,,\"12,50\",maybe\n\
                ST-8,,1000,99,80,1.234,\n\
                ST-9,,NaN,80,1000.01,-1,\n\
                \"\",,,,,,true\n";
    let decimals = "write it with a point and nothing between thousands, such as 1250.50";
    let expected = [
        "line 2, side: \"front\" is no side of a board: write top or bottom".to_owned(),
        format!("line 2, rated_strokes: 0 is out of range: write a number from 1 to {}", u64::MAX),
        "line 2, stop_percent: missing beside the other wear limit: give both or none".to_owned(),
        format!("line 2, price: \"12,50\" is no number with at most two decimals: {decimals}"),
        "line 2, clean: \"maybe\" is neither true nor false: write one of the two".to_owned(),
        "line 3, reorder_percent: does not lie below stop_percent: lower it".to_owned(),
        format!("line 3, price: \"1.234\" is no number with at most two decimals: {decimals}"),
        "line 4, stencil: also in line 2: keep one of the two rows".to_owned(),
        "line 4, rated_strokes: \"NaN\" is no whole number: write digits only, such as 50000"
            .to_owned(),
        "line 4, stop_percent: 1000.01 is out of range: write a number from 0 to 1000".to_owned(),
        format!("line 4, price: \"-1\" is no number with at most two decimals: {decimals}"),
        "line 5, stencil: missing: each row needs it".to_owned(),
    ];
    assert_eq!(faults(text), expected);
}

#[test]
fn a_list_that_is_too_long_is_refused_whole() {
    let mut text = "stencil\n".to_owned();
    (0..=MOST_ROWS).for_each(|row| text.push_str(&format!("S{row}\n")));
    let beyond = MOST_ROWS + 2;
    assert_eq!(faults(&text), [format!("line {beyond}: more than 100000 rows: split the list")]);
}

#[test]
fn known_stencils_are_revised_in_what_the_list_says_and_nothing_else() {
    let mut site = site();
    let plan = planned(&site, "stencil,price,revision\nST-1,99.90,C\n");
    let changes = ["revision C, not known before", "price 99.90, not known before"];
    assert_eq!(plan.revised[0].changes, changes);
    site.ask(&plan.request().expect("a change"), NOW);
    let plan = planned(&site, "stencil,rated_strokes,revision\nST-1,2000,C\n");
    assert_eq!(plan.revised[0].changes, ["rated_strokes 2000 instead of 1000"]);
    site.ask(&plan.request().expect("a change"), NOW);
    let known = &site.state().stencils[&code("ST-1")];
    assert_eq!((known.spec.price_centi, known.spec.rated_strokes), (Some(9_990), 2_000));
    assert_eq!((known.strokes, known.cleanliness.value.as_str()), (10, "clean"));
    let plan = planned(&site, "stencil,rated_strokes,strokes_so_far\nST-1,2000,10\n");
    assert_eq!((plan.same, plan.request()), (1, None));
}

#[test]
fn what_a_list_cannot_change_is_a_fault_that_says_what_can() {
    let text = "stencil,rated_strokes,strokes_so_far,clean\n\
                ST-1,2000,11,false\n\
                ST-R,,,\n\
                ST-C,2000,,\n\
                ST-9,,,\n\
                ST-8,0,,\n";
    let expected = [
        "line 2, strokes_so_far: ST-1 has 10 strokes here, not 11: leave the cell empty, or \
         correct the event that is wrong",
        "line 2, clean: ST-1 is clean here: leave the cell empty, or have it washed",
        "line 3, stencil: ST-R is retired: give its successor a code of its own",
        "line 4: ST-C is in the configuration, which would change it back at the next start: \
         change it there",
        "line 5, rated_strokes: missing: a new stencil needs the strokes it is rated for",
        "line 6, rated_strokes: 0 is out of range: write a number from 1 to 18446744073709551615",
    ];
    let plan = planned(&site(), text);
    assert_eq!(told(&plan), expected);
    assert_eq!(plan.request(), None, "with faults nothing is taken in");
}

#[test]
fn an_export_leaves_out_the_retired_and_says_the_rest_as_it_is() {
    let entries = stencils::entries(&site().state().stencils, "the ledger, up to #7");
    let text = stencils::write(Form::Csv, &entries);
    let expected = "stencil,product,side,revision,rated_strokes,rated_washes,reorder_percent,\
                    stop_percent,price,lead_days,strokes_so_far,source,clean\r\n\
                    ST-1,,,,1000,,,,,,10,\"the ledger, up to #7\",true\r\n\
                    ST-C,,,,1000,,,,,,0,\"the ledger, up to #7\",true\r\n";
    assert_eq!(text, expected);
    let plan = planned(&site(), &text);
    assert_eq!((plan.same, plan.faults.len(), plan.request()), (2, 0, None));
}
