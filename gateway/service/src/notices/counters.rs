//! What CFX endpoints tell of stencils: the counters of each, when they change.

use std::collections::{BTreeMap, BTreeSet};

use stencilward_adapters::cfx::Counters;
use stencilward_domain::names::StencilCode;
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;

use super::level;

/// The counters of the stencils that something happened to.
#[derive(Default)]
pub(super) struct Changed(BTreeMap<StencilCode, Counters>);

impl Changed {
    /// Those that are not as they were told last.
    pub(super) fn of(
        &mut self,
        stencils: &BTreeSet<&StencilCode>,
        site: &Site,
        now: Timestamp,
    ) -> Vec<(String, Vec<u8>)> {
        let mut told = Vec::new();
        for code in stencils {
            let Some(counters) = counters(code, site) else { continue };
            if self.0.get(*code) != Some(&counters) {
                told.push(kept(&counters, now));
                self.0.insert((*code).clone(), counters);
            }
        }
        told
    }
}

/// The counters of every stencil in use.
pub(super) fn all(site: &Site, now: Timestamp) -> Vec<(String, Vec<u8>)> {
    let in_use = site.state().stencils.iter().filter(|(_, stencil)| stencil.retired.is_none());
    in_use.filter_map(|(code, _)| Some(kept(&counters(code, site)?, now))).collect()
}

fn kept(counters: &Counters, now: Timestamp) -> (String, Vec<u8>) {
    (format!("counters/{}", level(counters.stencil.as_str())), counters.kept(now))
}

fn counters(code: &StencilCode, site: &Site) -> Option<Counters> {
    let stencil = site.state().stencils.get(code)?;
    let wash = stencil.last_wash.as_ref();
    Some(Counters {
        stencil: code.clone(),
        strokes: stencil.strokes,
        life_ratio: stencil.life_ratio(),
        // A correction may take strokes away that were made since.
        washed_at_strokes: wash.map(|_| stencil.strokes.saturating_sub(stencil.strokes_since_wash)),
        washed_at: wash.map(|wash| wash.since),
    })
}
