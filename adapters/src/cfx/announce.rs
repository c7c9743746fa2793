//! What the gateway says of itself, and of stencils: pure.
//!
//! Source: the SDK's `CFX/EndpointConnected.cs`, `CFX/EndpointShuttingDown.cs`,
//! `CFX/Heartbeat.cs`, `CFX/Maintenance/ResourceMaintenanceAndServiceEvent.cs` and
//! `CFX/Structures/Maintenance/MaintenanceInformation.cs`.

pub(super) mod fault;

use std::time::Duration;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use sha2::{Digest as _, Sha256};
use stencilward_domain::names::StencilCode;
use stencilward_domain::time::Timestamp;

use super::envelope::Envelope;
use super::json::{written, written_span};
use super::settings::Endpoint;
use crate::link::Due;

/// What a stencil's counters say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Counters {
    /// Which.
    pub stencil: StencilCode,
    /// Strokes so far.
    pub strokes: u64,
    /// The share of its rated life that is used; 1 is its end.
    pub life_ratio: f64,
    /// Strokes at its last wash that passed; none without one.
    pub washed_at_strokes: Option<u64>,
    /// When that was.
    pub washed_at: Option<Timestamp>,
}

/// Counters, and when they were so: what is kept of them until it is said.
#[derive(Serialize, Deserialize)]
struct Kept {
    at: Timestamp,
    #[serde(flatten)]
    counters: Counters,
}

impl Counters {
    /// As they are kept until somebody has them. `at`: when they were so.
    #[must_use]
    pub fn kept(&self, at: Timestamp) -> Vec<u8> {
        serde_json::to_vec(&Kept { at, counters: self.clone() }).unwrap_or_default()
    }
}

/// The gateway is there.
pub(super) fn connected(endpoint: &Endpoint) -> Envelope {
    // Requests are taken by the listener only.
    let target = endpoint.listen.as_ref().map(|_| &endpoint.handle);
    let body = json!({
        "CFXHandle": endpoint.handle, "RequestNetworkUri": endpoint.uri(),
        "RequestTargetAddress": target,
    });
    Envelope::said(&endpoint.handle, "CFX.EndpointConnected", object(body))
}

/// The gateway goes.
pub(super) fn shutting_down(endpoint: &Endpoint) -> Envelope {
    let body = json!({ "CFXHandle": endpoint.handle });
    Envelope::said(&endpoint.handle, "CFX.EndpointShuttingDown", object(body))
}

/// Whoever has this handle is there, and says so again after `pace`. Of `faults`, none means that
/// they are not known, and an empty list that there are none.
pub(super) fn heartbeat(handle: &str, pace: Duration, faults: Option<&[Value]>) -> Envelope {
    let body = json!({
        "CFXHandle": handle, "HeartbeatFrequency": written_span(pace), "ActiveFaults": faults,
        "ActiveRecipes": null,
    });
    Envelope::said(handle, "CFX.Heartbeat", object(body))
}

/// A stencil's counters, as they were kept. Said again they have the same identity, so that nobody
/// takes them for news. None where they cannot be read.
pub(super) fn counters(endpoint: &Endpoint, due: &Due) -> Option<Envelope> {
    let Kept { at, counters } = serde_json::from_slice(&due.body).ok()?;
    let time = written(at);
    let detail = json!({
        "Name": "Strokes", "CounterType": "ActivityCount", "CustomCounterType": null,
        "MeasurementLocation": null, "CurrentCounterValue": counters.strokes,
        "CurrentRatio": counters.life_ratio * 100.0, "CurrentRatioValid": true,
        "CurrentTimeStamp": time, "LastMaintenanceCounterValue": counters.washed_at_strokes,
        "LastMaintenanceTimeStamp": counters.washed_at.and_then(written),
        "LastMaintenanceValid": counters.washed_at_strokes.is_some(),
    });
    let data = json!({
        "UniqueIdentifier": counters.stencil, "Name": counters.stencil, "CalibrationDetails": null,
        "ErrorDetails": null, "MaintenanceDetails": [detail], "SensorDetails": null,
        "VerificationDetails": null,
    });
    // A stencil is no part of the endpoint that tells of it: then there is no machine.
    let body = json!({
        "EventDateTime": time, "Machine": null, "MachineServiceAndMaintenanceData": [data],
    });
    let name = "CFX.Maintenance.ResourceMaintenanceAndServiceEvent";
    let said = Envelope::said(&endpoint.handle, name, object(body));
    Some(Envelope { at: Some(at), unique_id: Some(identity(endpoint, due)), ..said })
}

fn identity(endpoint: &Endpoint, due: &Due) -> String {
    made_of(&[&endpoint.handle, &due.number.to_string()], &due.body)
}

/// A UUID made of what is said (RFC 9562, 5.8).
fn made_of(words: &[&str], body: &[u8]) -> String {
    let mut hash = Sha256::new();
    words.iter().for_each(|word| hash.update(format!("{word}\n")));
    hash.update(body);
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&hash.finalize()[..16]);
    super::uuid(bytes, 8)
}

fn object(json: Value) -> Map<String, Value> {
    match json {
        Value::Object(object) => object,
        _ => Map::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn endpoint() -> Endpoint {
        serde_json::from_value(json!({ "name": "floor", "handle": "Invented.Gateway.1" })).unwrap()
    }

    fn due(number: u64, counters: &Counters) -> Due {
        let body = counters.kept(Timestamp(1_772_359_200_123));
        Due { number, about: "counters/ST-1".to_owned(), body, retain: true }
    }

    #[test]
    fn counters_are_told_as_the_sdk_writes_them_and_again_as_the_same_message() {
        let counted = Counters {
            stencil: StencilCode::new("ST-1").unwrap(),
            strokes: 570,
            life_ratio: 0.312,
            washed_at_strokes: Some(234),
            washed_at: Some(Timestamp(1_772_000_000_000)),
        };
        let told = counters(&endpoint(), &due(7, &counted)).unwrap();
        let counter = &told.body["MachineServiceAndMaintenanceData"][0]["MaintenanceDetails"][0];
        assert_eq!(
            counter,
            &json!({
                "Name": "Strokes", "CounterType": "ActivityCount", "CustomCounterType": null,
                "MeasurementLocation": null, "CurrentCounterValue": 570, "CurrentRatio": 31.2,
                "CurrentRatioValid": true, "CurrentTimeStamp": "2026-03-01T10:00:00.123Z",
                "LastMaintenanceCounterValue": 234,
                "LastMaintenanceTimeStamp": "2026-02-25T06:13:20.000Z",
                "LastMaintenanceValid": true,
            })
        );
        let again = counters(&endpoint(), &due(7, &counted)).unwrap();
        assert_eq!(again, told, "whoever has it knows it again");
        let news = counters(&endpoint(), &due(8, &counted)).unwrap();
        assert_ne!(news.unique_id, told.unique_id);
        assert_eq!(told.unique_id.unwrap().as_bytes()[14], b'8', "its version (RFC 9562, 4.2)");
        let unread = Due { body: b"nothing".to_vec(), ..due(9, &counted) };
        assert_eq!(counters(&endpoint(), &unread), None);
    }

    #[test]
    fn faults_that_are_not_known_are_null_and_none_is_an_empty_list() {
        let pace = Duration::from_secs(60);
        let faults = |faults| heartbeat("H", pace, faults).body["ActiveFaults"].clone();
        assert_eq!((faults(None), faults(Some(&[]))), (Value::Null, json!([])));
    }
}
