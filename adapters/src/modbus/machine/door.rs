//! Where simulated machines are reached: a port of the network, or one end of a serial line.

use std::io;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Mutex as Queue;
use tokio::task::JoinSet;
use tokio_rustls::TlsAcceptor;
use tokio_util::sync::CancellationToken;
use tokio_util::task::AbortOnDropHandle;

use super::serve;
use super::unit::{Units, lock};
use crate::modbus::rtu::{Pace, Stream};
use crate::modbus::settings::Framing;
use crate::modbus::tls;

/// Wait after a connection could not be taken.
const RESPITE: Duration = Duration::from_millis(50);

/// How one gets in.
#[derive(Clone)]
pub(super) enum Entrance {
    Network { framing: Framing, tls: Option<TlsAcceptor> },
    Line { end: Arc<Queue<Box<dyn Stream>>>, pace: Option<Pace> },
}

/// An entrance with the machines behind it. Dropped, it closes its port and its connections.
pub(super) struct Door {
    pub(super) units: Arc<Units>,
    entrance: Entrance,
    pub(super) address: Option<SocketAddr>,
    connections: Arc<Mutex<CancellationToken>>,
    open: Queue<Option<AbortOnDropHandle<()>>>,
}

impl Door {
    pub(super) async fn network(
        address: SocketAddr,
        framing: Framing,
        tls: Option<TlsAcceptor>,
    ) -> io::Result<Self> {
        let listener = TcpListener::bind(address).await?;
        let mut door = Self::new(Entrance::Network { framing, tls });
        door.address = Some(listener.local_addr()?);
        *door.open.get_mut() = Some(door.take_in(Some(listener)));
        Ok(door)
    }

    pub(super) fn line(end: Box<dyn Stream>, pace: Option<Pace>) -> Self {
        let mut door = Self::new(Entrance::Line { end: Arc::new(Queue::new(end)), pace });
        *door.open.get_mut() = Some(door.take_in(None));
        door
    }

    fn new(entrance: Entrance) -> Self {
        Self {
            units: Arc::default(),
            entrance,
            address: None,
            connections: Arc::default(),
            open: Queue::default(),
        }
    }

    pub(super) async fn close(&self) {
        if let Some(task) = self.open.lock().await.take() {
            task.abort();
            // Cancelled is what it shall be; then the port is free.
            let _ = task.await;
        }
    }

    pub(super) async fn open(&self) -> io::Result<()> {
        let mut open = self.open.lock().await;
        if open.is_none() {
            let listener = match self.address {
                Some(address) => Some(TcpListener::bind(address).await?),
                None => None,
            };
            *open = Some(self.take_in(listener));
        }
        Ok(())
    }

    pub(super) fn drop_connections(&self) {
        std::mem::take(&mut *lock(&self.connections)).cancel();
    }

    fn take_in(&self, listener: Option<TcpListener>) -> AbortOnDropHandle<()> {
        let (units, connections) = (Arc::clone(&self.units), Arc::clone(&self.connections));
        let entrance = self.entrance.clone();
        AbortOnDropHandle::new(tokio::spawn(async move {
            match (entrance, listener) {
                (Entrance::Line { end, pace }, _) => {
                    let mut end = end.lock().await;
                    // It ends when the line is gone, and nothing is left to do then.
                    let _ = serve::rtu(&mut **end, &units, pace).await;
                }
                (Entrance::Network { framing, tls }, Some(listener)) => {
                    accept(listener, framing, tls, &units, &connections).await;
                }
                (Entrance::Network { .. }, None) => {}
            }
        }))
    }
}

/// Takes connections for ever. They end when this is dropped.
async fn accept(
    listener: TcpListener,
    framing: Framing,
    tls: Option<TlsAcceptor>,
    units: &Arc<Units>,
    connections: &Mutex<CancellationToken>,
) {
    let mut served = JoinSet::new();
    loop {
        tokio::select! {
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) => {
                    let (units, tls) = (Arc::clone(units), tls.clone());
                    let ended = lock(connections).clone();
                    served.spawn(async move {
                        ended.run_until_cancelled(serve(stream, framing, tls, &units)).await
                    });
                }
                Err(_) => tokio::time::sleep(RESPITE).await,
            },
            Some(_) = served.join_next() => {}
        }
    }
}

async fn serve(
    mut stream: TcpStream,
    framing: Framing,
    tls: Option<TlsAcceptor>,
    units: &Units,
) -> io::Result<()> {
    stream.set_nodelay(true)?;
    match (tls, framing) {
        (Some(tls), _) => {
            let stream = tls.accept(stream).await?;
            let chain = stream.get_ref().1.peer_certificates();
            let role = chain.and_then(<[_]>::first).and_then(tls::role);
            serve::numbered(stream, units, role.as_deref()).await
        }
        (None, Framing::Tcp) => serve::numbered(stream, units, None).await,
        (None, Framing::Rtu) => serve::rtu(&mut stream, units, None).await,
    }
}
