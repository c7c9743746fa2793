//! The gateway's own alarms as faults: pure.
//!
//! Source: the SDK's `CFX/ResourcePerformance/FaultOccurred.cs` and `FaultCleared.cs`, and
//! `CFX/Structures/Fault.cs`, `FaultCause.cs` and `FaultSeverity.cs`.

use serde_json::{Value, json};
use stencilward_domain::alarm::{ActiveAlarm, AlarmKind, AlarmState, Priority};

use super::{Envelope, made_of, object, written};

/// The name of what says that a fault is there.
pub(in crate::cfx) const OCCURRED: &str = "CFX.ResourcePerformance.FaultOccurred";
/// The name of what says that it is gone.
pub(in crate::cfx) const CLEARED: &str = "CFX.ResourcePerformance.FaultCleared";

/// Longest description, in characters (`Fault.cs`).
const LONGEST: usize = 1_024;

/// True for an alarm that is told: what is wrong holds, or is latched. What is kept from people is
/// kept from programs, and an alarm that only waits to be acknowledged is no fault any more.
pub(in crate::cfx) fn is_told(alarm: &ActiveAlarm) -> bool {
    use AlarmState as S;
    alarm.state.is_active()
        || matches!(alarm.state, S::LatchedUnacknowledged | S::LatchedAcknowledged)
}

/// By what this raising of the alarm is known, also after a restart.
pub(in crate::cfx) fn occurrence(handle: &str, alarm: &ActiveAlarm) -> String {
    made_of(&[handle, &alarm.id, &alarm.since.0.to_string()], b"")
}

/// The alarm as a fault.
pub(in crate::cfx) fn fault(handle: &str, alarm: &ActiveAlarm) -> Value {
    let description = format!("{}. What to do: {}", alarm.text, alarm.to_do);
    let description: String = description.chars().take(LONGEST).collect();
    json!({
        "TransactionID": null, "Cause": cause(alarm.code), "Severity": severity(alarm.priority),
        "FaultCode": alarm.code, "FaultOccurrenceId": occurrence(handle, alarm), "Lane": null,
        "Stage": null, "SideLocation": "Unknown", "AccessType": "Unknown",
        "Description": description, "DescriptionTranslations": null,
        "OccurredAt": written(alarm.since), "DueDateTime": null,
    })
}

/// It is there. Said again it has the same identity.
pub(in crate::cfx) fn occurred(handle: &str, alarm: &ActiveAlarm) -> Envelope {
    let body = json!({ "Fault": fault(handle, alarm) });
    let unique_id = made_of(&[OCCURRED, &occurrence(handle, alarm)], b"");
    let said = Envelope::said(handle, OCCURRED, object(body));
    Envelope { at: Some(alarm.since), unique_id: Some(unique_id), ..said }
}

/// What was known as `occurrence` is gone, as is seen now.
pub(in crate::cfx) fn cleared(handle: &str, occurrence: &str) -> Envelope {
    let body = json!({ "FaultOccurrenceId": occurrence, "Operator": null });
    let unique_id = made_of(&[CLEARED, occurrence], b"");
    let said = Envelope::said(handle, CLEARED, object(body));
    Envelope { unique_id: Some(unique_id), ..said }
}

/// The upper two are of what stops production (`FaultSeverity.cs`).
fn severity(priority: Priority) -> &'static str {
    match priority {
        Priority::Low => "Information",
        Priority::Medium => "Warning",
        Priority::High => "Error",
        Priority::Critical => "Alarm",
    }
}

/// The closest there is; nothing says what is the matter with somebody else's machine.
fn cause(code: &str) -> &'static str {
    use AlarmKind as K;
    match AlarmKind::of_code(code) {
        Some(K::MachineFault) | None => "MechanicalFailure",
        Some(K::LinkLost) => "ServicesFailure",
        Some(K::WashFailed | K::WashOverdue | K::StorageBreached) => "QualityCheck",
        Some(K::StencilStopped) => "MaterialExpired",
        Some(K::CounterDoubted | K::CounterRestarted | K::BasesDisagree) => "ProcessError",
        Some(K::StrokesUnattributed) => "MissingDocumentation",
        Some(K::IntakeFull | K::LedgerTrouble) => "SoftwareFailure",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stencilward_domain::time::Timestamp;

    const HANDLE: &str = "Invented.Gateway.1";

    fn alarm(since: i64) -> ActiveAlarm {
        ActiveAlarm::ledger_trouble("the disk is full".to_owned(), Timestamp(since))
    }

    #[test]
    fn an_alarm_is_told_as_the_sdk_writes_a_fault() {
        let told = occurred(HANDLE, &alarm(1_772_359_200_123));
        assert_eq!(told.at, Some(Timestamp(1_772_359_200_123)));
        let fault = &told.body["Fault"];
        let id = fault["FaultOccurrenceId"].as_str().unwrap();
        assert_eq!(
            fault,
            &json!({
                "TransactionID": null, "Cause": "SoftwareFailure", "Severity": "Alarm",
                "FaultCode": "ledger-trouble", "FaultOccurrenceId": id, "Lane": null,
                "Stage": null, "SideLocation": "Unknown", "AccessType": "Unknown",
                "Description": "the disk is full. What to do: free the disk or mend its mount; \
                                the gateway goes on by itself",
                "DescriptionTranslations": null, "OccurredAt": "2026-03-01T10:00:00.123Z",
                "DueDateTime": null,
            })
        );
        assert_eq!(cleared(HANDLE, id).body["FaultOccurrenceId"], id);
    }

    #[test]
    fn a_raising_has_one_identity_and_the_next_another() {
        let (one, again, next) = (alarm(1), alarm(1), alarm(2));
        assert_eq!(occurred(HANDLE, &one), occurred(HANDLE, &again));
        assert_ne!(occurrence(HANDLE, &one), occurrence(HANDLE, &next));
        assert_ne!(occurred(HANDLE, &one).unique_id, occurred(HANDLE, &next).unique_id);
        assert_ne!(occurrence(HANDLE, &one), occurrence("Invented.Gateway.2", &one));
    }

    #[test]
    fn a_description_has_no_more_letters_than_the_standard_allows() {
        let long = ActiveAlarm::ledger_trouble("ü".repeat(2_000), Timestamp(1));
        let description = fault(HANDLE, &long)["Description"].as_str().unwrap().to_owned();
        assert_eq!(description.chars().count(), 1_024);
    }

    #[test]
    fn what_is_kept_from_people_is_not_told() {
        use AlarmState as S;
        let told = |state| is_told(&ActiveAlarm { state, ..alarm(1) });
        let there =
            [S::Unacknowledged, S::Acknowledged, S::LatchedUnacknowledged, S::LatchedAcknowledged];
        assert!(there.into_iter().all(told));
        let gone =
            [S::Normal, S::ReturnedUnacknowledged, S::Shelved, S::Suppressed, S::OutOfService];
        assert!(!gone.into_iter().any(told));
    }
}
