//! The Python that runs the peers, with the libraries that make them independent of ours.
//!
//! In this order: the one named by `STENCILWARD_PYTHON`, the virtual environment
//! `target/peers-venv`, `python3`, and last the virtual environment made anew, for which `pip`
//! needs a network. Each must have exactly what `tests/peers/requirements.txt` asks for, and what
//! `tests/peers/files.txt` does: packages of which only a file is used, without what they need.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use crate::{missing, root};

const REQUIREMENTS: &str = include_str!("../peers/requirements.txt");
const FILES: &str = include_str!("../peers/files.txt");

/// Succeeds when every `name==version` among its arguments is installed.
const FITS: &str = "
import importlib.metadata, sys
for line in sys.argv[1:]:
    name, version = line.split('==')
    if importlib.metadata.version(name) != version:
        sys.exit(1)
";

/// A Python with the peers' libraries; none, said aloud, when it cannot be had.
///
/// # Panics
/// When it cannot be had and `CI=true`.
#[must_use]
pub fn for_peers() -> Option<PathBuf> {
    static FOUND: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    match FOUND.get_or_init(find) {
        Ok(python) => Some(python.clone()),
        Err(why) => {
            missing::skip(why);
            None
        }
    }
}

fn find() -> Result<PathBuf, String> {
    if let Some(named) = std::env::var_os("STENCILWARD_PYTHON") {
        let wanted = REQUIREMENTS.lines().chain(FILES.lines()).collect::<Vec<_>>().join(", ");
        return Some(PathBuf::from(named))
            .filter(|python| fits(python))
            .ok_or_else(|| format!("the Python of STENCILWARD_PYTHON lacks one of {wanted}"));
    }
    let plain = missing::on_path("python3").ok_or("python3 is not installed")?;
    let venv = root().join("target/peers-venv");
    let own = venv.join("bin/python");
    [own.clone(), plain.clone()]
        .into_iter()
        .find(|python| fits(python))
        .map_or_else(|| make(&plain, &venv, own), Ok)
}

fn fits(python: &Path) -> bool {
    Command::new(python)
        .args(["-c", FITS])
        .args(REQUIREMENTS.lines().chain(FILES.lines()))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

/// Makes the virtual environment, one test program at a time.
fn make(plain: &Path, venv: &Path, own: PathBuf) -> Result<PathBuf, String> {
    let _held = lock(venv).map_err(|why| format!("no lock for {}: {why}", venv.display()))?;
    if fits(&own) {
        return Ok(own);
    }
    run(plain, ["-m", "venv", "--clear"].map(OsStr::new), venv.as_os_str())?;
    let install = [
        "-m",
        "pip",
        "install",
        "--quiet",
        "--no-input",
        "--disable-pip-version-check",
        "--retries=1",
        "--requirement",
    ];
    let list = root().join("tests/peers/requirements.txt");
    run(&own, install.map(OsStr::new), list.as_os_str())?;
    let install = ["-m", "pip", "install", "--quiet", "--no-input", "--no-deps", "--requirement"];
    let list = root().join("tests/peers/files.txt");
    run(&own, install.map(OsStr::new), list.as_os_str())?;
    Ok(own)
}

fn lock(venv: &Path) -> std::io::Result<File> {
    if let Some(folder) = venv.parent() {
        fs::create_dir_all(folder)?;
    }
    let file = File::create(venv.with_extension("lock"))?;
    file.lock()?;
    Ok(file)
}

fn run<const N: usize>(program: &Path, args: [&OsStr; N], last: &OsStr) -> Result<(), String> {
    let shown = program.display();
    let output = Command::new(program)
        .args(args)
        .arg(last)
        .stdin(Stdio::null())
        .output()
        .map_err(|why| format!("{shown} cannot be run: {why}"))?;
    if output.status.success() {
        return Ok(());
    }
    let said = String::from_utf8_lossy(&output.stderr);
    let last = said.lines().last().unwrap_or("it said nothing");
    Err(format!(
        "the peers' Python libraries cannot be installed with {shown} (Debian packages \
         python3-venv and python3-pip): {last}"
    ))
}
