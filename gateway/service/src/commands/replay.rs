//! `stencilward replay FILE RECORDING...`.

mod find;
mod tell;

use std::fs::File;
use std::io::{self, BufReader};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use stencilward_adapters::record::{Line, Read, Reader};
use stencilward_config::Configuration;

use tell::{Shown, Tally, Teller};

/// Exit status for a recording that cannot be replayed, or not all of it.
const NOT_REPLAYED: u8 = 2;

/// What is replayed, and how it is shown.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    /// Recordings, or folders with some in them.
    #[arg(required = true)]
    recordings: Vec<PathBuf>,
    /// Decode as this machine; otherwise as the one that was recorded.
    #[arg(long, value_name = "MACHINE")]
    machine: Option<String>,
    /// Show everything that was said, and what is made of it now.
    #[arg(long)]
    show: bool,
    /// Show every difference: otherwise the first 20 of each recording that are not like the one
    /// before.
    #[arg(long)]
    all: bool,
}

/// Replays each recording, and says what differs.
pub(super) fn replay(arguments: &Arguments) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    let files = match find::recordings(&arguments.recordings) {
        Ok(files) => files,
        Err(why) => {
            eprintln!("{why}");
            return ExitCode::from(NOT_REPLAYED);
        }
    };
    let mut worst = 0;
    for file in files {
        worst = worst.max(match one(&configuration, &file, arguments) {
            Ok(tally) if tally.damaged > 0 => NOT_REPLAYED,
            Ok(tally) => u8::from(tally.differ > 0),
            Err(Stopped::Unusable(why)) => {
                eprintln!("{}: {why}", file.display());
                NOT_REPLAYED
            }
            // Whoever read what is shown has read enough.
            Err(Stopped::Unheard) => return ExitCode::from(worst),
        });
    }
    ExitCode::from(worst)
}

/// Why a recording was not played to its end.
enum Stopped {
    /// It cannot be replayed.
    Unusable(String),
    /// Nobody takes what is shown.
    Unheard,
}

impl From<String> for Stopped {
    fn from(why: String) -> Self {
        Self::Unusable(why)
    }
}

impl From<io::Error> for Stopped {
    fn from(_: io::Error) -> Self {
        Self::Unheard
    }
}

fn one(configuration: &Configuration, file: &Path, said: &Arguments) -> Result<Tally, Stopped> {
    let mut lines = lines(file)?.peekable();
    let recorded = match lines.peek() {
        Some(Ok((_, Read::Line(Line::Header(header))))) => header.machine.as_str().to_owned(),
        Some(Err(error)) => return Err(format!("cannot be read ({error})").into()),
        _ => return Err("it does not begin as a recording does".to_owned().into()),
    };
    let machine = said.machine.as_deref().unwrap_or(&recorded);
    let mut player = configuration.player(machine).map_err(|why| match &said.machine {
        Some(_) => why,
        None => format!("{why}; say with --machine as which one to decode it"),
    })?;
    let shown = Shown { everything: said.show, all_differences: said.all };
    let mut teller = Teller::new(io::stdout().lock(), file, machine, shown);
    for line in lines {
        let (number, read) = line.map_err(|error| format!("cannot be read ({error})"))?;
        let happened = player.play(read).map_err(|why| format!("line {number}: {why}"))?;
        teller.tell(number, &happened)?;
    }
    Ok(teller.sum_up(&player.unread())?)
}

fn lines(file: &Path) -> Result<Reader<BufReader<File>>, String> {
    let opened = File::open(file).map_err(|error| format!("cannot be read ({error})"))?;
    Ok(Reader::new(BufReader::new(opened)))
}
