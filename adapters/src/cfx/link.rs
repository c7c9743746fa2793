//! The link of an endpoint: its broker, its listener, and the time that passes.

use std::sync::Arc;

use async_trait::async_trait;
use futures::future::{OptionFuture, join_all};
use stencilward_domain::names::MachineName;

use super::desk::Desk;
use super::settings::{Endpoint, Settings};
use super::{broker, listener, lock, telling};
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
        let told = at.clone().and_then(|at| at.publish.clone().map(|publish| (at, publish)));
        let telling = OptionFuture::from(
            told.map(|(at, publish)| telling::broker::run(Arc::clone(&desk), at, publish)),
        );
        // A broker may be there for telling only.
        let read = at.filter(|at| !at.sources.is_empty());
        let reading = OptionFuture::from(read.map(|at| broker::run(Arc::clone(&desk), at)));
        let listening = OptionFuture::from(listen.map(|to| listener::run(Arc::clone(&desk), to)));
        let watching = desk.watch();
        let locks =
            self.machines.iter().flat_map(|(name, settings)| lock::of(&desk, name, settings));
        let locking = join_all(locks.map(lock::Lock::run));
        let until_closed = async {
            tokio::select! {
                () = stop.cancelled() => {}
                () = intake.closed() => stop.cancel(),
            }
        };
        tokio::join!(reading, telling, listening, locking, watching, until_closed);
    }
}
