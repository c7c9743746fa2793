//! The maintenance technician: an alarm comes up by itself, says what to do, and is seen to.

use serde_json::Value;
use stencilward_tests::browser::{Setup, Thing};

use super::works::Works;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_alarm_comes_is_acknowledged_commented_and_shelved() {
    let works = Works::start().await;
    let Some(desk) = works.browser(Setup::DESK).await else { return };
    desk.goto("/alarms").await;
    desk.sees("No alarm stands.").await;

    // It shows by itself, in the open page.
    works.fault("washer-1", "E17", "rinse water too dirty", true).await;
    desk.sees("washer-1").await;
    desk.sees("rinse water too dirty").await;
    desk.sees("Go to the machine and clear the fault.").await;
    desk.press(Thing::Link, "washer-1").await;
    desk.arrives("/machines/washer-1").await;
    desk.sees("E17").await;
    desk.press(Thing::Link, "Alarms").await;

    // What is being typed and ticked stays while another one comes up.
    desk.press(Thing::Field, "washer-1 E17").await;
    desk.fill("Who", "T. Example").await;
    desk.fill("Comment", "filter ordered").await;
    works.fault("washer-2", "E4", "door open", true).await;
    desk.sees("door open").await;
    assert_eq!(desk.filled("Comment").await, "filter ordered");
    assert!(desk.ticked("washer-1 E17").await && !desk.ticked("washer-2 E4").await);
    desk.press(Thing::Button, "Acknowledge").await;
    desk.sees("acknowledged").await;
    assert_eq!(desk.count(Thing::Field, "washer-2 E4").await, 1, "it stands as it was");

    desk.press(Thing::Field, "washer-1 E17").await;
    desk.fill("Who", "T. Example").await;
    desk.fill("Comment", "the filter comes at two").await;
    desk.press(Thing::Button, "Comment").await;
    desk.arrives("/alarms").await;

    // Both at once; without a reason it is not taken, and what was ticked stays ticked.
    desk.press(Thing::Field, "washer-1 E17").await;
    desk.press(Thing::Field, "washer-2 E4").await;
    desk.fill("Who", "T. Example").await;
    desk.fill("Minutes on the shelf", "30").await;
    desk.press(Thing::Button, "Shelve").await;
    desk.sees("Not done. See the marked field.").await;
    desk.sees("Say why, or what there is to say.").await;
    assert!(desk.ticked("washer-1 E17").await && desk.ticked("washer-2 E4").await);
    desk.fill("Comment", "the service is here").await;
    desk.press(Thing::Button, "Shelve").await;
    desk.arrives("/alarms").await;
    let shelved = |seen: &Value| seen["alarms"].as_array().is_some_and(|all| all.len() == 2);
    works.until("both are on the shelf", "/api/v1/alarms?state=shelved", shelved).await;
    assert_eq!(desk.text().await.matches("shelved").count(), 2);
    desk.close().await;
}
