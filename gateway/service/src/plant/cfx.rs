//! Endpoints that hear over CFX, and machines that send to them.

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;

use anyhow::Context as _;
use stencilward_adapters::cfx::{Endpoint, Listen, Machine, Requests, Settings};
use stencilward_domain::names::MachineName;

use super::Started;

/// Where simulated machines find an endpoint.
pub(super) struct Place {
    address: SocketAddr,
    handle: String,
}

/// Has an endpoint listen on loopback instead of where it does. Whatever broker it reads, the
/// simulated machines send to it themselves; it takes anybody, in the clear.
pub(super) fn place(endpoint: &mut Endpoint) -> anyhow::Result<Place> {
    let address = free()?;
    endpoint.broker = None;
    // What it says there is said to whoever wants to hear it.
    let publish = endpoint.listen.take().and_then(|listen| listen.publish);
    endpoint.listen = Some(Listen { publish, ..Listen::plain(address) });
    Ok(Place { address, handle: endpoint.handle.clone() })
}

fn free() -> anyhow::Result<SocketAddr> {
    let free = TcpListener::bind(("127.0.0.1", 0)).and_then(|listener| listener.local_addr());
    free.context("no free port for a CFX endpoint")
}

/// A machine that can be locked listens on loopback, too, instead of where it does.
pub(super) fn start(
    name: &MachineName,
    settings: &mut Settings,
    place: &Place,
) -> anyhow::Result<Started> {
    if let Some(requests) = &mut settings.requests {
        let within = requests.within;
        *requests = Requests { within, ..Requests::plain(free()?) };
    }
    let machine = Machine::start(place.address, &place.handle, name, settings.clone());
    Ok(Started {
        machine: Arc::new(machine),
        speaks: format!("CFX, {}", settings.handle),
        real: format!("endpoint {}", settings.endpoint),
        here: place.address.to_string(),
    })
}
