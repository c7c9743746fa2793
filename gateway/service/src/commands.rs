//! What the `stencilward` program can be told to do.

mod archive;
mod backup;
mod check;
mod export;
mod import;
mod people;
mod probe;
mod ready;
mod rehearse;
mod replay;
mod report;
mod restore;
mod run;
mod trial;

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;

use clap::{Parser, Subcommand};
use stencilward_config::{Configuration, Fault};
use stencilward_exchange::Form;

use crate::demo;
use crate::logging::LogFormat;

/// The variable with the token that commands show to a running gateway where people sign in.
const TOKEN: &str = "STENCILWARD_TOKEN";

/// Exit status for a configuration that cannot be used.
const BAD_CONFIGURATION: u8 = 2;

/// Gateway between stencil printers, washers, racks and counters and the people who look after
/// the stencils. Its interlocks protect quality; they are not safety functions.
#[derive(Debug, Parser)]
#[command(name = "stencilward", version)]
pub struct Cli {
    /// How log lines are written.
    #[arg(long, value_enum, default_value = "text", global = true)]
    log: LogFormat,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the gateway.
    Run {
        /// The configuration file.
        file: PathBuf,
    },
    /// Say everything that is wrong with a configuration file.
    Check {
        /// The configuration file.
        file: PathBuf,
        /// Show which requests read each Modbus machine.
        #[arg(long)]
        plan: bool,
    },
    /// Look once at a machine that speaks Modbus: who it is, and what each point holds, read in
    /// every plausible way. Writes nothing; the gateway may run.
    Probe {
        /// The configuration file.
        file: PathBuf,
        /// The machine's name.
        machine: String,
    },
    /// Decode again what machines said while they were recorded, as the file describes them now,
    /// and say what differs. Exit status 0: nothing; 1: something; 2: cannot be replayed.
    Replay(replay::Arguments),
    /// Show what a machine on trial says to the running gateway.
    Trial {
        /// The configuration file.
        file: PathBuf,
        /// The machine's name.
        machine: String,
        /// Compare how it counts strokes with what you count by hand meanwhile.
        #[arg(long)]
        count: bool,
    },
    /// Run a configuration against simulated machines that it describes itself, with faults on
    /// demand. Nothing that the file names is touched.
    Rehearse(rehearse::Arguments),
    /// Print or export what the ledger adds up to; works while a gateway runs.
    Report(report::Arguments),
    /// Show who may sign in; let people and programs in, change them, or dismiss them. Works
    /// whether a gateway runs or not.
    People(people::Arguments),
    /// Move old events out of the ledger's file into an archive, where they are read as before, and
    /// give the room back to the disk; while no gateway runs.
    Archive(archive::Arguments),
    /// Copy the ledger and its people into a folder, and check the copy; works while a gateway
    /// runs.
    Backup(backup::Arguments),
    /// Bring a backup back, while no gateway runs.
    Restore(restore::Arguments),
    /// Take in a stencil list; works while a gateway runs.
    Import(import::Arguments),
    /// Write the stencil list or the ledger's events; works while a gateway runs.
    Export(export::Arguments),
    /// Ask the gateway on this computer whether signals become durable. Exit status 0: they do; 1:
    /// they do not, or nobody answers.
    Ready {
        /// Where it listens: an address of loopback and a port, with https:// where it speaks TLS.
        #[arg(default_value = "http://127.0.0.1:9464")]
        address: ready::Place,
    },
    /// List every metric that Prometheus is shown, as Markdown.
    Metrics,
    /// Run an invented plant on loopback, with simulated machines on real protocols.
    Demo {
        /// End by itself after this time, such as 60s; without it, Ctrl-C ends it.
        #[arg(long = "for", value_name = "TIME", value_parser = span)]
        length: Option<Duration>,
        /// Where metrics and API are served.
        #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:9464")]
        listen: String,
    },
}

/// How a list is written.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum ListForm {
    /// Comma-separated values (RFC 4180).
    Csv,
    /// One JSON object a line.
    Jsonl,
}

impl From<ListForm> for Form {
    fn from(form: ListForm) -> Self {
        match form {
            ListForm::Csv => Self::Csv,
            ListForm::Jsonl => Self::JsonLines,
        }
    }
}

fn span(text: &str) -> Result<Duration, String> {
    stencilward_adapters::settings::Span::parse(text)
        .map(|span| span.0)
        .map_err(|error| format!("{error}; write a number with its unit, such as 60s or 2min"))
}

/// Carries out what the command line says.
#[must_use]
pub fn carry_out(cli: Cli) -> ExitCode {
    match cli.command {
        Command::Check { file, plan } => check::check(&file, plan),
        Command::Run { file } => run::run(&file, cli.log),
        Command::Probe { file, machine } => probe::probe(&file, &machine),
        Command::Replay(arguments) => replay::replay(&arguments),
        Command::Trial { file, machine, count } => trial::trial(&file, &machine, count),
        Command::Rehearse(arguments) => rehearse::run(&arguments, cli.log),
        Command::People(arguments) => people::change(&arguments),
        Command::Report(arguments) => report::report(&arguments),
        Command::Archive(arguments) => archive::archive(&arguments),
        Command::Backup(arguments) => backup::backup(&arguments),
        Command::Restore(arguments) => restore::restore(&arguments),
        Command::Import(arguments) => import::import(&arguments, cli.log),
        Command::Export(arguments) => export::export(&arguments),
        Command::Ready { address } => ready::ready(address),
        Command::Metrics => metrics(),
        Command::Demo { length, listen } => demo::demo(length, listen, cli.log),
    }
}

fn metrics() -> ExitCode {
    match crate::metrics::page() {
        Ok(page) => {
            print!("{page}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("the metrics contradict each other: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Loads a configuration, or tells every fault on standard error.
fn load(file: &std::path::Path) -> Result<Configuration, ExitCode> {
    stencilward_config::load(file).map_err(|faults| {
        tell(&faults);
        ExitCode::from(BAD_CONFIGURATION)
    })
}

/// Refuses to let root leave files beside a ledger of somebody else, who could not use them then.
fn must_own(ledger: &std::path::Path) -> anyhow::Result<()> {
    use std::os::unix::fs::MetadataExt as _;
    let folder = ledger.parent().filter(|folder| !folder.as_os_str().is_empty());
    let owner = std::fs::metadata(folder.unwrap_or(std::path::Path::new("."))).map(|one| one.uid());
    let root = rustix::process::geteuid().is_root();
    anyhow::ensure!(
        !root || owner.is_ok_and(|owner| owner == 0),
        "the ledger is another user's, who could not use what root writes: go on as that user, \
         such as by `runuser -u stencilward -- stencilward ...`"
    );
    Ok(())
}

fn tell(faults: &[Fault]) {
    for fault in faults {
        eprintln!("{fault}");
    }
    let s = if faults.len() == 1 { "" } else { "s" };
    eprintln!("{} fault{s}: the configuration cannot be used", faults.len());
}
