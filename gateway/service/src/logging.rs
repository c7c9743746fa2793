//! Structured logs on standard error.

use std::io::IsTerminal as _;

use clap::ValueEnum;
use tracing_subscriber::EnvFilter;
use tracing_subscriber::filter::LevelFilter;

/// How log lines are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    /// One line of text an entry.
    Text,
    /// One JSON object an entry, for log collectors.
    Json,
}

/// Starts logging, at `level` unless the variable `STENCILWARD_LOG` says otherwise (such as
/// `debug` or `stencilward_adapters=debug`). A second call changes nothing.
pub fn start(format: LogFormat, level: LevelFilter) {
    let filter = EnvFilter::builder()
        .with_default_directive(level.into())
        .with_env_var("STENCILWARD_LOG")
        .from_env_lossy()
        // The demo's broker and the MQTT client tell of every lost connection; our links do too.
        .add_directive("mqtt5=off".parse().unwrap_or_else(|_| level.into()))
        .add_directive("rumqttc=off".parse().unwrap_or_else(|_| level.into()));
    let logs = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(std::io::stderr().is_terminal())
        .with_writer(std::io::stderr);
    let _ = match format {
        LogFormat::Text => logs.with_target(false).try_init(),
        LogFormat::Json => logs.json().try_init(),
    };
}
