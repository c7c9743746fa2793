//! Modbus/TCP Security: the same requests inside TLS in which both sides show a certificate.
//!
//! MODBUS/TCP Security Protocol Specification V21: TLS 1.2 or later, mutual certificates, and a
//! role in the client's certificate by which the server decides what it may do.

mod words;

use std::io;
use std::path::Path;
use std::sync::Arc;

use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer, ServerName};
use tokio_rustls::rustls::{ClientConfig, RootCertStore, SupportedProtocolVersion, version};
use x509_cert::Certificate;
use x509_cert::der::Decode as _;
use x509_cert::der::asn1::{ObjectIdentifier, Utf8StringRef};

use super::settings::Tls;

pub(crate) use words::in_words;

/// The extension of a certificate that holds a role: one UTF-8 string.
const ROLE: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.3.6.1.4.1.50316.802.1");
/// What is spoken; nothing older.
pub(crate) const VERSIONS: [&SupportedProtocolVersion; 2] = [&version::TLS13, &version::TLS12];

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
    let name = tls.server_name.as_deref().unwrap_or(host);
    let name = ServerName::try_from(name.to_owned())
        .map_err(|_| Fault::Files(format!("server-name: {name:?} is no host name or address")))?;
    let connecting = TlsConnector::from(Arc::new(config)).connect(name, stream);
    let stream = connecting.await.map_err(Fault::Handshake)?;
    let theirs = stream.get_ref().1.peer_certificates().and_then(<[_]>::first).and_then(role);
    Ok(Secured { stream, theirs, ours })
}

fn client(tls: &Tls) -> Result<(ClientConfig, Option<String>), String> {
    let trusted = trusted(&tls.ca)?;
    let (chain, key) = identity(&tls.certificate, &tls.key)?;
    let ours = chain.first().and_then(role);
    let config = ClientConfig::builder_with_provider(provider())
        .with_protocol_versions(&VERSIONS)
        .map_err(|error| error.to_string())?
        .with_root_certificates(trusted)
        .with_client_auth_cert(chain, key)
        .map_err(|error| {
            let (certificate, key) = (tls.certificate.display(), tls.key.display());
            format!("the key {key} does not belong to the certificate {certificate} ({error})")
        })?;
    Ok((config, ours))
}

pub(crate) fn provider() -> Arc<tokio_rustls::rustls::crypto::CryptoProvider> {
    Arc::new(tokio_rustls::rustls::crypto::ring::default_provider())
}

/// Those who may vouch for the other side.
pub(crate) fn trusted(ca: &Path) -> Result<RootCertStore, String> {
    let mut trusted = RootCertStore::empty();
    for certificate in certificates(ca)? {
        trusted.add(certificate).map_err(|error| {
            format!("{}: a certificate that vouches for nobody ({error})", ca.display())
        })?;
    }
    Ok(trusted)
}

/// A certificate with those that vouch for it, and its key.
pub(crate) fn identity(
    certificate: &Path,
    key: &Path,
) -> Result<(Vec<CertificateDer<'static>>, PrivateKeyDer<'static>), String> {
    let secret = PrivateKeyDer::from_pem_file(key).map_err(|error| {
        let key = key.display();
        format!(
            "{key}: no private key can be read from it ({error}); it must be PEM without a \
                 password, and readable by the gateway's user"
        )
    })?;
    Ok((certificates(certificate)?, secret))
}

fn certificates(file: &Path) -> Result<Vec<CertificateDer<'static>>, String> {
    let read = CertificateDer::pem_file_iter(file).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    let found = read.map_err(|error| {
        let file = file.display();
        format!(
            "{file}: no certificate can be read from it ({error}); it must be PEM, and \
                 readable by the gateway's user"
        )
    })?;
    if found.is_empty() {
        return Err(format!("{}: holds no certificate in PEM", file.display()));
    }
    Ok(found)
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
