//! The `stencilward` program.

use std::process::ExitCode;

use clap::Parser;
use stencilward_service::commands::{Cli, carry_out};

fn main() -> ExitCode {
    carry_out(Cli::parse())
}
