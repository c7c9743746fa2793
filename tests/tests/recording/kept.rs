//! The recordings kept in the repository still give the signals that they gave.

use stencilward_tests::root;

use super::works::replay;

#[test]
fn kept_recordings_give_the_signals_that_they_gave() {
    let kept = root().join("tests/recordings");
    let replayed = replay(&kept.join("plant.yaml"), &kept, &["."]);
    replayed.is(0, &["printer-1.rec", "nothing differs"]);
}
