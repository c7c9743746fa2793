//! What people and programs meet: the listener, the door before it, and the clerk who tells the
//! ledger of them.

use std::net::SocketAddr;
use std::sync::Arc;

use anyhow::Context as _;
use stencilward_config::Configuration;
use stencilward_web::{Door, Surface};
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio::time::{Instant, timeout_at};
use tokio_util::sync::CancellationToken;

use crate::door::door;
use crate::serve::{Certificate, serve};

/// A place that is listened at, and who may come in.
pub(super) struct Entry {
    listener: TcpListener,
    pub(super) address: SocketAddr,
    pub(super) door: Arc<Door>,
    certificate: Option<Arc<Certificate>>,
}

/// What is served there.
pub(super) struct Front {
    web: JoinHandle<()>,
    clerk: JoinHandle<()>,
    certificate: Option<Arc<Certificate>>,
}

impl Entry {
    /// Listens where the configuration says.
    pub(super) async fn open(configuration: &Configuration) -> anyhow::Result<Self> {
        let listen = &configuration.listen;
        let listener = TcpListener::bind(listen).await.with_context(|| {
            format!("cannot listen on {listen}: stop what listens there, or change `listen`")
        })?;
        let address = listener.local_addr()?;
        let (door, certificate) = door(configuration, address)?;
        Ok(Self { listener, address, door, certificate })
    }

    /// Serves until `stop`.
    pub(super) fn serve(self, surface: Surface, stop: CancellationToken) -> Front {
        let Self { listener, door, certificate, .. } = self;
        let (site, stopped) = (surface.site.clone(), stop.clone().cancelled_owned());
        let clerk = tokio::spawn(async move { door.keep(site, stopped).await });
        let router = stencilward_web::router(surface);
        let web = tokio::spawn(serve(listener, router, certificate.clone(), stop));
        Front { web, clerk, certificate }
    }
}

impl Front {
    /// Reads the certificate anew, where there is one.
    pub(super) fn renew_certificate(&self) -> Result<(), String> {
        self.certificate.as_ref().map_or(Ok(()), |certificate| certificate.renew())
    }

    /// Waits until both have ended, and ends at the deadline what has not.
    pub(super) async fn ended(mut self, deadline: Instant) {
        for task in [&mut self.web, &mut self.clerk] {
            if timeout_at(deadline, &mut *task).await.is_err() {
                task.abort();
            }
        }
    }

    /// Ends at once.
    pub(super) async fn kill(self) {
        for task in [self.web, self.clerk] {
            task.abort();
            let _ = task.await;
        }
    }
}
