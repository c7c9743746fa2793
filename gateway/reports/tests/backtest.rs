//! The forecast on simulated stencils whose end is known: how often the true date lies in the
//! interval, how far off the date is, and whether that is better than naive methods.
//!
//! `STENCILWARD_SEED` sets the seed. The table in `README.md` is that of the standard seed, and
//! written anew with `STENCILWARD_WRITE=1`. The method's numbers were chosen on seeds 1 to 3.

mod common;

use std::env;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use common::methods::{self, Contender, ours};
use common::patterns::Pattern;
use common::score::{Score, scores};
use common::stencils::{Case, cases};
use stencilward_reports::forecast::Method;

const STANDARD_SEED: u64 = 20_260;
const PLANTS: usize = 160;

/// The chosen method, the two naive ones, then what was rejected.
fn contenders() -> Vec<Contender> {
    let chosen = Method::default();
    let daily = Method { most_blocks: usize::MAX, shortest_block: 1, ..chosen };
    let weekly = Method { most_blocks: usize::MAX, ..chosen };
    vec![
        ours("**chosen**", chosen),
        methods::since_first_use(),
        methods::last_30_days(),
        methods::cumulative_line(),
        ours("blocks of one production day", daily),
        ours("blocks of five production days", weekly),
        ours("no allowance for a change of rate", Method { change: 0.0, ..chosen }),
        ours("no window: all of the history", Method { window: usize::MAX, ..chosen }),
        ours("a window of 40 production days", Method { window: 40, ..chosen }),
        methods::exponentially_weighted(60.0),
        methods::calendar_days(),
        ours("blind to siblings", Method { rescale_shared: false, ..chosen }),
    ]
}

fn table(contenders: &[Contender], cases: &[Case], overall: &[Score]) -> String {
    let mut table = format!(
        "{} stencils, seed {STANDARD_SEED}.\n\n\
         | method | dated | true date inside | median error, days | median width, days |\n\
         |---|---|---|---|---|\n",
        cases.len()
    );
    for (contender, score) in contenders.iter().zip(overall) {
        let _ = writeln!(table, "| {} | {} |", contender.name, score.cells());
    }
    table.push_str(
        "\n| pattern, by the chosen method | dated | true date inside | median error, days | \
         median width, days | naive: since first use | naive: 30 days |\n\
         |---|---|---|---|---|---|---|\n",
    );
    for pattern in Pattern::ALL {
        let of = cases.iter().filter(|case| case.pattern == pattern);
        let scores = scores(&contenders[..3], of);
        let (cells, naive) = (scores[0].cells(), [scores[1].error(), scores[2].error()]);
        let words = pattern.words();
        let _ = writeln!(table, "| {words} | {cells} | {:.0} | {:.0} |", naive[0], naive[1]);
    }
    table
}

#[test]
fn true_dates_lie_inside_and_naive_methods_do_worse() {
    let given = env::var("STENCILWARD_SEED").ok();
    let seed = given.map_or(STANDARD_SEED, |seed| seed.parse().expect("a whole number"));
    let cases = cases(seed, PLANTS);
    assert!(cases.len() >= 1_000, "{} stencils", cases.len());
    let contenders = contenders();
    let overall = scores(&contenders, cases.iter());
    let table = table(&contenders, &cases, &overall);
    println!("STENCILWARD_SEED={seed}\n{table}");
    let (chosen, naive) = (&overall[0], &overall[1..3]);
    assert!(chosen.dated >= 1_000, "{} dates", chosen.dated);
    assert!((85.0..=95.0).contains(&chosen.coverage()), "{} %", chosen.coverage());
    for naive in naive {
        assert!(chosen.error() < naive.error(), "{} {}", chosen.error(), naive.error());
    }
    if seed == STANDARD_SEED {
        same_as_in_the_readme(&table);
    }
}

fn same_as_in_the_readme(table: &str) {
    const BEGIN: &str = "<!-- back-test: begin -->\n";
    const END: &str = "<!-- back-test: end -->";
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    let readme = fs::read_to_string(&path).expect("the README can be read");
    let (before, rest) = readme.split_once(BEGIN).expect("where the table begins");
    let (shown, after) = rest.split_once(END).expect("where the table ends");
    if env::var_os("STENCILWARD_WRITE").is_some() {
        let anew = format!("{before}{BEGIN}{table}{END}{after}");
        fs::write(&path, anew).expect("the README can be written");
    } else {
        assert_eq!(shown, table, "write it anew with STENCILWARD_WRITE=1");
    }
}
