//! `stencilward export FILE`: the stencil list, or the ledger's events.

use std::fs::File;
use std::io::{self, BufWriter, ErrorKind, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context as _;
use stencilward_domain::state::State;
use stencilward_exchange::events::{Kept, Writer};
use stencilward_exchange::{Form, stencils};
use stencilward_ledger::Reader;

use super::ListForm;
use crate::replay::read_through;

/// What to export, and how.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    /// How it is written.
    #[arg(long, value_enum, default_value = "csv")]
    form: ListForm,
    /// The ledger's events instead of the stencil list.
    #[arg(long)]
    events: bool,
    /// Into this file instead of standard output.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// Writes the list, or says why there is none.
pub(super) fn export(arguments: &Arguments) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    let file = configuration.ledger.display();
    let written = Reader::open(&configuration.ledger)
        .map_err(anyhow::Error::from)
        .and_then(|mut ledger| arguments.write(&mut ledger))
        .with_context(|| format!("no export of {file}"));
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::FAILURE
        }
    }
}

impl Arguments {
    fn write(&self, ledger: &mut Reader) -> anyhow::Result<()> {
        let Some(file) = &self.out else {
            return quietly(self.write_to(ledger, BufWriter::new(io::stdout().lock())));
        };
        let made =
            File::create(file).with_context(|| format!("cannot write {}", file.display()))?;
        self.write_to(ledger, BufWriter::new(made))
    }

    fn write_to(&self, ledger: &mut Reader, mut out: impl Write) -> anyhow::Result<()> {
        let form = Form::from(self.form);
        if self.events {
            return events(ledger, form, out);
        }
        let mut state = State::default();
        read_through(ledger, |entry| {
            state.apply(&entry.recorded);
            anyhow::Ok(())
        })?;
        out.write_all(stencils::export(form, &state).as_bytes())?;
        Ok(out.flush()?)
    }
}

fn events(ledger: &mut Reader, form: Form, out: impl Write) -> anyhow::Result<()> {
    let mut writer = Writer::begin(form, out)?;
    read_through(ledger, |entry| {
        let kept = Kept {
            position: entry.recorded.position,
            stream: &entry.stream,
            version: entry.version,
            batch: &entry.batch.0,
            hash: &entry.hash,
            body: &entry.body,
        };
        anyhow::Ok(writer.add(&kept)?)
    })?;
    Ok(writer.end()?)
}

/// Whoever reads standard output may stop reading.
fn quietly(written: anyhow::Result<()>) -> anyhow::Result<()> {
    let stopped = written.as_ref().err().and_then(|error| error.downcast_ref::<io::Error>());
    if stopped.is_some_and(|error| error.kind() == ErrorKind::BrokenPipe) {
        return Ok(());
    }
    written
}
