//! A port in front of another one, which can be closed and opened again without the other's
//! noticing more than that its peers are gone.

use std::net::SocketAddr;
use std::time::Duration;

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Mutex;
use tokio::task::JoinSet;
use tokio_util::task::AbortOnDropHandle;

/// Wait after a connection could not be taken.
const RESPITE: Duration = Duration::from_millis(50);

/// The port. Dropped, it is closed, and so are its connections.
pub(super) struct Relay {
    address: SocketAddr,
    to: SocketAddr,
    open: Mutex<Option<AbortOnDropHandle<()>>>,
}

impl Relay {
    pub(super) async fn start(to: SocketAddr) -> std::io::Result<Self> {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await?;
        let address = listener.local_addr()?;
        let open = AbortOnDropHandle::new(tokio::spawn(pass_on(listener, to)));
        Ok(Self { address, to, open: Mutex::new(Some(open)) })
    }

    pub(super) fn address(&self) -> SocketAddr {
        self.address
    }

    pub(super) async fn switch(&self, on: bool) -> std::io::Result<()> {
        let mut open = self.open.lock().await;
        if !on {
            if let Some(task) = open.take() {
                task.abort();
                // Cancelled is what it shall be; then the port is free.
                let _ = task.await;
            }
        } else if open.is_none() {
            let listener = TcpListener::bind(self.address).await?;
            *open = Some(AbortOnDropHandle::new(tokio::spawn(pass_on(listener, self.to))));
        }
        Ok(())
    }
}

/// Takes connections for ever. They end when this is dropped.
async fn pass_on(listener: TcpListener, to: SocketAddr) {
    let mut connections = JoinSet::new();
    loop {
        tokio::select! {
            accepted = listener.accept() => match accepted {
                Ok((mut near, _)) => {
                    connections.spawn(async move {
                        let mut far = TcpStream::connect(to).await?;
                        near.set_nodelay(true)?;
                        far.set_nodelay(true)?;
                        copy_bidirectional(&mut near, &mut far).await
                    });
                }
                Err(_) => tokio::time::sleep(RESPITE).await,
            },
            Some(_) = connections.join_next() => {}
        }
    }
}
