//! Notes: what a sound configuration says that can have no effect, or only by a person's hand.
//!
//! They are no faults, since lists are imported and people act over HTTP, but whoever wires a
//! plant wants to know before the first shift does.

mod asking;

use stencilward_adapters::cfx;
use stencilward_adapters::modbus::Point;
use stencilward_adapters::mqtt::Signal;
use stencilward_adapters::settings::Drive;
use stencilward_adapters::sparkplug::Metric;

use crate::check::Found;
use crate::configuration::{Configuration, MachineSettings, StencilSettings, WearSettings};
use crate::read::wording::{did_you_mean, near};

/// In common practice; as the policy has it unless set.
const USUAL_STOP: f64 = 99.0;

impl Configuration {
    /// What can have no effect: the path of the key, why, and what to do where it was meant
    /// otherwise.
    #[must_use]
    pub(crate) fn notes(&self) -> Found {
        let mut found = Found::new();
        self.note_brokers(&mut found);
        self.note_endpoints(&mut found);
        self.note_products(&mut found);
        self.note_stencils(&mut found);
        self.note_policy(&mut found);
        for (index, machine) in self.machines.iter().enumerate() {
            self.note_machine(&format!("machines[{index}]"), machine, &mut found);
        }
        found
    }

    fn note_brokers(&self, found: &mut Found) {
        let speaks = |machine: &MachineSettings, name: &str| {
            machine.mqtt.as_ref().is_some_and(|mqtt| mqtt.broker == name)
                || machine.sparkplug.as_ref().is_some_and(|sparkplug| sparkplug.broker == name)
        };
        for (index, broker) in self.brokers.iter().enumerate() {
            let used = broker.publish.is_some()
                || self.machines.iter().any(|machine| speaks(machine, &broker.name))
                || self.sparkplug.iter().any(|at| at.broker == broker.name);
            if !used {
                note(
                    found,
                    format!("brokers[{index}]"),
                    "no machine speaks through this broker, and nothing is published there; name \
                     it under a machine's mqtt, or drop it",
                );
            }
        }
    }

    fn note_endpoints(&self, found: &mut Found) {
        for (index, endpoint) in self.cfx.iter().enumerate() {
            let hears = |machine: &MachineSettings| {
                machine.cfx.as_ref().is_some_and(|cfx| cfx.endpoint == endpoint.name)
            };
            if !endpoint.publishes() && !self.machines.iter().any(hears) {
                note(
                    found,
                    format!("cfx[{index}]"),
                    "no machine is heard at this endpoint, and nothing is published there; name it \
                     under a machine's cfx, or drop it",
                );
            }
        }
    }

    fn note_products(&self, found: &mut Found) {
        let made: Vec<&str> =
            self.stencils.iter().filter_map(|stencil| stencil.product.as_deref()).collect();
        for (index, product) in self.products.iter().enumerate() {
            if !made.contains(&product.name.as_str()) {
                let meant = did_you_mean(near(&product.name, made.iter().copied()));
                note(
                    found,
                    format!("products[{index}].name"),
                    format!(
                        "no stencil of this file has the product {:?}{meant}; its wear bands \
                         apply to imported stencils only",
                        product.name
                    ),
                );
            }
        }
    }

    fn note_stencils(&self, found: &mut Found) {
        for (index, stencil) in self.stencils.iter().enumerate() {
            let stop = self.stop(stencil);
            if as_f64(stencil.strokes_so_far) >= stop {
                note(
                    found,
                    format!("stencils[{index}].strokes-so-far"),
                    format!(
                        "{} comes in stopped, since it made {} of the {stop:.0} strokes it may \
                         make; only a concession lets it be used",
                        stencil.code, stencil.strokes_so_far
                    ),
                );
            }
        }
    }

    /// Strokes at which a stencil is stopped.
    fn stop(&self, stencil: &StencilSettings) -> f64 {
        let product = stencil.product.as_ref();
        let product = self.products.iter().find(|known| Some(&known.name) == product);
        let wear: Option<WearSettings> =
            stencil.wear.or(product.map(|product| product.wear)).or(self.policy.wear);
        as_f64(stencil.rated_strokes) * wear.map_or(USUAL_STOP, |wear| wear.stop) / 100.0
    }

    fn note_policy(&self, found: &mut Found) {
        let policy = &self.policy;
        let prints = self.machines.iter().any(MachineSettings::is_printer);
        if prints && !policy.wash.by_hand && !self.tells(tells_of_washes) {
            note(
                found,
                "policy.wash.by-hand",
                "no machine tells of washes and people may not report one, so what was printed \
                 with can never be clean again; wire a washer, or set policy: { wash: { by-hand: \
                 true } }",
            );
        }
        let most = self.stencils.iter().map(|stencil| self.stop(stencil)).reduce(f64::max);
        if let (Some(limit), Some(most)) = (policy.printing.strokes_between_washes, most)
            && as_f64(limit) >= most
        {
            note(
                found,
                "policy.printing.strokes-between-washes",
                format!(
                    "is never reached, since wear stops every stencil of this file at {most:.0} \
                     strokes or before; lower it, or leave it out"
                ),
            );
        }
        if policy.tension.is_some() && !self.tells(tells_tension) {
            note(
                found,
                "policy.tension",
                "no machine measures tension in N/cm, so every stencil is refused as not \
                 measured; wire a gauge as measured with quantity: tension, or leave this out",
            );
        }
        if policy.orders.must_be_known && !self.tells(tells_orders) {
            note(
                found,
                "policy.orders.must-be-known",
                "no machine releases orders, so only those released over HTTP are known; wire a \
                 folder of orders or order-released, or leave this out",
            );
        }
    }

    fn note_machine(&self, path: &str, machine: &MachineSettings, found: &mut Found) {
        let (section, silent) = match (&machine.modbus, &machine.mqtt) {
            (Some(modbus), _) => ("modbus.points", modbus.points.is_empty()),
            (None, Some(mqtt)) => ("mqtt.messages", mqtt.messages.is_empty()),
            (None, None) => match (&machine.sparkplug, &machine.cfx) {
                (Some(sparkplug), _) => ("sparkplug.metrics", sparkplug.metrics.is_empty()),
                (None, Some(cfx)) => ("cfx.signals", cfx.signals.is_empty()),
                (None, None) => return,
            },
        };
        if silent {
            note(
                found,
                format!("{path}.{section}"),
                "empty: nothing is read of this machine, so all it does is follow its outputs",
            );
        }
        asking::note_questions(path, machine, found);
        let (outputs, _) = section.split_once('.').unwrap_or((section, ""));
        for (index, (name, drive)) in machine.outputs().into_iter().enumerate() {
            let why = match drive {
                Drive::PrintPermit => self.never_prints(machine),
                Drive::DoorRelease => self.never_opens(),
                Drive::Heartbeat => None,
            };
            if let Some(why) = why {
                let path = format!("{path}.{outputs}.outputs[{index}]");
                note(found, path, format!("{name} permits only {why}"));
            }
        }
    }

    fn never_prints(&self, machine: &MachineSettings) -> Option<String> {
        if !gives(machine, tells_seat) && !self.tells(tells_seat_of_others) {
            return Some(format!(
                "after a person has said which stencil is in it (POST \
                 /api/v1/machines/{}/seat), since nothing else does; wire stencil-seated where \
                 the machine shows it",
                machine.name
            ));
        }
        (self.policy.printing.needs_take && !self.tells(tells_takes)).then(|| {
            "what a person has taken over HTTP (POST /api/v1/stencils/CODE/take), since no \
             machine asks to take; wire take-asked, or set policy: { printing: { needs-take: \
             false } }"
                .to_owned()
        })
    }

    fn never_opens(&self) -> Option<String> {
        let asks = self.tells(tells_takes) || self.tells(tells_stores);
        (!asks).then(|| {
            "what a person asks over HTTP, since no machine asks to store or take; wire \
             store-asked and take-asked"
                .to_owned()
        })
    }

    /// True when some machine tells of something.
    fn tells(&self, what: What) -> bool {
        self.machines.iter().any(|machine| gives(machine, what))
    }
}

/// What a machine may tell of: by a point, or by a message.
type What = fn(Told<'_>) -> bool;

#[derive(Clone, Copy)]
enum Told<'a> {
    Point(&'a Point),
    Message(&'a stencilward_adapters::mqtt::Message),
    Metric(&'a Metric),
    Cfx(cfx::Signal),
    Asks(cfx::ToolCheck),
    Folder,
}

fn gives(machine: &MachineSettings, what: What) -> bool {
    let points = machine.modbus.iter().flat_map(|modbus| &modbus.points).map(Told::Point);
    let messages = machine.mqtt.iter().flat_map(|mqtt| &mqtt.messages).map(Told::Message);
    let metrics = machine.sparkplug.iter().flat_map(|sparkplug| &sparkplug.metrics);
    let folder = machine.files.iter().map(|_| Told::Folder);
    let cfx = machine.cfx.iter().flat_map(|cfx| {
        let asks = cfx.tool_check.map(Told::Asks);
        cfx.signals.iter().copied().map(Told::Cfx).chain(asks)
    });
    points.chain(messages).chain(metrics.map(Told::Metric)).chain(folder).chain(cfx).any(what)
}

fn tells_of_washes(told: Told<'_>) -> bool {
    match told {
        Told::Point(point) => matches!(point, Point::WashRunning(_)),
        Told::Message(message) => message.signal == Signal::WashEnded,
        Told::Metric(metric) => matches!(metric, Metric::WashState(_)),
        Told::Cfx(signal) => signal == cfx::Signal::Washes,
        Told::Folder | Told::Asks(_) => false,
    }
}

fn tells_tension(told: Told<'_>) -> bool {
    let tension = |quantity: &str| quantity.trim() == "tension";
    match told {
        Told::Point(Point::Measured(measured)) => tension(&measured.quantity),
        Told::Message(message) => {
            message.quantity.as_deref().is_some_and(tension)
                || message.measured.iter().any(|measures| tension(&measures.quantity))
        }
        Told::Metric(Metric::Measured(measured)) => tension(&measured.quantity),
        Told::Point(_) | Told::Metric(_) | Told::Folder | Told::Cfx(_) | Told::Asks(_) => false,
    }
}

fn tells_orders(told: Told<'_>) -> bool {
    match told {
        Told::Message(message) => message.signal == Signal::OrderReleased,
        Told::Cfx(signal) => signal == cfx::Signal::OrderReleased,
        Told::Folder => true,
        Told::Point(_) | Told::Metric(_) | Told::Asks(_) => false,
    }
}

fn tells_seat(told: Told<'_>) -> bool {
    match told {
        Told::Point(point) => matches!(point, Point::StencilSeated(_)),
        Told::Message(message) => message.signal == Signal::StencilSeated,
        Told::Metric(metric) => matches!(metric, Metric::StencilSeated(_)),
        Told::Cfx(signal) => signal == cfx::Signal::StencilSeated,
        Told::Folder | Told::Asks(_) => false,
    }
}

fn tells_seat_of_others(told: Told<'_>) -> bool {
    matches!(told, Told::Message(message)
        if message.signal == Signal::StencilSeated && message.machine.is_some())
}

fn tells_takes(told: Told<'_>) -> bool {
    match told {
        Told::Point(point) => matches!(point, Point::TakeAsked(_)),
        Told::Message(message) => message.signal == Signal::TakeAsked,
        Told::Metric(metric) => matches!(metric, Metric::TakeAsked(_)),
        Told::Asks(check) => check == cfx::ToolCheck::Take,
        Told::Folder | Told::Cfx(_) => false,
    }
}

fn tells_stores(told: Told<'_>) -> bool {
    match told {
        Told::Point(point) => matches!(point, Point::StoreAsked(_)),
        Told::Message(message) => message.signal == Signal::StoreAsked,
        Told::Metric(metric) => matches!(metric, Metric::StoreAsked(_)),
        Told::Asks(check) => check == cfx::ToolCheck::Store,
        Told::Folder | Told::Cfx(_) => false,
    }
}

fn note(found: &mut Found, path: impl Into<String>, words: impl Into<String>) {
    found.push((path.into(), words.into()));
}

/// Strokes of a life are far below what this cannot hold exactly.
#[allow(clippy::cast_precision_loss)]
fn as_f64(strokes: u64) -> f64 {
    strokes as f64
}
