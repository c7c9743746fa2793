//! `stencilward check FILE`.

use std::path::Path;
use std::process::ExitCode;

use stencilward_config::Configuration;
use stencilward_config::profiles::{Shelf, Vector, vectors};

/// Says what is wrong with the file and the profiles beside it, or in a line what it describes.
/// Notes tell what can have no effect; they are no faults. With `plan` also which requests read each Modbus machine.
pub(super) fn check(file: &Path, plan: bool) -> ExitCode {
    let (configuration, notes) = match stencilward_config::load_noting(file) {
        Ok(loaded) => loaded,
        Err(faults) => {
            super::tell(&faults);
            return ExitCode::from(super::BAD_CONFIGURATION);
        }
    };
    let shelf = Shelf::beside(file.parent().unwrap_or(Path::new("")));
    let tested = vectors(&shelf).and_then(|vectors| {
        let wrong: Vec<_> = vectors.iter().filter_map(Vector::run).collect();
        if wrong.is_empty() { Ok(vectors.len()) } else { Err(wrong) }
    });
    match tested {
        Ok(tests) => {
            notes.iter().for_each(|note| println!("note: {note}"));
            println!("{}: no fault. {}", file.display(), configuration.summary());
            if tests > 0 {
                let s = if tests == 1 { "" } else { "s" };
                println!("{tests} test{s} of the plant's own profiles passed");
            }
            if plan {
                show_plans(&configuration);
            }
            ExitCode::SUCCESS
        }
        Err(faults) => {
            super::tell(&faults);
            ExitCode::from(super::BAD_CONFIGURATION)
        }
    }
}

fn show_plans(configuration: &Configuration) {
    for machine in &configuration.machines {
        if let Some(settings) = &machine.modbus {
            println!("{}:", machine.name);
            settings.reading_plan().iter().for_each(|line| println!("  {line}"));
        }
    }
}
