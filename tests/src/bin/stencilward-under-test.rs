//! The `stencilward` program, built for the tests that run it as a process.

use std::process::ExitCode;

use clap::Parser;
use stencilward_service::commands::{Cli, carry_out};

fn main() -> ExitCode {
    carry_out(Cli::parse())
}
