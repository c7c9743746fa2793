//! The link of an endpoint: its broker, its listener, and the time that passes.

use std::sync::Arc;

use async_trait::async_trait;
use futures::future::OptionFuture;
use stencilward_domain::names::MachineName;

use super::desk::Desk;
use super::settings::{Endpoint, Settings};
use super::{broker, listener};
use crate::link::Floor;

/// The link to all machines that one endpoint hears.
pub struct Link {
    endpoint: Endpoint,
    machines: Vec<(MachineName, Settings)>,
}

impl Link {
    /// A link that is not running yet.
    #[must_use]
    pub fn new(endpoint: Endpoint, machines: Vec<(MachineName, Settings)>) -> Self {
        Self { endpoint, machines }
    }
}

#[async_trait]
impl crate::link::Link for Link {
    fn machines(&self) -> Vec<MachineName> {
        self.machines.iter().map(|(machine, _)| machine.clone()).collect()
    }

    async fn run(self: Box<Self>, floor: Floor) {
        let (at, listen) = (self.endpoint.broker.clone(), self.endpoint.listen.clone());
        // Without an intake there is nothing to hear for.
        let stop = floor.stop.child_token();
        let intake = floor.intake.clone();
        let floor = Floor { stop: stop.clone(), ..floor };
        let desk = Desk::new(self.endpoint, &self.machines, floor);
        let reading = OptionFuture::from(at.map(|at| broker::run(Arc::clone(&desk), at)));
        let listening = OptionFuture::from(listen.map(|to| listener::run(Arc::clone(&desk), to)));
        let watching = desk.watch();
        let until_closed = async {
            tokio::select! {
                () = stop.cancelled() => {}
                () = intake.closed() => stop.cancel(),
            }
        };
        tokio::join!(reading, listening, watching, until_closed);
    }
}
