//! `stencilward check FILE`.

use std::path::Path;
use std::process::ExitCode;

/// Says what is wrong with the file, or in a line what it describes.
pub(super) fn check(file: &Path) -> ExitCode {
    match super::load(file) {
        Ok(configuration) => {
            println!("{}: no fault. {}", file.display(), configuration.summary());
            ExitCode::SUCCESS
        }
        Err(status) => status,
    }
}
