//! The messages of the standard that the gateway knows, by name.
//!
//! Source: the folders and class names of the standards body's SDK below `CFX/`.

/// What a message is to the gateway.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    EndpointConnected,
    EndpointShuttingDown,
    Heartbeat,
    UnitsProcessed,
    WorkStarted,
    WorkCompleted,
    ToolChanged,
    ToolsUsed,
    StencilCleaned,
    ToolsLoaded,
    ToolsCleaned,
    ToolsUnloaded,
    StationStateChanged,
    FaultOccurred,
    FaultCleared,
    WorkOrdersCreated,
    WorkOrdersUpdated,
    WorkOrderQuantityUpdated,
    WorkOrdersScheduled,
    /// A question that wants an answer.
    Request,
    /// An answer to a question.
    Response,
    /// Known, and without effect on any stencil.
    Silent,
}

/// Messages that are read. The prefix `CFX.` is left out.
const READ: [(&str, Kind); 19] = [
    ("EndpointConnected", Kind::EndpointConnected),
    ("EndpointShuttingDown", Kind::EndpointShuttingDown),
    ("Heartbeat", Kind::Heartbeat),
    ("Production.Processing.UnitsProcessed", Kind::UnitsProcessed),
    ("Production.WorkStarted", Kind::WorkStarted),
    ("Production.WorkCompleted", Kind::WorkCompleted),
    ("ResourcePerformance.ToolChanged", Kind::ToolChanged),
    ("Production.ToolsUsed", Kind::ToolsUsed),
    ("ResourcePerformance.SolderPastePrinting.StencilCleaned", Kind::StencilCleaned),
    ("Production.ToolsLoaded", Kind::ToolsLoaded),
    ("Production.ToolsCleaned", Kind::ToolsCleaned),
    ("Production.ToolsUnloaded", Kind::ToolsUnloaded),
    ("ResourcePerformance.StationStateChanged", Kind::StationStateChanged),
    ("ResourcePerformance.FaultOccurred", Kind::FaultOccurred),
    ("ResourcePerformance.FaultCleared", Kind::FaultCleared),
    ("InformationSystem.WorkOrderManagement.WorkOrdersCreated", Kind::WorkOrdersCreated),
    ("InformationSystem.WorkOrderManagement.WorkOrdersUpdated", Kind::WorkOrdersUpdated),
    (
        "InformationSystem.WorkOrderManagement.WorkOrderQuantityUpdated",
        Kind::WorkOrderQuantityUpdated,
    ),
    ("InformationSystem.ProductionScheduling.WorkOrdersScheduled", Kind::WorkOrdersScheduled),
];

/// Messages that printers, washers and line systems send and that say nothing about a stencil.
const SILENT: [&str; 20] = [
    "ResourcePerformance.FaultAcknowledged",
    "ResourcePerformance.MaintenancePerformed",
    "ResourcePerformance.SolderPastePrinting.SqueegeeCleaned",
    "ResourcePerformance.StageStateChanged",
    "ResourcePerformance.StationOnline",
    "ResourcePerformance.StationOffline",
    "ResourcePerformance.ProcessDataRecorded",
    "Production.WorkStageStarted",
    "Production.WorkStageCompleted",
    "Production.UnitsArrived",
    "Production.UnitsDeparted",
    "Production.RecipeActivated",
    "Production.SetupRequirementsChanged",
    "Production.WorkOrderActionExecuted",
    "InformationSystem.WorkOrderManagement.WorkOrdersDeleted",
    "InformationSystem.WorkOrderManagement.WorkOrderStatusUpdated",
    "InformationSystem.ProductionScheduling.WorkOrdersUnscheduled",
    "Maintenance.ResourceMaintenanceAndServiceEvent",
    "Materials.Storage.MaterialsLoaded",
    "Materials.Storage.MaterialsUnloaded",
];

impl Kind {
    /// What a message of this name is; none when the gateway does not know it.
    pub(super) fn of(name: &str) -> Option<Self> {
        let name = name.trim();
        let name = match name.get(..4) {
            Some(prefix) if prefix.eq_ignore_ascii_case("CFX.") => &name[4..],
            _ => return None,
        };
        let ends = |word: &str| {
            let tail = name.len().checked_sub(word.len()).and_then(|at| name.get(at..));
            tail.is_some_and(|tail| tail.eq_ignore_ascii_case(word))
        };
        let read = READ.iter().find(|(known, _)| known.eq_ignore_ascii_case(name));
        read.map(|(_, kind)| *kind)
            .or_else(|| ends("Request").then_some(Self::Request))
            .or_else(|| ends("Response").then_some(Self::Response))
            .or_else(|| {
                let silent = SILENT.iter().any(|known| known.eq_ignore_ascii_case(name));
                silent.then_some(Self::Silent)
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_are_known_by_name_in_any_letter_case() {
        for (name, kind) in [
            ("CFX.Heartbeat", Some(Kind::Heartbeat)),
            ("cfx.production.toolsused", Some(Kind::ToolsUsed)),
            ("CFX.Production.LockStationRequest", Some(Kind::Request)),
            ("CFX.NotSupportedResponse", Some(Kind::Response)),
            ("CFX.ResourcePerformance.FaultAcknowledged", Some(Kind::Silent)),
            ("CFX.Production.Invented", None),
            ("Heartbeat", None),
            ("CFXé", None),
        ] {
            assert_eq!(Kind::of(name), kind, "{name}");
        }
    }
}
