//! Questions of other people's machines, asked as the standards body's SDK asks them.

use serde_json::{Value, json};
use stencilward_tests::peer::Peer;

use crate::direct::{listening, seat};
use crate::plant::{GATEWAY, LIMIT};

const PRINTER: &str = "Invented.Printer.SN1";

async fn ask(peer: &mut Peer, source: &str, name: &str, body: Value) -> Value {
    let envelope = json!({
        "MessageName": name, "Version": "2.0", "TimeStamp": "2026-03-02T07:00:00Z",
        "UniqueID": "9f0a1c2d-0000-4000-8000-00000000aaaa", "Source": source, "Target": GATEWAY,
        "RequestID": format!("REQUEST-{name}"), "MessageBody": body,
    });
    let command = json!({ "do": "ask", "target": GATEWAY, "envelope": envelope });
    let answer = peer.ask(command, "answer", LIMIT).await;
    let answered = &answer["envelope"];
    assert_eq!(answered["RequestID"], envelope["RequestID"], "{answer}");
    assert_eq!((&answered["Source"], &answered["Target"]), (&json!(GATEWAY), &json!(source)));
    assert_eq!(answer["correlation"], "command-request", "the id of every question of the SDK");
    assert_eq!(answer["properties"]["cfx-message"], answered["MessageName"]);
    assert_eq!(answer["content_type"], "application/json; charset=\"utf-8\"");
    let first = answered["MessageBody"]["$type"].as_str().unwrap();
    assert_eq!(first, format!("{}, CFX", answered["MessageName"].as_str().unwrap()));
    answered.clone()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn anybody_is_told_who_the_gateway_is() {
    let Some((_plant, mut peer)) = listening().await else { return };
    let body = json!({ "CFXHandle": GATEWAY });
    let answer = ask(&mut peer, "Somebody.Else.1", "CFX.AreYouThereRequest", body.clone()).await;
    assert_eq!(answer["MessageName"], "CFX.AreYouThereResponse");
    assert_eq!(answer["MessageBody"]["Result"]["Result"], "Success");
    assert_eq!(answer["MessageBody"]["CFXHandle"], GATEWAY);
    let name = "CFX.GetEndpointInformationRequest";
    let answer = ask(&mut peer, "Somebody.Else.1", name, body).await;
    let information = &answer["MessageBody"]["EndpointInformation"];
    assert_eq!(information["CFXHandle"], GATEWAY);
    let uri = information["RequestNetworkUri"].as_str().unwrap();
    assert!(uri.starts_with("amqp://127.0.0.1:"), "{uri}");
    let body = json!({ "SupportedTopicQueryType": "Ignore", "SupportedTopics": [] });
    let answer = ask(&mut peer, "Somebody.Else.1", "CFX.WhoIsThereRequest", body).await;
    assert_eq!(answer["MessageName"], "CFX.WhoIsThereResponse");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_not_answered_is_said_to_be_not_supported_and_no_success() {
    let Some((_plant, mut peer)) = listening().await else { return };
    let units = "CFX.InformationSystem.UnitValidation.ValidateUnitsRequest";
    for (source, name) in [
        (PRINTER, "CFX.Production.LockStationRequest"),
        (PRINTER, "CFX.Invented.UnheardOfRequest"),
        ("Somebody.Else.1", units),
        ("Invented.Washer.SN2", units),
    ] {
        let answer = ask(&mut peer, source, name, json!({})).await;
        assert_eq!(answer["MessageName"], "CFX.NotSupportedResponse", "{source} {name}");
        assert_eq!(answer["MessageBody"]["RequestResult"]["Result"], "Failed");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn tools_and_panels_are_decided_by_the_gateway() {
    let Some((plant, mut peer)) = listening().await else { return };
    let tool = |code: &str, class: &str| {
        json!({
            "$type": format!("CFX.Structures.SolderPastePrinting.{class}, CFX"),
            "UniqueIdentifier": code, "Name": code,
        })
    };
    let body = json!({
        "ValidationTopic": "Tools",
        "ValidationTopicData": {
            "$type": "CFX.Structures.Validation.ToolValidationTopicData, CFX",
            "ValidationTopicData": [
                tool("ST-1", "SMTStencil"), tool("ST-9", "SMTStencil"), tool("SQ-1", "SMTSqueegee"),
                { "UniqueIdentifier": "ST-1", "Name": "without a type" },
            ],
        },
    });
    let name = "CFX.InformationSystem.TopicValidation.ValidateTopicRequest";
    let answer = ask(&mut peer, PRINTER, name, body).await;
    assert_eq!(
        answer["MessageName"],
        "CFX.InformationSystem.TopicValidation.ValidateTopicResponse"
    );
    let results: Vec<&str> = answer["MessageBody"]["Result"]
        .as_array()
        .unwrap()
        .iter()
        .map(|result| result["Result"].as_str().unwrap())
        .collect();
    assert_eq!(results, ["Success", "Failed", "Success", "Failed"], "{answer}");

    let units = "CFX.InformationSystem.UnitValidation.ValidateUnitsRequest";
    let body = json!({
        "Validations": ["UnitRouteValidation"], "PrimaryIdentifier": "PANEL-1", "Lane": 1,
        "Units": [{ "UnitIdentifier": "U-1", "PositionNumber": 1 }],
    });
    let answer = ask(&mut peer, PRINTER, units, body.clone()).await;
    let primary = &answer["MessageBody"]["PrimaryResult"];
    assert_eq!(
        (&primary["Result"], &primary["UniqueIdentifier"]),
        (&json!("Failed"), &json!("PANEL-1"))
    );
    seat(&mut peer, GATEWAY).await;
    stencilward_tests::wait::eventually("the printer may print", LIMIT, async || {
        let view = plant.view("/api/v1/machines/printer-1").await;
        if view["stencil"] == "ST-1" { Ok(()) } else { Err(view) }
    })
    .await;
    let passed = async |peer: &mut Peer| {
        let answer = ask(peer, PRINTER, units, body.clone()).await;
        let answer = &answer["MessageBody"];
        assert_eq!(answer["ValidationResults"][0]["Result"], answer["PrimaryResult"]["Result"]);
        answer["PrimaryResult"]["Result"] == "Passed"
    };
    let begun = std::time::Instant::now();
    while !passed(&mut peer).await {
        assert!(begun.elapsed() < LIMIT, "a clean stencil in its printer may print");
    }
}
