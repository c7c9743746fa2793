//! What a machine's settings let it say.

use stencilward_domain::signal::MachineState;

use crate::cfx::settings::{Settings, Signal, StrokesFrom, ToolCheck};
use crate::simulated::Wired;

pub(super) fn wired(settings: &Settings) -> Wired {
    let mut wired = Wired {
        asks_take: settings.tool_check == Some(ToolCheck::Take),
        asks_store: settings.tool_check == Some(ToolCheck::Store),
        answered: settings.tool_check.is_some(),
        ..Wired::default()
    };
    for signal in &settings.signals {
        let word = serde_json::to_value(signal).unwrap_or_default();
        wired.says.push(word.as_str().unwrap_or_default().to_owned());
        match signal {
            // Told by the panel, single strokes cannot be said.
            Signal::StrokesDone => {
                wired.strokes = settings.strokes_from != StrokesFrom::WorkCompleted
                    || settings.strokes_per_panel == Some(1);
            }
            Signal::WipesDone => wired.wipes = true,
            Signal::StencilSeated => wired.seat = true,
            Signal::Washes => {
                (wired.washes, wired.names_washed) = (true, true);
                let quantity = "Wash TemperatureAverage".to_owned();
                wired.measures_washes.push((quantity, "°C".to_owned()));
            }
            Signal::MachineState => wired.states.extend([
                MachineState::Running,
                MachineState::Idle,
                MachineState::SetUp,
                MachineState::Down,
            ]),
            Signal::Faults => {
                wired.faults.push(("R-1".to_owned(), "a fault of the rehearsal".to_owned()));
            }
            Signal::BoardsCounted => wired.boards = true,
            Signal::OrderStarted => wired.starts_orders = true,
            Signal::OrderReleased => wired.releases_orders = true,
        }
    }
    wired
}
