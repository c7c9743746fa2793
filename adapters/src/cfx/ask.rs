//! Questions of machines: what is asked, and the answers. Pure but for asking the gateway.
//!
//! Source: the SDK's `CFX/*Request.cs`, `CFX/InformationSystem/TopicValidation`,
//! `CFX/InformationSystem/UnitValidation`. A question without an answer here is answered with
//! `NotSupportedResponse`, which is never a success.

use serde_json::{Map, Value, json};
use stencilward_domain::decision::Decision;
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::signal::{Said, Signal};

use super::desk::{Desk, Over};
use super::envelope::Envelope;
use super::json::{choice, get, objects, text};
use super::settings::{Endpoint, Settings, ToolCheck};
use super::tool::Tool;
use crate::link::heard;

/// Most tools of one question.
const MOST_TOOLS: usize = 100;

/// What a question wants.
enum Wanted {
    /// What can be told at once.
    Told(&'static str, Map<String, Value>),
    /// A decision about each stencil.
    Tools(MachineName, Vec<Asked>),
    /// Whether the next panel may be printed.
    Panel(MachineName, OutputName),
    /// Nothing that is answered here.
    Unknown,
}

/// What is asked of one tool.
enum Asked {
    /// Decided by the gateway.
    Stencil(Said),
    /// No stencil: nothing is known against it here.
    Other,
    /// Nobody can say what it is.
    Untold(String),
}

/// The answer to a question.
pub(super) async fn answer(desk: &Desk, question: &Envelope) -> Result<Envelope, Over> {
    let wanted =
        desk.machine(&question.source, |machine| wanted(&desk.endpoint, question, machine)).await;
    let (name, body) = match wanted {
        Wanted::Told(name, body) => (name, body),
        Wanted::Tools(machine, asked) => {
            let body = tools(desk, question, &machine, asked).await?;
            ("CFX.InformationSystem.TopicValidation.ValidateTopicResponse", body)
        }
        Wanted::Panel(machine, output) => {
            let body = panel(question, desk.permits(&machine, &output));
            ("CFX.InformationSystem.UnitValidation.ValidateUnitsResponse", body)
        }
        Wanted::Unknown => ("CFX.NotSupportedResponse", not_supported(&question.name)),
    };
    Ok(question.answer(name, body))
}

fn wanted(
    endpoint: &Endpoint,
    question: &Envelope,
    machine: Option<(&MachineName, &Settings)>,
) -> Wanted {
    let name = question.name.trim();
    let is = |word: &str| name.eq_ignore_ascii_case(word);
    if is("CFX.AreYouThereRequest") {
        return Wanted::Told("CFX.AreYouThereResponse", presence(endpoint));
    }
    if is("CFX.WhoIsThereRequest") {
        return Wanted::Told("CFX.WhoIsThereResponse", presence(endpoint));
    }
    if is("CFX.GetEndpointInformationRequest") {
        return Wanted::Told("CFX.GetEndpointInformationResponse", information(endpoint));
    }
    let Some((machine, settings)) = machine else {
        return Wanted::Unknown;
    };
    if is("CFX.InformationSystem.TopicValidation.ValidateTopicRequest")
        && let Some(check) = settings.tool_check
        && question.get("ValidationTopic").and_then(|topic| choice(topic, &["Tools"])) == Some(0)
    {
        return Wanted::Tools(machine.clone(), asked(question, settings, check));
    }
    if is("CFX.InformationSystem.UnitValidation.ValidateUnitsRequest")
        && let Some(output) = settings.next_panel()
    {
        return Wanted::Panel(machine.clone(), output);
    }
    Wanted::Unknown
}

fn asked(question: &Envelope, settings: &Settings, check: ToolCheck) -> Vec<Asked> {
    let data = question.get("ValidationTopicData").and_then(Value::as_object);
    let tools = data.into_iter().flat_map(|data| objects(data, "ValidationTopicData"));
    let asked = tools.map(|tool| match Tool::read(tool, settings).map(Tool::stencil) {
        Ok(Ok(Some(code))) => Asked::Stencil(said(code, check)),
        Ok(Ok(None)) => Asked::Other,
        Ok(Err((_, why))) | Err((_, why)) => Asked::Untold(why),
    });
    asked.take(MOST_TOOLS).collect()
}

fn said(code: StencilCode, check: ToolCheck) -> Said {
    match check {
        ToolCheck::Take => Said::TakeAsked { code, order: None, destination: None },
        ToolCheck::Store => Said::StoreAsked { code, slot: None },
    }
}

/// One result for each tool, in the order asked: that is how they are told apart.
async fn tools(
    desk: &Desk,
    question: &Envelope,
    machine: &MachineName,
    asked: Vec<Asked>,
) -> Result<Map<String, Value>, Over> {
    let stencils = asked.iter().filter_map(|asked| match asked {
        Asked::Stencil(said) => Some(said.clone()),
        _ => None,
    });
    // Asked again, the same question has the same answer.
    let identity = question.request_id.as_deref().or(question.unique_id.as_deref());
    let signals: Vec<Signal> = stencils
        .enumerate()
        .map(|(at, said)| Signal {
            machine_time: question.at,
            identity: identity.map(|id| format!("{id}#{at}")),
            ..heard(machine, said)
        })
        .collect();
    let mut decisions = Vec::new();
    if !signals.is_empty() {
        decisions = desk.decide(signals).await?;
    }
    let mut decisions = decisions.into_iter();
    let results = asked.into_iter().map(|asked| match asked {
        Asked::Stencil(_) => decided(decisions.next().as_ref()),
        Asked::Other => result("Success", 0, "no stencil: not looked at here"),
        Asked::Untold(why) => result("Failed", 1, &why),
    });
    let results: Vec<Value> = results.collect();
    Ok(object(json!({ "ValidationTopic": "Tools", "Result": results })))
}

/// Without a decision nothing is permitted.
fn decided(decision: Option<&Decision>) -> Value {
    match decision {
        Some(decision) if decision.permitted() => result("Success", 0, ""),
        Some(decision) => {
            let words: Vec<String> =
                decision.reasons.iter().map(|cause| cause.reason.to_string()).collect();
            result("Failed", 1, &words.join("; "))
        }
        None => result("Failed", 1, "the gateway could not decide: see its log"),
    }
}

fn panel(question: &Envelope, permits: bool) -> Map<String, Value> {
    let validated = |unit: Option<&str>, position: u64| {
        json!({
            "UniqueIdentifier": unit,
            "PositionNumber": position,
            "Result": if permits { "Passed" } else { "Failed" },
            "FailureCode": u8::from(!permits),
            "Message": if permits { "" } else { "the stencil must not be printed with" },
        })
    };
    let primary = text(&question.body, "PrimaryIdentifier");
    let units: Vec<Value> = objects(&question.body, "Units")
        .take(1_000)
        .map(|unit| {
            let position = get(unit, "PositionNumber").and_then(Value::as_u64).unwrap_or(0);
            validated(text(unit, "UnitIdentifier"), position)
        })
        .collect();
    object(json!({
        "Result": result("Success", 0, ""),
        "PrimaryResult": validated(primary, 0),
        "ValidationResults": units,
    }))
}

fn presence(endpoint: &Endpoint) -> Map<String, Value> {
    object(json!({
        "Result": result("Success", 0, ""),
        "CFXHandle": endpoint.handle,
        "RequestNetworkUri": endpoint.uri(),
        "RequestTargetAddress": endpoint.handle,
    }))
}

fn information(endpoint: &Endpoint) -> Map<String, Value> {
    let told = |name: &str, how: &str, messages: &[&str]| json!({ "TopicName": name, "TopicSupportType": how, "SupportedMessages": messages });
    let topic = |name: &str, messages: &[&str]| told(name, "Consumer", messages);
    let mut topics = vec![
        topic("CFX.Production", &[]),
        topic("CFX.Production.Processing", &["CFX.Production.Processing.UnitsProcessed"]),
        topic("CFX.ResourcePerformance.SolderPastePrinting", &[]),
        topic("CFX.InformationSystem.TopicValidation", &[]),
        topic("CFX.InformationSystem.UnitValidation", &[]),
    ];
    let how = if endpoint.publishes() { "PublisherConsumer" } else { "Consumer" };
    topics.insert(0, told("CFX", how, &[]));
    let how = if endpoint.tells_alarms() { "PublisherConsumer" } else { "Consumer" };
    topics.push(told("CFX.ResourcePerformance", how, &[]));
    if endpoint.debtors().next().is_some() {
        let counters = "CFX.Maintenance.ResourceMaintenanceAndServiceEvent";
        topics.push(told("CFX.Maintenance", "Publisher", &[counters]));
    }
    object(json!({
        "Result": result("Success", 0, ""),
        "EndpointInformation": {
            "$type": "CFX.Structures.Endpoint, CFX",
            "CFXHandle": endpoint.handle,
            "CFXVersion": super::VERSION,
            "RequestNetworkUri": endpoint.uri(),
            "RequestTargetAddress": endpoint.handle,
            "FriendlyName": "Stencilward",
            "SoftwareVersion": env!("CARGO_PKG_VERSION"),
            "SupportedTopics": topics,
        },
    }))
}

/// Its result stands under another name than in all other answers.
fn not_supported(name: &str) -> Map<String, Value> {
    let name: String = name.chars().filter(|c| !c.is_control()).take(100).collect();
    let why = format!("{name} is not answered here");
    object(json!({ "RequestResult": result("Failed", 1, &why) }))
}

fn result(result: &str, code: u8, message: &str) -> Value {
    json!({ "Result": result, "ResultCode": code, "Message": message })
}

fn object(json: Value) -> Map<String, Value> {
    match json {
        Value::Object(object) => object,
        _ => Map::new(),
    }
}
