//! Keeps what links may show of the plant as it is: after each durable write, what that moved.

use std::collections::BTreeSet;
use std::sync::Arc;

use stencilward_adapters::shown::{Shown, ShownMachine, ShownStencil, View};
use stencilward_domain::event::Event;
use stencilward_domain::machine::LinkState;
use stencilward_domain::names::StencilCode;
use stencilward_domain::site::Site;
use stencilward_domain::stencil::Stencil;
use stencilward_domain::time::Timestamp;
use tokio::sync::watch;

use crate::metrics::stencils_in;

/// What is shown, and who sees it.
pub(crate) struct Showing(watch::Sender<Shown>);

impl Showing {
    /// Shows nothing yet.
    pub(crate) fn new() -> (Self, View) {
        let (shown, view) = watch::channel(Shown::default());
        (Self(shown), view)
    }

    /// Shows the whole plant.
    pub(crate) fn show_all(&self, site: &Site, now: Timestamp) {
        let all = site.state().stencils.keys().cloned().collect();
        self.show(&all, site, now);
        self.0.send_if_modified(|shown| !std::mem::replace(&mut shown.complete, true));
    }

    /// Shows what the events moved.
    pub(crate) fn follow<'e>(
        &self,
        events: impl Iterator<Item = &'e Event>,
        site: &Site,
        now: Timestamp,
    ) {
        self.show(&events.flat_map(stencils_in).cloned().collect(), site, now);
    }

    /// Shows what changes by itself as time passes: a concession that ends.
    pub(crate) fn tick(&self, site: &Site, now: Timestamp) {
        let stencils = site.state().stencils.iter();
        let ending = stencils.filter(|(_, stencil)| stencil.concession.is_some());
        let ending: BTreeSet<StencilCode> = ending.map(|(code, _)| code.clone()).collect();
        if !ending.is_empty() {
            self.show(&ending, site, now);
        }
    }

    fn show(&self, stencils: &BTreeSet<StencilCode>, site: &Site, now: Timestamp) {
        self.0.send_if_modified(|shown| {
            let mut changed = false;
            for code in stencils {
                changed |= show_stencil(shown, code, site, now);
            }
            let machines = site.plant().machines.keys().map(|name| {
                let machine = site.state().machines.get(name);
                let up = machine.is_some_and(|machine| machine.link == LinkState::Up);
                let unattributed = machine.map_or(0, |machine| machine.unattributed);
                (name, ShownMachine { up, unattributed })
            });
            if !machines.clone().eq(shown.machines.iter().map(|(name, m)| (name, m.clone()))) {
                shown.machines = machines.map(|(name, machine)| (name.clone(), machine)).collect();
                changed = true;
            }
            changed
        });
    }
}

/// True when it shows otherwise than before.
fn show_stencil(shown: &mut Shown, code: &StencilCode, site: &Site, now: Timestamp) -> bool {
    let known = site.state().stencils.get(code);
    let Some(stencil) = known.filter(|stencil| stencil.retired.is_none()) else {
        return shown.stencils.remove(code).is_some();
    };
    let stencil = picture(stencil, now);
    if shown.stencils.get(code).is_some_and(|before| **before == stencil) {
        return false;
    }
    shown.stencils.insert(code.clone(), Arc::new(stencil));
    true
}

fn picture(stencil: &Stencil, now: Timestamp) -> ShownStencil {
    let place = &stencil.place.value;
    ShownStencil {
        product: stencil.spec.product.as_ref().map(ToString::to_string),
        cleanliness: stencil.cleanliness.value.as_str(),
        standing: stencil.standing(now).as_str(),
        wear_band: stencil.band.value.as_str(),
        place: place.kind(),
        machine: place.machine().map(ToString::to_string),
        slot: place.slot().map(ToString::to_string),
        strokes: stencil.strokes,
        rated_strokes: stencil.spec.rated_strokes,
        life_ratio: stencil.life_ratio(),
        strokes_since_wash: stencil.strokes_since_wash,
        washes: stencil.washes,
    }
}
