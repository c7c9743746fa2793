//! What machines did and what the ledger says, side by side.

mod ledger_says;
mod summary;

pub(crate) use ledger_says::ledger_says;
pub(crate) use summary::compare;

use stencilward_domain::site::Site;

use crate::plant::tally::Count;

/// True when the site knows of every stroke and wash, and of every stencil that lies in a slot.
pub(crate) fn knows(site: &Site, done: &Count) -> bool {
    let machines = site.state().machines.values();
    let strokes: u64 = machines.map(|machine| machine.booked + machine.unattributed).sum();
    strokes >= done.machines.values().sum()
        && done.stencils.iter().all(|(code, done)| {
            let washes = site.state().stencils.get(code).map_or(0, |stencil| stencil.washes);
            washes >= done.washes && (done.stored <= done.taken || site.is_stored(code))
        })
}
