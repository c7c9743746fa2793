//! Notices: what they are about, when they are owed, and that they are what the schema says.

use std::path::Path;

use super::*;

#[test]
fn a_name_is_one_level_whatever_is_in_it() {
    assert_eq!(level("ST-1"), "ST-1");
    assert_eq!(level("50%/a+b #1"), "50%25%2Fa%2Bb %231");
}

#[test]
fn without_a_broker_nothing_is_owed() {
    let site = Site::new(stencilward_domain::plant::Plant::default());
    let mut nobody = Notices::new(Told::default());
    assert_eq!(nobody.of(&[], &site, Timestamp(0)), []);
    let brokers = BTreeSet::from(["floor".to_owned()]);
    let some = Notices::new(Told { brokers, ..Told::default() });
    assert_eq!(some.all("another", &site, Timestamp(0)), []);
}

#[test]
fn counters_are_owed_to_endpoints_when_they_change() {
    let text = "\
site: Invented Works
stencils: [{ code: ST-1, rated-strokes: 100 }, { code: ST-2, rated-strokes: 100 }]
brokers: [{ name: floor, address: \"127.0.0.1:1883\", client: c, publish: { under: s } }]
cfx:
  - name: floor
    handle: Invented.Gateway.1
    broker: { address: \"127.0.0.1:5672\", sources: [/amq/queue/q], publish: { at: /exchange/x } }
    listen: { address: \"127.0.0.1:5680\", publish: { at: /told, counters: false } }
";
    let configuration = stencilward_config::parse("plant.yaml", text).unwrap();
    let told = Told::by(&configuration);
    let debtor = "cfx/floor/broker".to_owned();
    assert_eq!(told.clone().all(), BTreeSet::from(["floor".to_owned(), debtor.clone()]));
    let mut notices = Notices::new(Told { brokers: BTreeSet::new(), ..told });
    let mut site = Site::new(configuration.plant());
    site.start("test", Timestamp(0));
    let events = site.take_fresh();
    let owed = notices.of(&events, &site, Timestamp(0));
    let abouts: Vec<_> = owed.iter().map(|owed| (&owed.to, owed.about.as_str())).collect();
    assert_eq!(abouts, [(&debtor, "counters/ST-1"), (&debtor, "counters/ST-2")]);
    assert!(owed.iter().all(|owed| owed.replaces), "only the latest is owed");
    assert_eq!(notices.of(&events, &site, Timestamp(1)), [], "nothing has changed");
    assert_eq!(notices.all(&debtor, &site, Timestamp(1)).len(), 2);
}

/// Set `STENCILWARD_WRITE=1` to write the schema anew after a change of the notices.
#[test]
fn the_published_schema_is_the_one_of_the_code() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("notices.schema.json");
    if std::env::var_os("STENCILWARD_WRITE").is_some() {
        std::fs::write(&file, schema()).unwrap();
    }
    let published = std::fs::read_to_string(&file).unwrap_or_default();
    assert_eq!(published, schema(), "run with STENCILWARD_WRITE=1 and look at the change");
}
