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
use super::settings::{AtBroker, Endpoint};
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

const BROKER: Peer = Peer { called: "broker", port: 5671 };

/// A way for bytes, secured or not.
pub(super) trait Stream: AsyncRead + AsyncWrite + Debug + Send + Unpin {}

impl<T: AsyncRead + AsyncWrite + Debug + Send + Unpin> Stream for T {}

/// A connection with one session. Nothing of it is left once it is dropped.
pub(super) struct Open {
    pub(super) connection: ConnectionHandle<()>,
    pub(super) session: SessionHandle<()>,
    pub(super) cut: DropGuard,
}

/// Connects to a broker as this endpoint.
pub(super) async fn open(at: &AtBroker, endpoint: &Endpoint) -> Result<Open, Garbled> {
    let profile = match &at.user {
        None => SaslProfile::Anonymous,
        Some(user) => SaslProfile::Plain {
            username: user.clone(),
            password: password(at.password_file.as_deref(), at.password_env.as_deref())
                .map_err(|why| (Trouble::Refused, why))?,
        },
    };
    let stream = within("to be reached", way(&at.address, at.tls.as_ref())).await??;
    enter(stream, at, profile, endpoint).await
}

/// Opens a connection on a way that is there.
pub(super) async fn enter(
    stream: Box<dyn Stream>,
    at: &AtBroker,
    profile: SaslProfile,
    endpoint: &Endpoint,
) -> Result<Open, Garbled> {
    let idle = u32::try_from(endpoint.idle_time_out.0.as_millis()).unwrap_or(u32::MAX);
    let hostname = match &at.virtual_host {
        Some(host) => format!("vhost:{host}"),
        None => host_and_port(&at.address).map(|(host, _)| host).unwrap_or_default(),
    };
    let (stream, cut) = Guarded::new(stream);
    let opening = Connection::builder()
        .container_id(endpoint.handle.as_str())
        .hostname(hostname.as_str())
        .max_frame_size(FRAME)
        .idle_time_out(idle)
        .sasl_profile(profile)
        .open_with_stream(stream);
    let mut connection = within("the opening of a connection", opening).await?.map_err(told)?;
    let session = within("the beginning of a session", Session::begin(&mut connection)).await?;
    let session = session.map_err(|error| {
        (Trouble::Refused, format!("the broker begins no session ({error}): see its log"))
    })?;
    Ok(Open { connection, session, cut })
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

async fn way(address: &str, tls: Option<&Tls>) -> Result<Box<dyn Stream>, Garbled> {
    let ours = |why| (Trouble::Refused, why);
    let (host, port) =
        host_and_port(address).ok_or_else(|| ours(format!("{address} is no host with a port")))?;
    let stream =
        TcpStream::connect((host.as_str(), port)).await.map_err(|error| unreachable(&error))?;
    stream.set_nodelay(true).map_err(|error| unreachable(&error))?;
    let Some(tls) = tls.cloned() else {
        return Ok(Box::new(stream));
    };
    let name = server_name(tls.server_name.as_deref(), &host).map_err(ours)?;
    let read = tokio::task::spawn_blocking(move || {
        let own = tls.certificate.as_deref().zip(tls.key.as_deref());
        configuration(&tls.ca, own.map(|(certificate, key)| Own { certificate, key }))
    });
    let read = read.await.unwrap_or_else(|_| Err("the certificates could not be read".to_owned()));
    let connecting = TlsConnector::from(Arc::new(read.map_err(ours)?)).connect(name, stream);
    Ok(Box::new(connecting.await.map_err(|error| unsecured(&error))?))
}

fn unsecured(error: &io::Error) -> Garbled {
    match in_words(error, BROKER) {
        Some(why) => (Trouble::Refused, why),
        None => (
            Trouble::Broken,
            format!(
                "the connection ended while it was being secured ({error}): is this the broker's \
                 secured port, 5671 unless its settings say otherwise?"
            ),
        ),
    }
}

/// Why no connection was opened.
fn told(error: OpenError) -> Garbled {
    match error {
        OpenError::SaslError { .. } => (
            Trouble::Refused,
            "the broker does not let us in: see that user and password are right, and that the \
             user may enter the virtual host"
                .to_owned(),
        ),
        OpenError::Io(error) => match in_words(&error, BROKER) {
            Some(why) => (Trouble::Refused, why),
            None => (
                Trouble::Broken,
                format!(
                    "the connection ended before it was open ({error}): see that AMQP 1.0 is \
                     switched on there, and the broker's log"
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
            format!("the broker opens no connection ({error}): see its log, and virtual-host"),
        ),
    }
}
