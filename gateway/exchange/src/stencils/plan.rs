//! What a list would change: the dry run.

use stencilward_domain::event::StencilSpec;
use stencilward_domain::plant::Listed;
use stencilward_domain::site::{Request, Site};
use stencilward_domain::stencil::{Cleanliness, Stencil};

use super::write::cells;
use super::{COLUMNS, Entry, List};
use crate::fault::RowFault;

/// What taking in a list would do.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Plan {
    /// Stencils that come in.
    pub new: Vec<Listed>,
    /// Stencils that are known and would be changed.
    pub revised: Vec<Revised>,
    /// Stencils that are known just so.
    pub same: usize,
    /// What speaks against it, by line.
    pub faults: Vec<RowFault>,
}

/// A known stencil that a list would change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Revised {
    /// The line that says so.
    pub line: u64,
    /// As it would be.
    pub listed: Listed,
    /// Each change in words.
    pub changes: Vec<String>,
}

impl Plan {
    /// What to ask of the site; none while there are faults, or when nothing would change.
    #[must_use]
    pub fn request(&self) -> Option<Request> {
        let revised = self.revised.iter().map(|revised| &revised.listed);
        let entries: Vec<Listed> = self.new.iter().chain(revised).cloned().collect();
        (self.faults.is_empty() && !entries.is_empty()).then_some(Request::TakeIn { entries })
    }
}

/// Compares a list with what is known; its own faults are among those of the plan. `source` is the source of counts for which the list names
/// none.
#[must_use]
pub fn plan(list: &List, site: &Site, source: &str) -> Plan {
    let mut plan = Plan { faults: list.faults.clone(), ..Plan::default() };
    for (line, entry) in &list.entries {
        match site.state().stencils.get(&entry.stencil) {
            Some(known) => {
                let configured = site.plant().stencils.contains_key(&entry.stencil);
                compare(*line, entry, known, configured, &mut plan);
            }
            None => match spec(entry, None) {
                Some(spec) => plan.new.push(Listed {
                    spec,
                    starting_strokes: entry.strokes_so_far.unwrap_or(0),
                    clean: entry.clean.unwrap_or(false),
                    source: entry.source.clone().unwrap_or_else(|| source.to_owned()),
                }),
                None => plan.faults.push(RowFault::of_cell(
                    *line,
                    "rated_strokes",
                    "missing: a new stencil needs the strokes it is rated for",
                )),
            },
        }
    }
    plan.faults.sort_by_key(|fault| fault.line);
    plan
}

fn compare(line: u64, entry: &Entry, known: &Stencil, configured: bool, plan: &mut Plan) {
    let code = &entry.stencil;
    let before = plan.faults.len();
    if known.retired.is_some() {
        let fault = format!("{code} is retired: give its successor a code of its own");
        plan.faults.push(RowFault::of_cell(line, "stencil", fault));
    }
    if let Some(strokes) = entry.strokes_so_far.filter(|strokes| *strokes != known.strokes) {
        let fault = format!(
            "{code} has {} strokes here, not {strokes}: leave the cell empty, or correct the \
             event that is wrong",
            known.strokes
        );
        plan.faults.push(RowFault::of_cell(line, "strokes_so_far", fault));
    }
    let clean = known.cleanliness.value == Cleanliness::Clean;
    if entry.clean.is_some_and(|said| said != clean) {
        let found = known.cleanliness.value.as_str();
        let fault = format!("{code} is {found} here: leave the cell empty, or have it washed");
        plan.faults.push(RowFault::of_cell(line, "clean", fault));
    }
    let Some(spec) = spec(entry, Some(&known.spec)).filter(|spec| *spec != known.spec) else {
        plan.same += usize::from(plan.faults.len() == before);
        return;
    };
    if configured {
        let fault = format!(
            "{code} is in the configuration, which would change it back at the next start: \
             change it there"
        );
        plan.faults.push(RowFault::of_row(line, fault));
    }
    if plan.faults.len() == before {
        let changes = changes(&known.spec, &spec);
        let source = entry.source.clone().unwrap_or_default();
        let listed = Listed { spec, starting_strokes: known.strokes, clean, source };
        plan.revised.push(Revised { line, listed, changes });
    }
}

/// The entry as a whole, with what it does not say as it is known; none when that is not enough.
fn spec(entry: &Entry, known: Option<&StencilSpec>) -> Option<StencilSpec> {
    let rated_strokes = entry.rated_strokes.or(known.map(|known| known.rated_strokes))?;
    let known = known.cloned();
    let known = known.unwrap_or_else(|| StencilSpec::rated(entry.stencil.clone(), rated_strokes));
    let said = entry.clone();
    Some(StencilSpec {
        stencil: said.stencil,
        product: said.product.or(known.product),
        side: said.side.or(known.side),
        revision: said.revision.or(known.revision),
        rated_strokes,
        rated_washes: said.rated_washes.or(known.rated_washes),
        wear_limits: said.wear_limits.or(known.wear_limits),
        price_centi: said.price_centi.or(known.price_centi),
        lead_days: said.lead_days.or(known.lead_days),
    })
}

fn changes(before: &StencilSpec, after: &StencilSpec) -> Vec<String> {
    let said = |spec| cells(&Entry::whole(spec, 0, false, ""));
    let pairs = said(before).into_iter().zip(said(after));
    let changed = COLUMNS.iter().zip(pairs).filter(|(_, (before, after))| before != after);
    changed
        .map(|(column, (before, after))| match before.as_str() {
            "" => format!("{column} {after}, not known before"),
            before => format!("{column} {after} instead of {before}"),
        })
        .collect()
}
