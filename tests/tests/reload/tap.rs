//! A tap in front of a machine: passes everything on and counts the connections.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};

/// A tap on a port of its own.
pub(crate) struct Tap {
    pub(crate) address: SocketAddr,
    connections: Arc<AtomicUsize>,
}

impl Tap {
    pub(crate) async fn before(machine: SocketAddr) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = listener.local_addr().expect("an address");
        let connections = Arc::new(AtomicUsize::new(0));
        let count = Arc::clone(&connections);
        tokio::spawn(async move {
            while let Ok((mut near, _)) = listener.accept().await {
                count.fetch_add(1, Ordering::SeqCst);
                tokio::spawn(async move {
                    if let Ok(mut far) = TcpStream::connect(machine).await {
                        let _ = copy_bidirectional(&mut near, &mut far).await;
                    }
                });
            }
        });
        Self { address, connections }
    }

    /// Connections taken until now.
    pub(crate) fn connections(&self) -> usize {
        self.connections.load(Ordering::SeqCst)
    }
}
