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
