//! Modbus/TCP Security: the same requests inside TLS in which both sides show a certificate.
//!
//! MODBUS/TCP Security Protocol Specification V21: TLS 1.2 or later, mutual certificates, and a
//! role in the client's certificate by which the server decides what it may do.

use std::io;
use std::sync::Arc;

use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;
use tokio_rustls::rustls::ClientConfig;
use tokio_rustls::rustls::pki_types::CertificateDer;
use x509_cert::Certificate;
use x509_cert::der::Decode as _;
use x509_cert::der::asn1::{ObjectIdentifier, Utf8StringRef};

use super::settings::Tls;
use crate::tls::{Own, configuration, identity, server_name};

/// The extension of a certificate that holds a role: one UTF-8 string.
const ROLE: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.3.6.1.4.1.50316.802.1");

/// Why there is no secured connection.
#[derive(Debug)]
pub(crate) enum Fault {
    /// A file of ours is missing or wrong: in words, with what to do.
    Files(String),
    /// The other side, or the network.
    Handshake(io::Error),
}

/// A secured connection, and the roles in the certificates of both sides.
#[derive(Debug)]
pub(crate) struct Secured {
    pub(crate) stream: TlsStream<TcpStream>,
    /// The role in the machine's certificate.
    pub(crate) theirs: Option<String>,
    /// The role in our own certificate: the machine permits by it.
    pub(crate) ours: Option<String>,
}

/// Secures a connection to `host`. The files are read anew each time, so that certificates can be
/// renewed while the gateway runs.
pub(crate) async fn secure(stream: TcpStream, host: &str, tls: &Tls) -> Result<Secured, Fault> {
    let read = {
        let tls = tls.clone();
        tokio::task::spawn_blocking(move || client(&tls)).await
    };
    let (config, ours) = read
        .unwrap_or_else(|_| Err("the certificates could not be read".to_owned()))
        .map_err(Fault::Files)?;
    let name = server_name(tls.server_name.as_deref(), host).map_err(Fault::Files)?;
    let connecting = TlsConnector::from(Arc::new(config)).connect(name, stream);
    let stream = connecting.await.map_err(Fault::Handshake)?;
    let theirs = stream.get_ref().1.peer_certificates().and_then(<[_]>::first).and_then(role);
    Ok(Secured { stream, theirs, ours })
}

fn client(tls: &Tls) -> Result<(ClientConfig, Option<String>), String> {
    let own = Own { certificate: &tls.certificate, key: &tls.key };
    let ours = identity(own)?.0.first().and_then(role);
    Ok((configuration(&tls.ca, Some(own))?, ours))
}

/// The role that a certificate gives its owner.
pub(crate) fn role(certificate: &CertificateDer<'_>) -> Option<String> {
    let certificate = Certificate::from_der(certificate).ok()?;
    let mut extensions = certificate.tbs_certificate().extensions()?.iter();
    let extension = extensions.find(|extension| extension.extn_id == ROLE)?;
    let role = Utf8StringRef::from_der(extension.extn_value.as_bytes()).ok()?;
    Some(role.as_str().to_owned())
}

#[cfg(test)]
mod tests;
