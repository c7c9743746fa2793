//! How a broker is reached, the same for every connection to it: address, version, secrets,
//! certificates. Secrets and certificates are read anew each time, so that they can be renewed
//! while the gateway runs.

use std::sync::Arc;

use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;

use super::check::host_and_port;
use super::lost::Lost;
use super::packets::{Hello, Login};
use super::settings::{Broker, Tls, Version};
use crate::secret::password;
use crate::tls::{Own, configuration, server_name};

/// How a broker is reached.
#[derive(Debug, Clone)]
pub(crate) struct Access {
    broker: Broker,
}

/// A session's nature.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Memory {
    /// The broker keeps what comes while we are away.
    Kept,
    /// Each connection begins anew.
    None,
}

/// A way for bytes, secured or not.
pub(super) trait Stream: AsyncRead + AsyncWrite + Send + Unpin {}

impl<T: AsyncRead + AsyncWrite + Send + Unpin> Stream for T {}

impl Access {
    pub(crate) fn new(broker: Broker) -> Self {
        Self { broker }
    }

    pub(super) fn version(&self) -> Version {
        self.broker.version
    }

    pub(crate) fn largest(&self) -> usize {
        self.broker.largest_message
    }

    /// The client id of one of the gateway's connections.
    pub(crate) fn client(&self, way: &str) -> String {
        format!("{}-{way}", self.broker.client)
    }

    /// What is said first on the connection of this client.
    pub(crate) fn hello(&self, client: String, memory: Memory) -> Result<Hello, Lost> {
        let broker = &self.broker;
        let seconds = |span: std::time::Duration| span.as_secs();
        Ok(Hello {
            client,
            clean: memory == Memory::None,
            keep_alive: u16::try_from(seconds(broker.keep_alive.0)).unwrap_or(u16::MAX),
            login: self.login()?,
            will: None,
            session_expiry: u32::try_from(seconds(broker.session_expiry.0)).unwrap_or(u32::MAX),
            receive_maximum: broker.receive_maximum,
            largest: u32::try_from(broker.largest_message).unwrap_or(u32::MAX),
        })
    }

    fn login(&self) -> Result<Option<Login>, Lost> {
        let Some(user) = &self.broker.user else {
            return Ok(None);
        };
        let (file, variable) = (&self.broker.password_file, &self.broker.password_env);
        let password = password(file.as_deref(), variable.as_deref()).map_err(Lost::Ours)?;
        Ok(Some(Login { user: user.clone(), password }))
    }

    /// A way to the broker.
    pub(super) async fn way(&self) -> Result<Box<dyn Stream>, Lost> {
        let address = &self.broker.address;
        let (host, port) = host_and_port(address)
            .ok_or_else(|| Lost::Ours(format!("{address} is no host with a port")))?;
        let stream = TcpStream::connect((host.as_str(), port)).await.map_err(Lost::Unreachable)?;
        stream.set_nodelay(true).map_err(Lost::Unreachable)?;
        let Some(tls) = &self.broker.tls else {
            return Ok(Box::new(stream));
        };
        let name = server_name(tls.server_name.as_deref(), &host).map_err(Lost::Ours)?;
        let tls = tls.clone();
        let read = tokio::task::spawn_blocking(move || client(&tls)).await;
        let config = read
            .unwrap_or_else(|_| Err("the certificates could not be read".to_owned()))
            .map_err(Lost::Ours)?;
        let connecting = TlsConnector::from(Arc::new(config)).connect(name, stream);
        Ok(Box::new(connecting.await.map_err(Lost::Unsecured)?))
    }
}

fn client(tls: &Tls) -> Result<tokio_rustls::rustls::ClientConfig, String> {
    let own = tls.certificate.as_deref().zip(tls.key.as_deref());
    configuration(&tls.ca, own.map(|(certificate, key)| Own { certificate, key }))
}
