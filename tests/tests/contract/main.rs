//! The API against its own description: schemathesis (PyPI) makes requests from the OpenAPI
//! document, good and bad ones, and looks at each answer.

mod asked_again;
mod following;
mod plant;

use std::process::Command;
use std::time::Duration;

use serde_json::json;
use stencilward_tests::child::Child;
use stencilward_tests::{python, root};

use plant::Plant;

/// Longest wait for the gateway.
pub(crate) const LIMIT: Duration = Duration::from_secs(60);

/// Longest wait for schemathesis.
const LONGEST: Duration = Duration::from_secs(900);

/// Requests of each operation and phase, unless `STENCILWARD_EXAMPLES` says another number.
const EXAMPLES: &str = "5";

/// What schemathesis begins with; another number makes other requests.
const SEED: &str = "20261126";

/// Requests a second: fewer than the gateway lets one program send.
const RATE: &str = "45/s";

/// As a manager's program, which may send everything that programs may.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_request_that_the_document_allows_or_forbids_gets_another_answer_than_it_says() {
    let Some(python) = python::for_peers() else { return };
    let plant = Plant::new();
    let token = plant.program("manager");
    let gateway = plant.run().await;
    plant.work(&token).await;
    let examples = std::env::var("STENCILWARD_EXAMPLES");
    let examples = examples.as_deref().unwrap_or(EXAMPLES);
    let mut command = Command::new(python);
    command.current_dir(plant.folder()).args(["-m", "schemathesis.cli", "--config-file"]);
    command.arg(root().join("tests/peers/contract.toml"));
    command.arg("run").arg(format!("http://{}/openapi.json", plant.address()));
    command.args(["--header", &format!("Authorization: Bearer {token}")]);
    command.args(["--phases", "coverage,fuzzing,stateful"]);
    command.args(["--max-examples", examples, "--seed", SEED, "--rate-limit", RATE]);
    command.args(["--request-timeout", "20", "--continue-on-failure", "--no-color"]);
    command.args(["--warnings", "off"]);
    // It never ends; `following` looks at it.
    command.args(["--exclude-path", "/api/v1/events/live"]);
    let mut schemathesis = Child::start(&command);
    let status = schemathesis.exit(LONGEST).await;
    let said = schemathesis.transcript();
    assert!(status.success(), "{said}\n{}", gateway.transcript());
    assert!(said.contains("Tested:"), "it tested something: {said}");
}

/// A rule of the document that nobody keeps is found: the check can fail.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_answer_that_the_document_does_not_tell_of_is_found() {
    let Some(python) = python::for_peers() else { return };
    let plant = Plant::new();
    let token = plant.program("manager");
    let _gateway = plant.run().await;
    let document = std::fs::read_to_string(root().join("gateway/web/openapi.json")).unwrap();
    let mut document: serde_json::Value = serde_json::from_str(&document).unwrap();
    let stencil = &mut document["components"]["schemas"]["Brief"]["properties"]["strokes"];
    assert_eq!(stencil["type"], "integer");
    *stencil = json!({ "type": "string" });
    let file = plant.folder().join("other.json");
    std::fs::write(&file, document.to_string()).unwrap();
    let mut command = Command::new(python);
    command.current_dir(plant.folder()).args(["-m", "schemathesis.cli", "run"]).arg(file);
    command.args(["--url", &format!("http://{}", plant.address())]);
    command.args(["--header", &format!("Authorization: Bearer {token}")]);
    command.args(["--include-path", "/api/v1/stencils", "--phases", "fuzzing", "--no-color"]);
    command.args(["--mode", "positive", "--max-examples", "3", "--seed", SEED]);
    let mut schemathesis = Child::start(&command);
    let status = schemathesis.exit(LONGEST).await;
    let said = schemathesis.transcript();
    assert_eq!(status.code(), Some(1), "{said}");
    assert!(said.contains("violates schema"), "{said}");
}
