//! Ways for AMQP: to a broker, or to another endpoint that listens. The stream is our own, so that
//! small frames leave at once (`TCP_NODELAY`) and are secured as everywhere.

use std::fmt::Debug;
use std::io;
use std::sync::Arc;
use std::time::Duration;

use fe2o3_amqp::connection::{ConnectionHandle, OpenError};
use fe2o3_amqp::sasl_profile::SaslProfile;
use fe2o3_amqp::session::SessionHandle;
use fe2o3_amqp::{Connection, Session};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_util::sync::DropGuard;

use super::guard::Guarded;
use super::json::Garbled;
use super::settings::{AtBroker, Endpoint, Requests};
use crate::link::Trouble;
use crate::mqtt::{Tls, host_and_port, unreachable};
use crate::secret::password;
use crate::tls::{Own, Peer, configuration, in_words, server_name};

/// Longest wait for each step of a connection.
pub(super) const STEP: Duration = Duration::from_secs(10);
/// Longest wait for the other side when leaving.
pub(super) const FAREWELL: Duration = Duration::from_secs(2);
/// Largest AMQP frame.
pub(super) const FRAME: u32 = 65_536;

/// Where somebody listens, and how one is let in there.
pub(super) struct Whereto<'a> {
    /// What people call it: `broker` or `machine`.
    called: &'static str,
    address: &'a str,
    virtual_host: Option<&'a str>,
    tls: Option<&'a Tls>,
    user: Option<&'a str>,
    password_file: Option<&'a str>,
    password_env: Option<&'a str>,
}

impl AtBroker {
    pub(super) fn whereto(&self) -> Whereto<'_> {
        Whereto {
            called: "broker",
            address: &self.address,
            virtual_host: self.virtual_host.as_deref(),
            tls: self.tls.as_ref(),
            user: self.user.as_deref(),
            password_file: self.password_file.as_deref(),
            password_env: self.password_env.as_deref(),
        }
    }
}

impl Requests {
    pub(super) fn whereto(&self) -> Whereto<'_> {
        Whereto {
            called: "machine",
            address: &self.address,
            virtual_host: None,
            tls: self.tls.as_ref(),
            user: self.user.as_deref(),
            password_file: self.password_file.as_deref(),
            password_env: self.password_env.as_deref(),
        }
    }
}

/// A way for bytes, secured or not.
pub(super) trait Stream: AsyncRead + AsyncWrite + Debug + Send + Unpin {}

impl<T: AsyncRead + AsyncWrite + Debug + Send + Unpin> Stream for T {}

/// A connection with one session. Nothing of it is left once it is dropped.
pub(super) struct Open {
    pub(super) connection: ConnectionHandle<()>,
    pub(super) session: SessionHandle<()>,
    _cut: DropGuard,
}

impl Open {
    /// Takes leave, once its links are gone: what was accepted leaves before the connection does.
    pub(super) async fn leave(mut self) {
        let leaving = async {
            let _ = self.session.end().await;
            let _ = self.connection.close().await;
        };
        let _ = tokio::time::timeout(FAREWELL, leaving).await;
    }
}

/// Connects there as this endpoint.
pub(super) async fn open(at: &Whereto<'_>, endpoint: &Endpoint) -> Result<Open, Garbled> {
    let profile = match at.user {
        None => SaslProfile::Anonymous,
        Some(user) => SaslProfile::Plain {
            username: user.to_owned(),
            password: password(at.password_file, at.password_env)
                .map_err(|why| (Trouble::Refused, why))?,
        },
    };
    let stream = within("to be reached", way(at)).await??;
    enter(stream, at, profile, endpoint).await
}

/// Opens a connection on a way that is there.
pub(super) async fn enter(
    stream: Box<dyn Stream>,
    at: &Whereto<'_>,
    profile: SaslProfile,
    endpoint: &Endpoint,
) -> Result<Open, Garbled> {
    let idle = u32::try_from(endpoint.idle_time_out.0.as_millis()).unwrap_or(u32::MAX);
    let hostname = match at.virtual_host {
        Some(host) => format!("vhost:{host}"),
        None => host_and_port(at.address).map(|(host, _)| host).unwrap_or_default(),
    };
    let (stream, cut) = Guarded::new(stream);
    let opening = Connection::builder()
        .container_id(endpoint.handle.as_str())
        .hostname(hostname.as_str())
        .max_frame_size(FRAME)
        .idle_time_out(idle)
        .sasl_profile(profile)
        .open_with_stream(stream);
    let connection = within("the opening of a connection", opening).await?;
    let mut connection = connection.map_err(|error| told(error, at.called))?;
    let session = within("the beginning of a session", Session::begin(&mut connection)).await?;
    let session = session.map_err(|error| {
        (Trouble::Refused, format!("the {} begins no session ({error}): see its log", at.called))
    })?;
    Ok(Open { connection, session, _cut: cut })
}

/// Waits for a step, and not for ever.
pub(super) async fn within<T>(what: &str, step: impl Future<Output = T>) -> Result<T, Garbled> {
    tokio::time::timeout(STEP, step).await.map_err(|_| {
        let why = format!(
            "the other side does not answer {what} within {} s: see that it runs, that it speaks \
             AMQP 1.0, and that the network is up",
            STEP.as_secs()
        );
        (Trouble::TimedOut, why)
    })
}

async fn way(to: &Whereto<'_>) -> Result<Box<dyn Stream>, Garbled> {
    let address = to.address;
    let ours = |why| (Trouble::Refused, why);
    let unreached = |error: io::Error| unreachable(&error, to.called);
    let (host, port) =
        host_and_port(address).ok_or_else(|| ours(format!("{address} is no host with a port")))?;
    let stream = TcpStream::connect((host.as_str(), port)).await.map_err(unreached)?;
    stream.set_nodelay(true).map_err(unreached)?;
    let Some(tls) = to.tls.cloned() else {
        return Ok(Box::new(stream));
    };
    let name = server_name(tls.server_name.as_deref(), &host).map_err(ours)?;
    let read = tokio::task::spawn_blocking(move || {
        let own = tls.certificate.as_deref().zip(tls.key.as_deref());
        configuration(&tls.ca, own.map(|(certificate, key)| Own { certificate, key }))
    });
    let read = read.await.unwrap_or_else(|_| Err("the certificates could not be read".to_owned()));
    let connecting = TlsConnector::from(Arc::new(read.map_err(ours)?)).connect(name, stream);
    Ok(Box::new(connecting.await.map_err(|error| unsecured(&error, to.called))?))
}

fn unsecured(error: &io::Error, called: &'static str) -> Garbled {
    match in_words(error, Peer { called, port: 5671 }) {
        Some(why) => (Trouble::Refused, why),
        None => (
            Trouble::Broken,
            format!(
                "the connection ended while it was being secured ({error}): is this the \
                 {called}'s secured port, 5671 unless its settings say otherwise?"
            ),
        ),
    }
}

/// Why no connection was opened.
fn told(error: OpenError, called: &'static str) -> Garbled {
    match error {
        OpenError::SaslError { .. } => (
            Trouble::Refused,
            format!(
                "the {called} does not let us in: see that user and password are right, and that \
                 the user may enter the virtual host"
            ),
        ),
        OpenError::Io(error) => match in_words(&error, Peer { called, port: 5671 }) {
            Some(why) => (Trouble::Refused, why),
            None => (
                Trouble::Broken,
                format!(
                    "the connection ended before it was open ({error}): see that AMQP 1.0 is \
                     switched on there, and the {called}'s log"
                ),
            ),
        },
        OpenError::ProtocolHeaderMismatch(_) => (
            Trouble::Garbled,
            "what answers does not speak AMQP 1.0 with SASL: see that the port is right and that \
             AMQP 1.0 is switched on there"
                .to_owned(),
        ),
        error => (
            Trouble::Refused,
            format!("the {called} opens no connection ({error}): see its log, and virtual-host"),
        ),
    }
}
