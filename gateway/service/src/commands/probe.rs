//! `stencilward probe FILE MACHINE`.

use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

use stencilward_adapters::modbus;
use stencilward_config::Configuration;

/// Longest wait for one answer. A person is waiting, nobody else is kept from the line.
const PATIENCE: Duration = Duration::from_secs(3);

/// Looks once at a machine of the file, and shows what it finds. Writes nothing to it.
pub(super) fn probe(file: &Path, machine: &str) -> ExitCode {
    let configuration = match super::load(file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    match look(&configuration, machine) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn look(configuration: &Configuration, machine: &str) -> Result<(), String> {
    let settings = modbus_of(configuration, machine)?;
    let runtime = tokio::runtime::Runtime::new().map_err(|error| error.to_string())?;
    println!("{machine}: nothing is written; addresses are those of the protocol, from 0");
    runtime.block_on(settings.probe(PATIENCE, |line| println!("{line}")))
}

fn modbus_of<'c>(
    configuration: &'c Configuration,
    machine: &str,
) -> Result<&'c modbus::Settings, String> {
    let machines = configuration.machines.iter();
    let speaking: Vec<(&str, &modbus::Settings)> =
        machines.filter_map(|entry| Some((entry.name.as_str(), entry.modbus.as_ref()?))).collect();
    let found = speaking.iter().find(|(name, _)| *name == machine);
    found.map(|(_, settings)| *settings).ok_or_else(|| {
        let names: Vec<&str> = speaking.iter().map(|(name, _)| *name).collect();
        let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
        format!("the file has no machine {machine} that speaks Modbus; it has: {names}")
    })
}
