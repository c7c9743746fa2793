//! `stencilward run FILE`.

use std::path::Path;
use std::process::ExitCode;

use stencilward_config::Configuration;
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::filter::LevelFilter;

use crate::door::first_manager;
use crate::gateway::{DRAIN, Gateway};
use crate::logging::{self, LogFormat};
use crate::supervisor::{self, Watchdog};

/// Runs the gateway until SIGTERM or SIGINT, or until it cannot go on. SIGHUP has it read its
/// configuration anew.
pub(super) fn run(file: &Path, log: LogFormat) -> ExitCode {
    let configuration = match super::load(file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    match first_manager(&configuration) {
        // Not by the log: it is kept, and read by others.
        Ok(first) => first.iter().for_each(|told| eprintln!("{told}")),
        Err(error) => {
            eprintln!("{error:#}");
            return ExitCode::FAILURE;
        }
    }
    logging::start(log, LevelFilter::INFO);
    let runtime = match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime,
        Err(error) => return failed(&error.into()),
    };
    match runtime.block_on(until_stopped(file, &configuration)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => failed(&error),
    }
}

fn failed(error: &anyhow::Error) -> ExitCode {
    tracing::error!("{error:#}");
    ExitCode::FAILURE
}

async fn until_stopped(file: &Path, configuration: &Configuration) -> anyhow::Result<()> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    let mut gateway = Gateway::start_from(file, configuration).await?;
    tracing::info!(site = configuration.site, address = %gateway.address(), "running");
    supervisor::ready(&format!("serving {}", gateway.address()));
    let mut watchdog = Watchdog::new();
    let name = loop {
        tokio::select! {
            // A site task that is stuck is one that a restart can help.
            () = watchdog.hungry() => if gateway.moves() { supervisor::moves() },
            error = gateway.failed() => return Err(error),
            _ = terminate.recv() => break "SIGTERM",
            _ = interrupt.recv() => break "SIGINT",
            _ = hang_up.recv() => reload(&gateway),
        }
    };
    supervisor::stops();
    tracing::info!(signal = name, "stopping: no more signals are taken in");
    let left = tokio::select! {
        left = gateway.stop(DRAIN) => left?,
        _ = terminate.recv() => anyhow::bail!("stopped at once: a second signal came"),
        _ = interrupt.recv() => anyhow::bail!("stopped at once: a second signal came"),
    };
    if left.links == 0 && left.unwritten == 0 {
        tracing::info!("stopped: everything taken in is durable");
    } else {
        tracing::warn!(
            links = left.links,
            events = left.unwritten,
            "stopped at the deadline: what was left is not confirmed and comes again"
        );
    }
    Ok(())
}

/// Has the configuration read anew. What comes of it is in the log.
fn reload(gateway: &Gateway) {
    tracing::info!("SIGHUP: reading the configuration anew");
    if let Err(why) = gateway.renew_certificate() {
        tracing::error!("the certificate in use stays: {why}");
    }
    let reload = gateway.reload().clone();
    tokio::spawn(async move { reload.reload(false, None).await });
}
