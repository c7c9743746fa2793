//! `stencilward rehearse FILE`.

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;

use tracing_subscriber::filter::LevelFilter;

use crate::logging::{self, LogFormat};
use crate::rehearse::{Options, rehearse};

/// What can be said of a rehearsal.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    /// End by itself after this time, such as 60s; without it `end` or Ctrl-C ends it.
    #[arg(long = "for", value_name = "TIME", value_parser = super::span)]
    length: Option<Duration>,
    /// How many times as fast as on a floor machines and people work.
    #[arg(long, value_name = "TIMES", default_value = "1", value_parser = speed)]
    speed: f64,
    /// Have machines do only what is typed.
    #[arg(long)]
    by_hand: bool,
    /// The port of loopback where metrics and API are served; 0 takes any free one.
    #[arg(long, value_name = "PORT", default_value = "0")]
    port: u16,
}

fn speed(text: &str) -> Result<f64, String> {
    let speed = text.parse().ok().filter(|speed| (0.1..=1_000.0).contains(speed));
    speed.ok_or_else(|| "write a number from 0.1 to 1000".to_owned())
}

/// Rehearses until its end; the status is 0 when machines and ledger agree, else 1.
pub(super) fn run(arguments: &Arguments, log: LogFormat) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    logging::start(log, LevelFilter::OFF);
    let Arguments { length, speed, by_hand, port, .. } = *arguments;
    let options = Options { length, speed, by_hand, port };
    let runtime = match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("no runtime: {error}");
            return ExitCode::FAILURE;
        }
    };
    match runtime.block_on(rehearse(configuration, &options)) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("the rehearsal cannot go on: {error:#}");
            ExitCode::FAILURE
        }
    }
}
