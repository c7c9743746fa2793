//! The series of one stencil and of one machine, each looked up once.

use prometheus::{Gauge, IntCounter, IntGauge};
use stencilward_domain::machine::{LinkState, Machine};
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::stencil::{Cleanliness, Standing, Stencil};
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::WearBand;

use super::families::Families;

/// How a stencil in use may stand.
const STANDINGS: [Standing; 3] = [Standing::Released, Standing::OnHold, Standing::Concession];

/// The series of one stencil.
pub(super) struct StencilSeries {
    strokes: IntCounter,
    rated_strokes: IntGauge,
    strokes_since_wash: IntGauge,
    life_ratio: Gauge,
    cleanliness: [IntGauge; 4],
    wear_band: [IntGauge; 3],
    standing: [IntGauge; 3],
}

/// What is true of a stencil at an instant, besides its state.
pub(super) struct Instants {
    pub(super) now: Timestamp,
    /// Until when it must be washed.
    pub(super) wash_due: Option<Timestamp>,
}

impl StencilSeries {
    pub(super) fn of(families: &Families, code: &StencilCode) -> Self {
        let code = code.as_str();
        Self {
            strokes: families.stencil_strokes.with_label_values(&[code]),
            rated_strokes: families.stencil_rated_strokes.with_label_values(&[code]),
            strokes_since_wash: families.stencil_strokes_since_wash.with_label_values(&[code]),
            life_ratio: families.stencil_life_ratio.with_label_values(&[code]),
            cleanliness: Cleanliness::ALL.map(|value| {
                families.stencil_cleanliness.with_label_values(&[code, value.as_str()])
            }),
            wear_band: WearBand::ALL
                .map(|band| families.stencil_wear_band.with_label_values(&[code, band.as_str()])),
            standing: STANDINGS
                .map(|value| families.stencil_standing.with_label_values(&[code, value.as_str()])),
        }
    }

    #[allow(clippy::cast_possible_wrap)]
    pub(super) fn show(&self, stencil: &Stencil, at: &Instants, families: &Families) {
        // A corrected count may fall; a counter may not: it then waits until it is passed again.
        self.strokes.inc_by(stencil.strokes.saturating_sub(self.strokes.get()));
        self.rated_strokes.set(stencil.spec.rated_strokes as i64);
        self.strokes_since_wash.set(stencil.strokes_since_wash as i64);
        self.life_ratio.set(stencil.life_ratio());
        for (cleanliness, gauge) in Cleanliness::ALL.iter().zip(&self.cleanliness) {
            gauge.set(i64::from(stencil.cleanliness.value == *cleanliness));
        }
        for (band, gauge) in WearBand::ALL.iter().zip(&self.wear_band) {
            gauge.set(i64::from(stencil.band.value == *band));
        }
        let standing = stencil.standing(at.now);
        for (value, gauge) in STANDINGS.iter().zip(&self.standing) {
            gauge.set(i64::from(standing == *value));
        }
        let washed = stencil.last_wash.as_ref().map(|wash| wash.since);
        let code = stencil.spec.stencil.as_str();
        show_instant(&families.stencil_last_wash, code, washed);
        show_instant(&families.stencil_wash_due, code, at.wash_due);
    }

    /// Takes a stencil's series away. A series that never was is no fault.
    pub(super) fn forget(families: &Families, code: &StencilCode) {
        let code = code.as_str();
        let _ = families.stencil_strokes.remove_label_values(&[code]);
        let _ = families.stencil_rated_strokes.remove_label_values(&[code]);
        let _ = families.stencil_strokes_since_wash.remove_label_values(&[code]);
        let _ = families.stencil_life_ratio.remove_label_values(&[code]);
        let instants = [
            &families.stencil_last_wash,
            &families.stencil_wash_due,
            &families.stencil_order_by,
            &families.stencil_end,
        ];
        for instant in instants {
            let _ = instant.remove_label_values(&[code]);
        }
        for value in Cleanliness::ALL {
            let _ = families.stencil_cleanliness.remove_label_values(&[code, value.as_str()]);
        }
        for band in WearBand::ALL {
            let _ = families.stencil_wear_band.remove_label_values(&[code, band.as_str()]);
        }
        for standing in STANDINGS {
            let _ = families.stencil_standing.remove_label_values(&[code, standing.as_str()]);
        }
    }
}

/// An instant in seconds since 1970; none has no series.
pub(super) fn show_instant(family: &prometheus::GaugeVec, label: &str, at: Option<Timestamp>) {
    match at {
        #[allow(clippy::cast_precision_loss)]
        Some(at) => family.with_label_values(&[label]).set(at.0 as f64 / 1_000.0),
        None => drop(family.remove_label_values(&[label])),
    }
}

/// The series that tell how a machine is.
pub(super) struct MachineSeries {
    up: IntGauge,
    in_maintenance: IntGauge,
    unattributed: IntGauge,
    /// Its outputs that have series.
    pub(super) outputs: std::collections::BTreeSet<OutputName>,
}

impl MachineSeries {
    pub(super) fn of(
        families: &Families,
        name: &MachineName,
        outputs: impl IntoIterator<Item = OutputName>,
    ) -> Self {
        let name = name.as_str();
        Self {
            up: families.machine_up.with_label_values(&[name]),
            in_maintenance: families.machine_in_maintenance.with_label_values(&[name]),
            unattributed: families.unattributed_strokes.with_label_values(&[name]),
            outputs: outputs.into_iter().collect(),
        }
    }

    #[allow(clippy::cast_possible_wrap)]
    pub(super) fn show(&self, machine: Option<&Machine>, in_maintenance: bool) {
        let up = machine.is_some_and(|machine| machine.link == LinkState::Up);
        self.up.set(i64::from(up));
        self.in_maintenance.set(i64::from(in_maintenance));
        self.unattributed.set(machine.map_or(0, |machine| machine.unattributed) as i64);
    }

    /// Takes away the series that tell how a machine is. What it did stays counted.
    pub(super) fn forget(&self, families: &Families, name: &MachineName) {
        for output in &self.outputs {
            forget_output(families, name, output);
        }
        let name = name.as_str();
        let _ = families.machine_up.remove_label_values(&[name]);
        let _ = families.machine_in_maintenance.remove_label_values(&[name]);
        let _ = families.unattributed_strokes.remove_label_values(&[name]);
    }
}

/// Takes away what is shown of an output.
pub(super) fn forget_output(families: &Families, machine: &MachineName, output: &OutputName) {
    let labels = [machine.as_str(), output.as_str()];
    let _ = families.output_wanted.remove_label_values(&labels);
    let _ = families.output_shown.remove_label_values(&labels);
}
