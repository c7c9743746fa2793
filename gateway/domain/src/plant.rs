//! What the configuration says about the plant, as the rules need it.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use crate::alarm::AlarmPolicy;
use crate::event::{BasisKind, StencilSpec};
use crate::names::{CounterName, MachineName, OutputName, ProductName, StencilCode};
use crate::wear::{Share, WearLimits};

/// What a machine is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum MachineKind {
    /// Prints solder paste through a stencil.
    Printer,
    /// Washes stencils.
    Washer,
    /// Keeps stencils in slots.
    Rack,
    /// Anything else that speaks: a scanner, a counter, a line controller.
    Other,
}

impl MachineKind {
    /// The kind's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Printer => "printer",
            Self::Washer => "washer",
            Self::Rack => "rack",
            Self::Other => "other",
        }
    }
}

/// What an output follows. Heartbeats follow [`crate::outputs::Wanted::beat`] and need no rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum OutputRule {
    /// On while the stencil in the printer may be printed with.
    PrintPermit,
    /// On while a permitted store or take waits to be carried out at the rack.
    DoorRelease,
}

/// A machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MachineSpec {
    /// What it is for.
    pub kind: MachineKind,
    /// The line it belongs to, if one.
    pub line: Option<String>,
    /// True when it says by itself which stencil is in it.
    pub names_stencil: bool,
    /// The shortest time between two strokes; what is faster is not believed.
    pub fastest_cycle: Duration,
    /// The printer whose strokes and boards it counts, when it is not one itself.
    pub counts_for: Option<MachineName>,
    /// Its counters that count anything but the strokes of the printer it counts for.
    pub counters: BTreeMap<CounterName, CounterSpec>,
    /// Where its strokes come from, when it is a printer.
    pub bases: Bases,
    /// Its outputs and what each follows.
    pub outputs: BTreeMap<OutputName, OutputRule>,
}

/// What a counter counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Counted {
    /// Print strokes.
    Strokes,
    /// Understencil wipes.
    Wipes,
}

/// A counter that differs from the rest of its machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CounterSpec {
    /// What it counts.
    pub counts: Counted,
    /// Of which printer, when not the one the whole machine counts for.
    pub of: Option<MachineName>,
}

/// Which bases of a printer's strokes book, and which are only compared with what is booked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bases {
    /// Those that book. What people enter by hand always does.
    pub book: BTreeSet<BasisKind>,
    /// Those that are compared at the end of each run.
    pub check: BTreeSet<BasisKind>,
}

impl Default for Bases {
    /// What the printer itself says is booked; nothing is compared.
    fn default() -> Self {
        Self { book: [BasisKind::Counter, BasisKind::Reported].into(), check: BTreeSet::new() }
    }
}

/// How far two bases of one run may lie apart. Either suffices.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tolerance {
    /// Strokes.
    pub strokes: u64,
    /// Share of the larger of the two.
    pub share: Share,
}

impl Default for Tolerance {
    fn default() -> Self {
        Self { strokes: 5, share: Share::percent(2) }
    }
}

impl Tolerance {
    /// True when the two lie further apart than allowed. Exact for any values.
    #[must_use]
    pub fn exceeded(self, one: u64, other: u64) -> bool {
        let apart = one.abs_diff(other);
        let allowed = u128::from(one.max(other)) * u128::from(self.share.0);
        apart > self.strokes && u128::from(apart) * 10_000 > allowed
    }
}

/// A stencil of the configuration's list, with the state it comes in with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// What it is.
    pub spec: StencilSpec,
    /// Strokes made before the gateway counted.
    pub starting_strokes: u64,
    /// True when it is clean as it comes in.
    pub clean: bool,
    /// Who says so.
    pub source: String,
}

/// How much of what is allowed. Spans of time are the plant's own; none of them is a standard's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Policy {
    /// Where the wear bands begin, unless a product or stencil says otherwise.
    pub wear: WearLimits,
    /// Wear limits by product.
    pub product_wear: BTreeMap<ProductName, WearLimits>,
    /// How old a wash may be when a stencil is taken; none: any age.
    pub wash_age: Option<Duration>,
    /// True when a person may report a wash.
    pub hand_reported_wash: bool,
    /// How long a printed stencil may wait for its wash.
    pub dry_out: Duration,
    /// True when only a stencil that was taken with permission may be printed with.
    pub print_needs_take: bool,
    /// Strokes allowed between washes; none: any number.
    pub strokes_between_washes: Option<u64>,
    /// Time allowed between washes while printing; none: any.
    pub time_between_washes: Option<Duration>,
    /// Lowest tension in hundredths of N/cm, and the time between measurements.
    pub tension: Option<TensionPolicy>,
    /// How long a permitted store or take may be carried out.
    pub permit_time: Duration,
    /// A broken link shorter than this is taken to leave the stencil in its printer.
    pub trusted_outage: Duration,
    /// How long to wait after a broken link for the machine to name its stencil.
    pub seat_wait: Duration,
    /// How far two bases of one run may lie apart.
    pub tolerance: Tolerance,
    /// True when a stencil is only taken for an order that is known.
    pub orders_known: bool,
    /// A message that comes longer after what it tells of is late: it counts from then.
    pub late_after: Duration,
    /// How alarms behave.
    pub alarms: AlarmPolicy,
}

/// Limits on a stencil's tension.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TensionPolicy {
    /// Lowest allowed, in hundredths of N/cm.
    pub lowest_centi: i64,
    /// Longest time between measurements.
    pub every: Duration,
}

impl Default for Policy {
    fn default() -> Self {
        Self {
            wear: WearLimits::default(),
            product_wear: BTreeMap::new(),
            wash_age: Some(Duration::from_secs(72 * 3_600)),
            hand_reported_wash: false,
            dry_out: Duration::from_secs(3_600),
            print_needs_take: true,
            strokes_between_washes: None,
            time_between_washes: None,
            tension: None,
            permit_time: Duration::from_secs(60),
            trusted_outage: Duration::from_secs(120),
            seat_wait: Duration::from_secs(10),
            tolerance: Tolerance::default(),
            orders_known: false,
            late_after: Duration::from_secs(60),
            alarms: AlarmPolicy::default(),
        }
    }
}

impl Policy {
    /// The wear limits of a stencil: its own, its product's, or the plant's.
    #[must_use]
    pub fn wear_limits(&self, spec: &StencilSpec) -> WearLimits {
        spec.wear_limits
            .or_else(|| spec.product.as_ref().and_then(|p| self.product_wear.get(p)).copied())
            .unwrap_or(self.wear)
    }
}

/// The plant: everything that the configuration fixes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Plant {
    /// What is allowed.
    pub policy: Policy,
    /// Its machines.
    pub machines: BTreeMap<MachineName, MachineSpec>,
    /// The stencils that the configuration lists.
    pub stencils: BTreeMap<StencilCode, Listed>,
    /// Machines whose signals are shown and change nothing, while they are being wired.
    pub trial: BTreeSet<MachineName>,
    /// Machines whose messages tell when something happened, also those that had to wait, and come
    /// in order.
    pub timed: BTreeSet<MachineName>,
    /// SHA-256 of what the configuration was read from, in hexadecimal; empty when it was none.
    pub digest: String,
}

impl Plant {
    /// The machine's kind; machines that are not configured are of kind other.
    #[must_use]
    pub fn kind(&self, machine: &MachineName) -> MachineKind {
        self.machines.get(machine).map_or(MachineKind::Other, |spec| spec.kind)
    }

    /// True while what the machine says is shown and changes nothing.
    #[must_use]
    pub fn on_trial(&self, machine: &MachineName) -> bool {
        self.trial.contains(machine)
    }

    /// True when the machine says by itself which stencil is in it, and is to be believed.
    #[must_use]
    pub fn names_stencil(&self, machine: &MachineName) -> bool {
        !self.on_trial(machine) && self.machines.get(machine).is_some_and(|spec| spec.names_stencil)
    }

    /// What a counter of a machine counts, and of which printer.
    #[must_use]
    pub fn counted(&self, machine: &MachineName, counter: &CounterName) -> (MachineName, Counted) {
        let spec = self.machines.get(machine);
        let own = spec.and_then(|spec| spec.counters.get(counter));
        let of = own.and_then(|own| own.of.as_ref()).or(spec.and_then(|s| s.counts_for.as_ref()));
        (of.unwrap_or(machine).clone(), own.map_or(Counted::Strokes, |own| own.counts))
    }

    /// The printer that a machine speaks of when it tells of strokes, boards and orders: itself,
    /// the one it counts for, or the only one of its line that is not on trial.
    #[must_use]
    pub fn printer_of(&self, machine: &MachineName) -> MachineName {
        let Some(spec) = self.machines.get(machine) else {
            return machine.clone();
        };
        if let Some(printer) = &spec.counts_for {
            return printer.clone();
        }
        if spec.kind == MachineKind::Printer || spec.line.is_none() {
            return machine.clone();
        }
        let of_line =
            |other: &MachineSpec| other.kind == MachineKind::Printer && other.line == spec.line;
        let mut printers =
            self.machines.iter().filter(|(name, other)| of_line(other) && !self.on_trial(name));
        match (printers.next(), printers.next()) {
            (Some((only, _)), None) => only.clone(),
            _ => machine.clone(),
        }
    }

    /// True when this basis books the printer's strokes; else it is only compared.
    #[must_use]
    pub fn books(&self, printer: &MachineName, basis: BasisKind) -> bool {
        let bases = self.machines.get(printer).map(|spec| &spec.bases);
        basis == BasisKind::Hand || bases.is_none_or(|bases| bases.book.contains(&basis))
    }

    /// The shortest time between two strokes of a machine.
    #[must_use]
    pub fn fastest_cycle(&self, machine: &MachineName) -> Duration {
        self.machines.get(machine).map_or(Duration::ZERO, |spec| spec.fastest_cycle)
    }
}
