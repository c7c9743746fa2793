//! Requests as the SDK writes them, and answers that are no success.

use super::super::settings::By;
use super::*;
use crate::settings::Drive;

fn output(more: Value) -> Output {
    let mut output = json!({ "name": "go", "drive": Drive::PrintPermit, "by": By::LockStation });
    if let (Value::Object(all), Value::Object(more)) = (&mut output, more) {
        all.extend(more);
    }
    serde_json::from_value(output).unwrap()
}

/// After `CFX/Production/LockStationRequest.cs` and `UnlockStationRequest.cs`.
#[test]
fn a_request_names_lane_stage_reason_and_requestor() {
    let requestor = json!({
        "OperatorIdentifier": "Invented.Gateway.1", "ActorType": "RemoteSystem", "LastName": null,
        "FirstName": null, "LoginName": null,
    });
    let (name, body) = request(&output(json!({})), "Invented.Gateway.1", false);
    assert_eq!(name, "CFX.Production.LockStationRequest");
    let lock = json!({
        "Lane": null, "Stage": null, "Reason": "QualityIssue", "Requestor": requestor,
    });
    assert_eq!(Value::Object(body), lock);
    let output = output(json!({ "lane": 2, "stage": { "name": "PRINT" } }));
    let (name, body) = request(&output, "Invented.Gateway.1", true);
    assert_eq!(name, "CFX.Production.UnlockStationRequest");
    let stage = json!({ "StageSequence": 1, "StageName": "PRINT", "StageType": "Work" });
    assert_eq!(Value::Object(body), json!({ "Lane": 2, "Stage": stage, "Requestor": requestor }));
}

#[test]
fn only_a_plain_success_locks() {
    let answer = |name: &str, body: Value| {
        let Value::Object(body) = body else { unreachable!() };
        verdict(&Envelope::said("Invented.Printer.SN1", name, body))
    };
    let result = |result: &str| json!({ "Result": { "Result": result, "Message": "door open" } });
    let lock = "CFX.Production.LockStationResponse";
    assert_eq!(answer(lock, result("Success")), Verdict::Done);
    let not_supported = json!({ "RequestResult": { "Result": "Success" }, "Result": {
        "Result": "Success",
    } });
    for (name, body, words) in [
        (lock, result("Failed"), "Failed door open"),
        (lock, result("Warning"), "Warning"),
        (lock, result("PartialSuccess"), "PartialSuccess"),
        (lock, result("Splendid"), "no Result"),
        (lock, json!({}), "no Result"),
        ("CFX.NotSupportedResponse", not_supported, "not support"),
        ("CFX.AreYouThereResponse", result("Success"), "answers with"),
    ] {
        let Verdict::Refused(Some(why)) = answer(name, body) else { panic!("{name} locked") };
        assert!(why.contains(words), "{why}");
    }
}
