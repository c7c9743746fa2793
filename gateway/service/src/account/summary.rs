//! Machines and ledger side by side.

use std::collections::BTreeSet;

use super::ledger_says::Said;
use crate::plant::tally::{Done, Tally};

/// Prints the comparison; true when nothing differs.
pub(crate) fn compare(tally: &Tally, said: &Said) -> bool {
    let count = tally.count();
    let mut rows = Vec::new();
    let codes: BTreeSet<_> = count.stencils.keys().chain(said.count.stencils.keys()).collect();
    for code in codes {
        let machines = count.stencils.get(code).copied().unwrap_or_default();
        let ledger = said.count.stencils.get(code).copied().unwrap_or_default();
        rows.extend(pairs(machines, ledger).map(|(what, m, l)| (format!("{code} {what}"), m, l)));
    }
    for (machine, strokes) in &count.machines {
        let ledger = said.count.machines.get(machine).copied().unwrap_or_default();
        rows.push((format!("{machine} strokes"), *strokes, ledger));
    }
    let nobodys = (count.nobodys, said.count.nobodys);
    rows.push(("strokes nobody can attribute".to_owned(), nobodys.0, nobodys.1));

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
