//! Programs that drop orders into folders.

use std::path::Path;
use std::sync::Arc;

use anyhow::Context as _;
use stencilward_adapters::files::{Machine, Settings};
use stencilward_domain::names::MachineName;

use super::Started;

/// Starts one with a folder of its own below `plant`.
pub(super) fn start(
    name: &MachineName,
    settings: &mut Settings,
    plant: &Path,
) -> anyhow::Result<Started> {
    let folder = tempfile::Builder::new().prefix("orders-").tempdir_in(plant);
    let folder = folder.with_context(|| format!("no folder for {name}"))?.keep();
    let real = std::mem::replace(&mut settings.folder, folder.clone());
    Ok(Started {
        machine: Arc::new(Machine::start(&folder)),
        speaks: "files".to_owned(),
        real: real.display().to_string(),
        here: folder.display().to_string(),
    })
}
