//! A broker's link begins anew in the middle of the work: what machines say meanwhile waits at
//! the broker, and is booked once.

use std::time::Duration;

use serde_json::json;
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Said;
use stencilward_service::gateway::{DRAIN, Gateway};
use stencilward_service::plant::Plant;
use stencilward_tests::http;
use stencilward_tests::wait::eventually;

use super::LIMIT;

const CONFIGURATION: &str = "\
site: Invented Works
listen: 127.0.0.1:0
policy: { printing: { needs-take: false } }
stencils:
  - { code: ST-1, rated-strokes: 1000, clean: true }
brokers:
  - { name: floor, address: \"127.0.0.1:1\", client: reload-test }
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 1ms
    mqtt:
      broker: floor
      messages:
        - { topic: a/stroke, signal: strokes-done, count: /count, identity: /id }
        - { topic: a/stencil, signal: stencil-seated, stencil: /code }
";

const ANOTHER: &str = "  - name: washer-1
    kind: washer
    mqtt:
      broker: floor
      messages:
        - { topic: w/began, signal: wash-began, stencil: /stencil }
";

#[tokio::test]
async fn no_stroke_is_lost_while_a_brokers_link_begins_anew() {
    let drawn = stencilward_config::parse("plant.yaml", CONFIGURATION).expect("a good file");
    let plant = Plant::start(drawn).await.expect("a plant");
    let broker = plant.configuration.brokers[0].address.clone();
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plant.yaml");
    let text = CONFIGURATION.replace("127.0.0.1:1\"", &format!("{broker}\""));
    std::fs::write(&file, &text).expect("written");
    let configuration = stencilward_config::load(&file).expect("a good file");
    let gateway = Gateway::start_from(&file, &configuration).await.expect("a gateway");
    let shows = async |path: &str, key: &str, value: serde_json::Value| {
        eventually(&format!("{key} of {path}"), LIMIT, async || {
            let shown = http::get(gateway.address(), path).await.expect("an answer").json();
            if shown[key] == value { Ok(()) } else { Err(shown) }
        })
        .await;
    };
    shows("/api/v1/machines/printer-1", "link", json!("up")).await;

    let (_, printer) = plant.machine("printer-1").expect("a printer");
    let code = StencilCode::new("ST-1").expect("a code");
    printer.say(&Said::Seated { code }, None).await.expect("it can say so");
    shows("/api/v1/machines/printer-1", "stencil", json!("ST-1")).await;
    let strokes = async {
        for stroke in 0..200 {
            let said = Said::StrokesDone { count: 1 };
            printer.say(&said, Some(&stroke.to_string())).await.expect("it can say so");
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    };
    let reloads = async {
        for changed in [format!("{text}{ANOTHER}"), text.clone(), format!("{text}{ANOTHER}")] {
            std::fs::write(&file, changed).expect("written");
            let reloaded = gateway.reload().reload(false, None).await.expect("it works");
            assert_eq!(reloaded.expect("a good file").links.begun, ["broker floor"]);
        }
    };
    tokio::join!(strokes, reloads);
    shows("/api/v1/stencils/ST-1", "strokes", json!(200)).await;
    shows("/api/v1/machines/printer-1", "unattributed_strokes", json!(0)).await;
    let reload = gateway.reload().clone();
    gateway.stop(DRAIN).await.expect("it stops");
    assert!(reload.reload(false, None).await.is_err(), "a gateway that stopped reloads nothing");
}
