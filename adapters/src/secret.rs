//! Passwords, from files or the environment. They are read anew each time they are needed, so that
//! they can be renewed while the gateway runs.

use std::io::{self, Read as _};
use std::path::Path;

/// Largest file that may hold a password, in bytes.
const LONGEST_SECRET: u64 = 64 * 1024;

/// The password in a file or else in a variable; empty where neither is named.
pub(crate) fn password(file: Option<&str>, variable: Option<&str>) -> Result<String, String> {
    match (file, variable) {
        (Some(file), _) => read(Path::new(file)).map_err(|error| {
            format!(
                "the password file {file} cannot be read ({error}); let the gateway's user read it"
            )
        }),
        (None, Some(variable)) => std::env::var(variable)
            .map_err(|_| format!("the variable {variable} with the password is not set")),
        (None, None) => Ok(String::new()),
    }
}

/// The text of a small file, without the end of its line.
fn read(file: &Path) -> io::Result<String> {
    let mut text = String::new();
    std::fs::File::open(file)?.take(LONGEST_SECRET).read_to_string(&mut text)?;
    Ok(text.trim_end_matches(['\r', '\n']).to_owned())
}
