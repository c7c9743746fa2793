//! CFX messages of any bytes: alone, and behind the envelope of a machine that is known. `cargo
//! +nightly fuzz run cfx_messages` in `tests/fuzz`'s parent, with `--fuzz-dir fuzz`.
#![no_main]

use std::sync::LazyLock;
use std::time::Duration;

use libfuzzer_sys::fuzz_target;
use serde_json::json;
use stencilward_adapters::cfx::{Decoder, Settings};
use stencilward_domain::names::MachineName;
use stencilward_domain::time::Timestamp;

const LARGEST: usize = 1 << 20;

static MACHINES: LazyLock<Vec<(MachineName, Settings)>> = LazyLock::new(|| {
    let machine = |name: &str, strokes_from: &str| {
        let settings = json!({"endpoint": "e", "handle": name, "strokes-from": strokes_from,
            "signals": ["strokes-done", "wipes-done", "stencil-seated", "washes", "machine-state",
                        "faults", "boards-counted", "order-started", "order-released"]});
        let settings = serde_json::from_value(settings).expect("settings");
        (MachineName::new(name).expect("a name"), settings)
    };
    vec![
        machine("a", "units-processed"),
        machine("b", "tools-used"),
        machine("c", "work-completed"),
    ]
});

/// Messages that mean something.
const NAMES: [&str; 16] = [
    "CFX.Heartbeat",
    "CFX.Production.Processing.UnitsProcessed",
    "CFX.Production.WorkStarted",
    "CFX.Production.WorkCompleted",
    "CFX.Production.ToolsLoaded",
    "CFX.Production.ToolsCleaned",
    "CFX.Production.ToolsUnloaded",
    "CFX.Production.ToolsUsed",
    "CFX.ResourcePerformance.ToolChanged",
    "CFX.ResourcePerformance.StationStateChanged",
    "CFX.ResourcePerformance.FaultOccurred",
    "CFX.ResourcePerformance.FaultCleared",
    "CFX.ResourcePerformance.SolderPastePrinting.StencilCleaned",
    "CFX.InformationSystem.WorkOrderManagement.WorkOrdersCreated",
    "CFX.InformationSystem.WorkOrderManagement.WorkOrderQuantityUpdated",
    "CFX.InformationSystem.ProductionScheduling.WorkOrdersScheduled",
];

fuzz_target!(|bytes: &[u8]| {
    let mut decoder = Decoder::new(&MACHINES, LARGEST);
    decoder.decode(bytes, Duration::ZERO, Timestamp(0));
    let [which, body @ ..] = bytes else { return };
    let which = usize::from(*which);
    let (name, source) = (NAMES[which % NAMES.len()], ["a", "b", "c"][which / NAMES.len() % 3]);
    let head = format!(r#"{{"MessageName":"{name}","Source":"{source}","MessageBody":"#);
    let message = [head.as_bytes(), body, b"}"].concat();
    // A second time, with what was remembered of the first.
    for seconds in [1, 2] {
        decoder.decode(&message, Duration::from_secs(seconds), Timestamp(0));
    }
});
