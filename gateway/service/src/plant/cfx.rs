//! Endpoints that hear over CFX, and machines that send to them.

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;

use anyhow::Context as _;
use stencilward_adapters::cfx::{Endpoint, Listen, Machine, Settings};
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
    let free = TcpListener::bind(("127.0.0.1", 0)).and_then(|listener| listener.local_addr());
    let address = free.context("no free port for a CFX endpoint")?;
    endpoint.broker = None;
    endpoint.listen = Some(Listen::plain(address));
    Ok(Place { address, handle: endpoint.handle.clone() })
}

pub(super) fn start(name: &MachineName, settings: &Settings, place: &Place) -> Started {
    let machine = Machine::start(place.address, &place.handle, name, settings.clone());
    Started {
        machine: Arc::new(machine),
        speaks: format!("CFX, {}", settings.handle),
        real: format!("endpoint {}", settings.endpoint),
        here: place.address.to_string(),
    }
}
