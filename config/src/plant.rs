//! From the configuration as written to what the rules and links need.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use stencilward_adapters::settings::Drive;
use stencilward_adapters::{cfx, modbus, mqtt, sparkplug};
use stencilward_domain::event::StencilSpec;
use stencilward_domain::names::{MachineName, OutputName, ProductName, StencilCode};
use stencilward_domain::plant::{
    Bases, Listed, MachineKind, MachineSpec, OutputRule, Plant, Policy, TensionPolicy, Tolerance,
};
use stencilward_domain::wear::{Share, WearLimits};

use crate::configuration::{
    Configuration, MachineSettings, PolicySettings, StencilSettings, ToleranceSettings,
    WearSettings,
};
use crate::costs::{hundredths, whole_days};

impl Configuration {
    /// What the rules need of it. Names that `check` finds fault with are left out.
    #[must_use]
    pub fn plant(&self) -> Plant {
        let products = self.products.iter();
        let product_wear = products
            .filter_map(|p| Some((ProductName::new(&p.name).ok()?, p.wear.limits())))
            .collect();
        let lead_days = self.costs().lead_days;
        let mut plant = Plant {
            policy: Policy { product_wear, ..self.policy.policy() },
            machines: self.machines.iter().filter_map(MachineSettings::spec).collect(),
            stencils: self.stencils.iter().filter_map(|s| s.listed(lead_days)).collect(),
            trial: self.trial(),
            timed: self.timed(),
            digest: self.digest.clone(),
        };
        self.settle_counting(&mut plant);
        plant
    }

    fn trial(&self) -> BTreeSet<MachineName> {
        let on_trial = self.machines.iter().filter(|machine| machine.trial);
        on_trial.filter_map(|machine| MachineName::new(&machine.name).ok()).collect()
    }

    /// The machines whose protocol has the time of the event in each message, and the messages in
    /// order (IPC-2591, CFX: `TimeStamp` of the envelope).
    fn timed(&self) -> BTreeSet<MachineName> {
        let timed = self.machines.iter().filter(|machine| machine.cfx.is_some());
        timed.filter_map(|machine| MachineName::new(&machine.name).ok()).collect()
    }

    /// In a line, what it describes.
    #[must_use]
    pub fn summary(&self) -> String {
        let count =
            |kind| self.machines.iter().filter(|m| MachineKind::from(m.kind) == kind).count();
        format!(
            "{}: {} stencils, {} printers, {} washers, {} racks, {} other machines, {} brokers",
            self.site,
            self.stencils.len(),
            count(MachineKind::Printer),
            count(MachineKind::Washer),
            count(MachineKind::Rack),
            count(MachineKind::Other),
            self.brokers.len(),
        )
    }
}

impl WearSettings {
    pub(crate) fn limits(self) -> WearLimits {
        WearLimits { reorder: share(self.reorder), stop: share(self.stop) }
    }
}

/// Per cent to hundredths of a per cent; the schema holds it between 0 and 1000.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn share(percent: f64) -> Share {
    Share((percent.clamp(0.0, 1_000.0) * 100.0).round() as u32)
}

impl PolicySettings {
    #[allow(clippy::cast_possible_truncation)]
    fn policy(&self) -> Policy {
        let default = Policy::default();
        Policy {
            wear: self.wear.map_or(default.wear, WearSettings::limits),
            wash_age: self.wash.valid_for.map(|span| span.0),
            hand_reported_wash: self.wash.by_hand,
            dry_out: self.wash.dry_out.0,
            print_needs_take: self.printing.needs_take,
            strokes_between_washes: self.printing.strokes_between_washes,
            time_between_washes: self.printing.time_between_washes.map(|span| span.0),
            tension: self.tension.map(|tension| TensionPolicy {
                lowest_centi: (tension.lowest * 100.0).round() as i64,
                every: tension.every.0,
            }),
            permit_time: self.permit.map_or(default.permit_time, |span| span.0),
            trusted_outage: self
                .counting
                .trusted_outage
                .map_or(default.trusted_outage, |span| span.0),
            seat_wait: self.counting.seat_wait.map_or(default.seat_wait, |span| span.0),
            late_after: self.counting.late_after.map_or(default.late_after, |span| span.0),
            product_wear: BTreeMap::new(),
            tolerance: self.counting.tolerance.tolerance(),
            orders_known: self.orders.must_be_known,
            alarms: self.alarms.policy(),
        }
    }
}

impl ToleranceSettings {
    fn tolerance(self) -> Tolerance {
        Tolerance { strokes: self.strokes, share: share(self.share) }
    }
}

impl StencilSettings {
    /// What it is and comes in with; `lead_days` where it says no lead time of its own.
    fn listed(&self, lead_days: Option<u32>) -> Option<(StencilCode, Listed)> {
        let code = StencilCode::new(&self.code).ok()?;
        let spec = StencilSpec {
            stencil: code.clone(),
            product: self.product.as_deref().and_then(|name| ProductName::new(name).ok()),
            side: self.side.map(Into::into),
            revision: self.revision.clone(),
            rated_strokes: self.rated_strokes,
            rated_washes: self.rated_washes,
            wear_limits: self.wear.map(WearSettings::limits),
            price_centi: self.price.and_then(hundredths),
            lead_days: self.lead_time.and_then(whole_days).or(lead_days),
        };
        let listed = Listed {
            spec,
            starting_strokes: self.strokes_so_far,
            clean: self.clean,
            source: self.source.clone().unwrap_or_else(|| "configuration".to_owned()),
        };
        Some((code, listed))
    }
}

impl MachineSettings {
    /// What the rules need of it by itself; whom it counts for follows from all of them.
    fn spec(&self) -> Option<(MachineName, MachineSpec)> {
        let outputs: BTreeMap<OutputName, OutputRule> = self
            .outputs()
            .into_iter()
            .filter_map(|(name, drive)| Some((name, output_rule(drive)?)))
            .collect();
        let counts_for = self.counts_for.as_deref().and_then(|name| MachineName::new(name).ok());
        let spec = MachineSpec {
            kind: self.kind.into(),
            line: self.line.clone(),
            names_stencil: self.names_stencil(),
            fastest_cycle: self.fastest_cycle.map_or(Duration::ZERO, |span| span.0),
            counts_for,
            counters: self.counter_specs(),
            bases: Bases::default(),
            outputs,
        };
        Some((MachineName::new(&self.name).ok()?, spec))
    }

    /// Its outputs by name, with what each follows, whatever it speaks.
    #[must_use]
    pub fn outputs(&self) -> Vec<(OutputName, Drive)> {
        let modbus = self.modbus.as_ref().map(modbus::Settings::outputs);
        let mqtt = self.mqtt.as_ref().map(mqtt::Settings::outputs);
        let sparkplug = self.sparkplug.as_ref().map(sparkplug::Settings::outputs);
        let cfx = self.cfx.as_ref().map(cfx::Settings::outputs);
        modbus.into_iter().chain(mqtt).chain(sparkplug).chain(cfx).flatten().collect()
    }

    /// True when the machine says by itself which stencil is in it.
    fn names_stencil(&self) -> bool {
        self.modbus.as_ref().is_some_and(modbus::Settings::names_stencil)
            || self.mqtt.as_ref().is_some_and(mqtt::Settings::names_stencil)
            || self.sparkplug.as_ref().is_some_and(sparkplug::Settings::names_stencil)
            || self.cfx.as_ref().is_some_and(cfx::Settings::names_stencil)
    }
}

fn output_rule(drive: Drive) -> Option<OutputRule> {
    match drive {
        Drive::PrintPermit => Some(OutputRule::PrintPermit),
        Drive::DoorRelease => Some(OutputRule::DoorRelease),
        Drive::Heartbeat => None,
    }
}
