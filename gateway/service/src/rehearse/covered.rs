//! Which points and messages of a machine a signal shows to be wired.

use stencilward_domain::signal::Said;

/// True when saying this makes use of what has this title.
pub(super) fn tells(title: &str, said: &Said) -> bool {
    let (word, which) = title.split_once(' ').unwrap_or((title, ""));
    match said {
        Said::CounterRead { counter, .. } => {
            matches!(word, "stroke-total" | "wipe-total") && which == counter.as_str()
        }
        Said::StrokesDone { .. } => matches!(word, "strokes-done" | "stroke-contact"),
        Said::WipesDone { .. } => matches!(word, "wipes-done" | "wipe-contact"),
        Said::BoardsCounted { .. } => {
            matches!(word, "boards-counted" | "board-total" | "board-contact")
        }
        Said::Seated { .. } => matches!(word, "stencil-seated" | "stencil-present"),
        Said::Removed => word == "stencil-removed",
        Said::State { .. } => word == "machine-state",
        Said::FaultRaised { code, .. } | Said::FaultEnded { code } => {
            matches!(word, "fault-code" | "faults")
                || word == "fault" && (which.is_empty() || which == code.as_str())
        }
        Said::SlotOccupied { slot, .. } => match word {
            "slot" | "slot-code" => which == slot.as_str(),
            _ => word == "slot-occupied",
        },
        Said::SlotEmptied { .. } => word == "slot-emptied",
        Said::StoreAsked { .. } => matches!(word, "store-asked" | "asked-stencil" | "asked-slot"),
        Said::TakeAsked { order, .. } => {
            matches!(word, "take-asked" | "asked-stencil")
                || word == "asked-order" && order.is_some()
        }
        Said::WashBegan { code, .. } => {
            matches!(word, "wash-began" | "wash-running" | "wash-programme")
                || word == "wash-stencil" && code.is_some()
        }
        Said::WashEnded { measured, .. } => match word {
            "measured" => measured.iter().any(|value| value.quantity == which),
            _ => matches!(word, "wash-ended" | "wash-result" | "washes"),
        },
        Said::Measured { code, measurement } => match word {
            "measured" => measurement.quantity == which,
            "measured-stencil" => code.is_some(),
            _ => word == "measured-taken",
        },
        Said::OrderReleased(_) => word == "order-released",
        Said::OrderStarted(_) => {
            matches!(word, "order" | "order-started" | "order-running")
                || matches!(word, "order-product" | "order-quantity")
        }
        Said::OrderFinished { .. } => matches!(word, "order-finished" | "order-made"),
        Said::LinkUp { .. } | Said::LinkLost { .. } | Said::MessageNumbered { .. } => false,
    }
}

/// Things that a simulated machine tells by itself, whatever the rehearsal does.
pub(super) fn tells_by_itself(title: &str) -> bool {
    matches!(title, "link" | "machine-link" | "life-sign")
}
