//! Machines and ledger side by side.

use stencilward_config::Configuration;
use stencilward_domain::names::StencilCode;

use super::ledger_says::Said;
use super::tally::{Done, Tally};

/// Prints the comparison; true when nothing differs.
pub(super) fn compare(tally: &Tally, said: &Said, configuration: &Configuration) -> bool {
    let count = tally.count();
    let mut rows = Vec::new();
    for listed in &configuration.stencils {
        let Ok(code) = StencilCode::new(&listed.code) else {
            continue;
        };
        let machines = count.stencils.get(&code).copied().unwrap_or_default();
        let ledger = said.count.stencils.get(&code).copied().unwrap_or_default();
        rows.extend(pairs(machines, ledger).map(|(what, m, l)| (format!("{code} {what}"), m, l)));
    }
    for (machine, strokes) in &count.machines {
        let ledger = said.count.machines.get(machine).copied().unwrap_or_default();
        rows.push((format!("{machine} strokes"), *strokes, ledger));
    }
    rows.push(("strokes nobody can attribute".to_owned(), 0, said.unattributed));

    println!("\n{:<32} {:>12} {:>12}", "", "the machines", "the ledger");
    let mut differences = 0;
    for (what, machines, ledger) in rows {
        let mark = if machines == ledger { "" } else { "   differs" };
        differences += usize::from(machines != ledger);
        println!("{what:<32} {machines:>12} {ledger:>12}{mark}");
    }
    println!("\n{} events, the chain of hashes is whole. Differences: {differences}", said.events);
    differences == 0
}

fn pairs(machines: Done, ledger: Done) -> impl Iterator<Item = (&'static str, u64, u64)> {
    [
        ("strokes", machines.strokes, ledger.strokes),
        ("washes", machines.washes, ledger.washes),
        ("stored", machines.stored, ledger.stored),
        ("taken", machines.taken, ledger.taken),
        ("refused", machines.refused, ledger.refused),
    ]
    .into_iter()
}
