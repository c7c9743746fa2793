//! The configuration file: loading, checking, schema.

mod bases;
mod changes;
mod check;
pub mod configuration;
mod costs;
pub mod fault;
pub mod lines;
mod notes;
mod plant;
pub mod profiles;
pub mod read;
mod recorded;
mod wires;

use std::path::Path;

use sha2::Digest as _;

pub use changes::{Change, Difference};
pub use configuration::{Configuration, LanguageWord};
pub use costs::Costs;
pub use fault::Fault;
use lines::Lines;
use profiles::Shelf;
pub use wires::Wire;

/// Loads a configuration file. Relative paths in it start at its folder; profiles are looked for
/// in the folder `profiles` beside it, and then among those shipped.
///
/// # Errors
/// Every fault of the file at once.
pub fn load(file: &Path) -> Result<Configuration, Vec<Fault>> {
    load_noting(file).map(|(configuration, _)| configuration)
}

/// Loads a configuration file as [`load`] does, with notes of what in it can have no effect.
///
/// # Errors
/// Every fault of the file at once.
pub fn load_noting(file: &Path) -> Result<(Configuration, Vec<Fault>), Vec<Fault>> {
    let name = file.display().to_string();
    let text = text(file, "the path of a configuration file that this user may read")?;
    let folder = file.parent().unwrap_or(Path::new(""));
    let Whole { mut configuration, own, notes } = whole(&name, &text, &Shelf::beside(folder))?;
    configuration.digest = digest(std::iter::once(&text).chain(&own));
    configuration.ledger = folder.join(&configuration.ledger);
    if let Some(to) = configuration.archive.as_mut().and_then(|archive| archive.to.as_mut()) {
        *to = folder.join(&to);
    }
    for files in configuration.machines.iter_mut().filter_map(|machine| machine.files.as_mut()) {
        files.folder = folder.join(&files.folder);
    }
    for record in configuration.machines.iter_mut().filter_map(|machine| machine.record.as_mut()) {
        record.to = folder.join(&record.to);
    }
    if let Some(tls) = &mut configuration.tls {
        tls.certificate = folder.join(&tls.certificate);
        tls.key = folder.join(&tls.key);
    }
    for broker in &mut configuration.brokers {
        broker.start_paths_at(folder);
    }
    for endpoint in &mut configuration.cfx {
        endpoint.start_paths_at(folder);
    }
    for cfx in configuration.machines.iter_mut().filter_map(|machine| machine.cfx.as_mut()) {
        cfx.start_paths_at(folder);
    }
    for modbus in configuration.machines.iter_mut().filter_map(|machine| machine.modbus.as_mut()) {
        modbus.start_paths_at(folder);
    }
    Ok((configuration, notes))
}

/// The text of a file; `allowed` says which file is meant.
fn text(file: &Path, allowed: &str) -> Result<String, Vec<Fault>> {
    let name = file.display().to_string();
    let fault = |wrong: String, allowed: &str| vec![Fault::of_file(&name, wrong).allowing(allowed)];
    let text =
        std::fs::read(file).map_err(|error| fault(format!("cannot be read ({error})"), allowed))?;
    String::from_utf8(text).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        fault(format!("byte {at} is not UTF-8"), "text saved as UTF-8")
    })
}

/// SHA-256 of these one after the other, in hexadecimal.
fn digest<'t>(texts: impl IntoIterator<Item = &'t String>) -> String {
    let mut hash = sha2::Sha256::new();
    texts.into_iter().for_each(|text| hash.update(text));
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Reads a configuration from its text; `name` is what faults call it. Of profiles only those
/// shipped are known.
///
/// # Errors
/// Every fault of the text at once.
pub fn parse(name: &str, text: &str) -> Result<Configuration, Vec<Fault>> {
    whole(name, text, &Shelf::shipped()).map(|whole| whole.configuration)
}

/// What was made of a text.
struct Whole {
    configuration: Configuration,
    /// The texts of the plant's own profiles that it takes parts from.
    own: Vec<String>,
    notes: Vec<Fault>,
}

fn whole(name: &str, text: &str, shelf: &Shelf) -> Result<Whole, Vec<Fault>> {
    let (root, mut faults) = read::tree(name, text)?;
    let filled = profiles::fill_in(name, &root, shelf);
    let all = filled.faults.is_empty();
    faults.extend(filled.faults);
    let lines = Lines::of_files(filled.files, filled.root);
    let configuration: Configuration = read::of_tree(&lines, faults)
        .map_err(|faults| check::with_sound_entries(&lines, faults, all))?;
    let faults = lines.faults(configuration.check());
    if !faults.is_empty() {
        return Err(faults);
    }
    let notes = lines.faults(configuration.notes());
    Ok(Whole { configuration, own: filled.own, notes })
}

/// The JSON Schema of the configuration file, for editors that complete and mark.
#[must_use]
pub fn schema() -> String {
    read::printed(profiles::published(read::schema_of::<Configuration>()))
}

/// The JSON Schema of a profile's file.
#[must_use]
pub fn profile_schema() -> String {
    read::schema::<profiles::ProfileSettings>()
}
