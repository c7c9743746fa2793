//! Machines that speak Modbus, each at a port or on a serial line, alone or with others.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use stencilward_adapters::modbus::{Framing, Machine, Pty, Serial, Settings, Tls};
use stencilward_domain::names::MachineName;
use tokio_util::task::AbortOnDropHandle;

use super::{Started, certificates};

/// The places of the configuration, and what is there instead.
#[derive(Default)]
pub(super) struct Lines {
    places: BTreeMap<String, Place>,
    machines: Vec<Arc<Machine>>,
}

/// What stands for one place.
struct Place {
    /// The first machine that was started there; the others are beside it.
    first: Arc<Machine>,
    address: Option<String>,
    serial: Option<Serial>,
    tls: Option<Tls>,
}

impl Lines {
    /// Starts a machine and puts where it is into its settings.
    pub(super) async fn start(
        &mut self,
        name: &MachineName,
        settings: &mut Settings,
        folder: &Path,
    ) -> anyhow::Result<Started> {
        let key = settings.place().unwrap_or_else(|| name.to_string());
        let speaks = speaks(settings);
        let machine = if let Some(place) = self.places.get(&key) {
            let machine = Arc::new(place.first.beside(settings));
            place.put_into(settings);
            machine
        } else {
            let place = Place::start(settings, folder).await?;
            place.put_into(settings);
            let machine = Arc::clone(&place.first);
            self.places.insert(key.clone(), place);
            machine
        };
        self.machines.push(Arc::clone(&machine));
        let here = settings.place().unwrap_or_default();
        Ok(Started { machine, speaks, real: key, here })
    }

    /// Has the life signs of those that have one move.
    pub(super) fn life_signs(&self) -> Vec<AbortOnDropHandle<()>> {
        let living = |machine: &Arc<Machine>| {
            let within = machine.life_sign_within()?;
            let machine = Arc::downgrade(machine);
            Some(AbortOnDropHandle::new(tokio::spawn(async move {
                let mut beat = tokio::time::interval(within / 2);
                loop {
                    beat.tick().await;
                    let Some(machine) = machine.upgrade() else { return };
                    machine.move_life_sign();
                }
            })))
        };
        self.machines.iter().filter_map(living).collect()
    }
}

impl Place {
    async fn start(settings: &Settings, folder: &Path) -> anyhow::Result<Self> {
        let anywhere = SocketAddr::from(([127, 0, 0, 1], 0));
        if let Some(serial) = &settings.serial {
            let line = Pty::open()?;
            let serial = Serial { port: line.port().to_owned(), ..serial.clone() };
            let first = Arc::new(Machine::on_line(settings, line));
            return Ok(Self { first, address: None, serial: Some(serial), tls: None });
        }
        let (machine, tls) = if settings.tls.is_some() {
            let (own, peer) = certificates::pair(folder)?;
            (Machine::start_secured(settings.clone(), anywhere, own).await?, Some(peer))
        } else {
            (Machine::start(settings.clone(), anywhere).await?, None)
        };
        let address = Some(machine.local_addr().to_string());
        Ok(Self { first: Arc::new(machine), address, serial: None, tls })
    }

    fn put_into(&self, settings: &mut Settings) {
        settings.address.clone_from(&self.address);
        settings.serial.clone_from(&self.serial);
        settings.tls.clone_from(&self.tls);
    }
}

fn speaks(settings: &Settings) -> String {
    let how = match (&settings.serial, &settings.tls, settings.framing) {
        (Some(_), ..) => "Modbus RTU, serial",
        (_, Some(_), _) => "Modbus/TCP Security",
        (_, _, Framing::Tcp) => "Modbus TCP",
        (_, _, Framing::Rtu) => "Modbus RTU over TCP",
    };
    format!("{how}, unit {}", settings.unit)
}
