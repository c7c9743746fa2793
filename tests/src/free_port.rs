//! Ports for programs that cannot choose a free one themselves.

use std::net::{Ipv4Addr, TcpListener};

/// A TCP port of the loopback interface that was free a moment ago.
///
/// Another program may take it before it is used, so whoever starts a server on it tries again
/// with another port when that fails. Programs that accept port 0 should be given that instead.
///
/// # Panics
/// When the machine has no free port.
#[must_use]
pub fn free_port() -> u16 {
    TcpListener::bind((Ipv4Addr::LOCALHOST, 0))
        .and_then(|listener| listener.local_addr())
        .map(|address| address.port())
        .unwrap_or_else(|why| panic!("no free port on the loopback interface: {why}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_port_can_be_listened_on() {
        TcpListener::bind((Ipv4Addr::LOCALHOST, free_port())).expect("the port is free");
    }
}
