//! From signals to the messages that say them, for simulated machines: pure.

use serde_json::{Map, Value, json};
use stencilward_domain::names::{OrderName, StencilCode};
use stencilward_domain::signal::{MachineState, Measurement, OrderSpec, Said, WashOutcome};

use super::settings::{Settings, Signal, StencilCodeFrom, StrokesFrom, ToolCheck};

/// A message: its name and its body.
pub(super) type Told = (&'static str, Map<String, Value>);

const PROCESSED: &str = "CFX.Production.Processing.UnitsProcessed";
const WIPED: &str = "CFX.ResourcePerformance.SolderPastePrinting.StencilCleaned";
const CHANGED: &str = "CFX.ResourcePerformance.ToolChanged";
const SCHEDULED: &str = "CFX.InformationSystem.ProductionScheduling.WorkOrdersScheduled";
const CREATED: &str = "CFX.InformationSystem.WorkOrderManagement.WorkOrdersCreated";
pub(super) const TOOL_CHECK: &str = "CFX.InformationSystem.TopicValidation.ValidateTopicRequest";
pub(super) const UNIT_CHECK: &str = "CFX.InformationSystem.UnitValidation.ValidateUnitsRequest";

/// The messages that say this; none where the settings read no such thing. `seat`: the stencil
/// that the machine holds. `work`: an id for what belongs together.
pub(super) fn told(
    settings: &Settings,
    said: &Said,
    seat: Option<&StencilCode>,
    work: &str,
) -> Option<Vec<Told>> {
    let reads = |signal, told: Vec<Told>| settings.reads(signal).then_some(told);
    let tool = |code: &StencilCode, state: &str| stencil(settings, code, state);
    let seat_tool = seat.map(|code| tool(code, "Unknown"));
    match said {
        Said::LinkUp { .. } => Some(vec![told_as("CFX.EndpointConnected", handle(settings))]),
        Said::LinkLost { .. } => Some(vec![told_as("CFX.EndpointShuttingDown", handle(settings))]),
        Said::StrokesDone { count } => {
            let told = strokes(settings, *count, seat_tool, work)?;
            reads(Signal::StrokesDone, told)
        }
        Said::WipesDone { count } => {
            let body = json!({
                "Stencil": seat_tool, "StencilCleanMode": "W", "TimeSinceLastClean": "00:05:00",
                "CyclesSinceLastClean": 5, "StencilCleanCycles": 1, "StencilCleanTime": "00:00:20",
            });
            let each = (0..*count).map(|_| told_as(WIPED, body.clone()));
            reads(Signal::WipesDone, each.collect())
        }
        Said::Seated { code } => {
            let body = json!({ "OldTool": null, "NewTool": tool(code, "Unknown") });
            reads(Signal::StencilSeated, vec![told_as(CHANGED, body)])
        }
        Said::Removed => {
            let body = json!({ "OldTool": seat_tool?, "NewTool": null });
            reads(Signal::StencilSeated, vec![told_as(CHANGED, body)])
        }
        Said::WashBegan { code, .. } => {
            let body =
                json!({ "TransactionID": work, "Tools": [tool(code.as_ref()?, "NotCleaned")] });
            reads(Signal::Washes, vec![told_as("CFX.Production.ToolsLoaded", body)])
        }
        Said::WashEnded { code, outcome, measured, .. } => {
            let code = code.as_ref()?;
            let tools = [tool(code, "Unknown"), tool(code, state_after(*outcome))];
            reads(Signal::Washes, washed(tools, measured, work))
        }
        Said::State { state, .. } => {
            let body = json!({ "OldState": "2000", "NewState": number(*state).to_string() });
            let name = "CFX.ResourcePerformance.StationStateChanged";
            reads(Signal::MachineState, vec![told_as(name, body)])
        }
        Said::FaultRaised { code, text } => {
            let fault = json!({
                "Cause": "MechanicalFailure", "Severity": "Error", "FaultCode": code,
                "FaultOccurrenceId": code, "Description": text,
            });
            let body = json!({ "Fault": fault });
            reads(Signal::Faults, vec![told_as("CFX.ResourcePerformance.FaultOccurred", body)])
        }
        Said::FaultEnded { code } => {
            let body = json!({ "FaultOccurrenceId": code, "Operator": null });
            reads(Signal::Faults, vec![told_as("CFX.ResourcePerformance.FaultCleared", body)])
        }
        Said::BoardsCounted { count } => {
            let body = json!({ "TransactionID": work, "Result": "Completed", "UnitCount": count });
            reads(Signal::BoardsCounted, vec![told_as("CFX.Production.WorkCompleted", body)])
        }
        Said::OrderStarted(spec) => {
            let body = json!({ "TransactionID": work, "WorkOrderIdentifier": order(&spec.order) });
            reads(Signal::OrderStarted, vec![told_as("CFX.Production.WorkStarted", body)])
        }
        Said::OrderReleased(spec) => reads(Signal::OrderReleased, released(settings, spec)),
        _ => None,
    }
}

/// The question whether a stencil may be taken or stored; none where the settings know no such.
pub(super) fn asked(settings: &Settings, said: &Said) -> Option<Told> {
    let code = match (said, settings.tool_check?) {
        (Said::TakeAsked { code, .. }, ToolCheck::Take)
        | (Said::StoreAsked { code, .. }, ToolCheck::Store) => code,
        _ => return None,
    };
    let data = json!({
        "$type": "CFX.Structures.Validation.ToolValidationTopicData, CFX",
        "ValidationTopicData": [stencil(settings, code, "Unknown")],
    });
    let body = json!({ "ValidationTopic": "Tools", "ValidationTopicData": data });
    Some(told_as(TOOL_CHECK, body))
}

/// The question whether the next panel may come in.
pub(super) fn next_panel() -> Told {
    let body = json!({
        "Validations": ["UnitRouteValidation"], "PrimaryIdentifier": "PANEL", "Units": [],
    });
    told_as(UNIT_CHECK, body)
}

fn told_as(name: &'static str, body: Value) -> Told {
    match body {
        Value::Object(body) => (name, body),
        _ => (name, Map::new()),
    }
}

fn handle(settings: &Settings) -> Value {
    json!({
        "CFXHandle": settings.handle, "RequestNetworkUri": null, "RequestTargetAddress": null,
    })
}

fn stencil(settings: &Settings, code: &StencilCode, state: &str) -> Value {
    let (id, name) = match settings.stencil_code {
        StencilCodeFrom::UniqueIdentifier => (code.as_str(), "stencil"),
        StencilCodeFrom::Name => ("", code.as_str()),
    };
    json!({
        "$type": "CFX.Structures.SolderPastePrinting.SMTStencil, CFX",
        "CleaningState": state, "UniqueIdentifier": id, "Name": name,
    })
}

fn strokes(settings: &Settings, count: u64, tool: Option<Value>, work: &str) -> Option<Vec<Told>> {
    let result = match settings.strokes_from {
        StrokesFrom::UnitsProcessed => {
            let stroke = json!({ "PrintPressure": 1.0, "PrintSpeed": 30.0 });
            let strokes = vec![stroke; usize::try_from(count).ok()?];
            let data = json!({
                "$type": "CFX.Structures.SolderPastePrinting.SolderPastePrintingPCBProcessData, CFX",
                "Strokes": strokes, "RecipeName": "RECIPE", "CycleTime": "00:00:16",
            });
            let body = json!({
                "TransactionId": work, "OverallResult": "Succeeded", "CommonProcessData": data,
                "UnitProcessData": [],
            });
            vec![told_as(PROCESSED, body)]
        }
        StrokesFrom::ToolsUsed => {
            let used = json!({ "Tool": tool?, "UsageCycles": count });
            let body = json!({ "TransactionId": work, "UsedTools": [used] });
            vec![told_as("CFX.Production.ToolsUsed", body)]
        }
        StrokesFrom::WorkCompleted => {
            let each = u64::from(settings.strokes_per_panel?);
            let panels = count.is_multiple_of(each).then_some(count / each)?;
            let panel = |at| {
                let id = format!("{work}/{at}");
                let body = json!({ "TransactionID": id, "Result": "Completed" });
                told_as("CFX.Production.WorkCompleted", body)
            };
            (0..panels).map(panel).collect()
        }
    };
    Some(result)
}

fn washed([before, after]: [Value; 2], measured: &[Measurement], work: &str) -> Vec<Told> {
    let readings: Vec<Value> = measured
        .iter()
        .map(|measured| {
            let name = measured.quantity.strip_prefix("Wash ").unwrap_or(&measured.quantity);
            json!({ "ReadingType": name, "ReadingValue": measured.value })
        })
        .collect();
    let steps = json!([{ "CleaningStepType": "Wash", "Readings": readings }]);
    let cleaned = json!({ "TransactionID": work, "Tools": [before], "CleaningSteps": steps });
    let unloaded = json!({ "TransactionID": work, "Tools": [after] });
    vec![
        told_as("CFX.Production.ToolsCleaned", cleaned),
        told_as("CFX.Production.ToolsUnloaded", unloaded),
    ]
}

fn state_after(outcome: WashOutcome) -> &'static str {
    match outcome {
        WashOutcome::Passed => "Cleaned",
        WashOutcome::Failed => "NotCleaned",
        WashOutcome::Aborted => "Unknown",
    }
}

fn number(state: MachineState) -> u16 {
    match state {
        MachineState::Running => 1_100,
        MachineState::Idle => 2_200,
        MachineState::SetUp => 4_500,
        MachineState::Down => 5_300,
        MachineState::Unknown => 9_000,
    }
}

fn order(order: &OrderName) -> Value {
    json!({ "WorkOrderId": order.as_str(), "Batch": null })
}

fn released(settings: &Settings, spec: &OrderSpec) -> Vec<Told> {
    let created = json!({ "NewOrders": [{
        "WorkOrderIdentifier": order(&spec.order), "Status": "ApprovedAndPending",
        "PartNumber": spec.product.as_ref().map(ToString::to_string),
        "PartRevision": spec.revision, "Quantity": spec.quantity,
    }] });
    let mut told = vec![told_as(CREATED, created)];
    if !spec.stencils.is_empty() {
        let tools = spec.stencils.iter().map(|code| stencil(settings, code, "Unknown"));
        let scheduled = json!({ "ScheduledWorkOrders": [{
            "WorkOrderIdentifier": order(&spec.order), "ReservedTools": tools.collect::<Vec<_>>(),
        }] });
        told.push(told_as(SCHEDULED, scheduled));
    }
    told
}
