//! The configuration file: loading, checking, schema.

mod bases;
mod check;
pub mod configuration;
mod costs;
pub mod fault;
pub mod lines;
mod plant;
pub mod read;

use std::path::Path;

pub use configuration::Configuration;
pub use costs::Costs;
pub use fault::Fault;

/// Loads a configuration file. Relative paths in it start at its folder.
///
/// # Errors
/// Every fault of the file at once.
pub fn load(file: &Path) -> Result<Configuration, Vec<Fault>> {
    let name = file.display().to_string();
    let text = std::fs::read(file).map_err(|error| {
        vec![
            Fault::of_file(&name, format!("cannot be read ({error})"))
                .allowing("the path of a configuration file that this user may read"),
        ]
    })?;
    let text = String::from_utf8(text).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        vec![
            Fault::of_file(&name, format!("byte {at} is not UTF-8"))
                .allowing("text saved as UTF-8"),
        ]
    })?;
    let mut configuration = parse(&name, &text)?;
    if let Some(folder) = file.parent() {
        configuration.ledger = folder.join(&configuration.ledger);
        for files in configuration.machines.iter_mut().filter_map(|machine| machine.files.as_mut())
        {
            files.folder = folder.join(&files.folder);
        }
    }
    Ok(configuration)
}

/// Reads a configuration from its text; `name` is what faults call it.
///
/// # Errors
/// Every fault of the text at once.
pub fn parse(name: &str, text: &str) -> Result<Configuration, Vec<Fault>> {
    let (configuration, lines) = read::read::<Configuration>(name, text)
        .map_err(|faults| check::with_sound_entries(name, text, faults))?;
    let faults = lines.faults(configuration.check());
    if faults.is_empty() { Ok(configuration) } else { Err(faults) }
}

/// The JSON Schema of the configuration file, for editors that complete and mark.
#[must_use]
pub fn schema() -> String {
    read::schema::<Configuration>()
}
