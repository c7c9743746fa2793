//! TLS: whom to trust, what to show, and words for what goes wrong.

mod words;

use std::path::Path;
use std::sync::Arc;

use tokio_rustls::rustls::crypto::{CryptoProvider, ring};
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer, ServerName};
use tokio_rustls::rustls::{
    ClientConfig, RootCertStore, ServerConfig, SupportedProtocolVersion, version,
};

pub(crate) use words::{Peer, in_words};

/// What is spoken; nothing older.
pub(crate) const VERSIONS: [&SupportedProtocolVersion; 2] = [&version::TLS13, &version::TLS12];

/// The files of our own certificate and its key.
#[derive(Clone, Copy)]
pub(crate) struct Own<'a> {
    pub(crate) certificate: &'a Path,
    pub(crate) key: &'a Path,
}

/// How a client speaks TLS that trusts those in the file `ca` and shows a certificate of its own,
/// where it has one.
pub(crate) fn configuration(ca: &Path, own: Option<Own<'_>>) -> Result<ClientConfig, String> {
    let trusting = ClientConfig::builder_with_provider(provider())
        .with_protocol_versions(&VERSIONS)
        .map_err(|error| error.to_string())?
        .with_root_certificates(trusted(ca)?);
    let Some(own) = own else {
        return Ok(trusting.with_no_client_auth());
    };
    let (chain, key) = identity(own)?;
    trusting.with_client_auth_cert(chain, key).map_err(|error| {
        let (certificate, key) = (own.certificate.display(), own.key.display());
        format!("the key {key} does not belong to the certificate {certificate} ({error})")
    })
}

/// How a server speaks TLS with this certificate, whoever asks.
///
/// # Errors
/// A sentence that says which file is wrong, and what to do.
pub fn serving(certificate: &Path, key: &Path) -> Result<ServerConfig, String> {
    let (chain, secret) = identity(Own { certificate, key })?;
    let builder = ServerConfig::builder_with_provider(provider())
        .with_protocol_versions(&VERSIONS)
        .map_err(|error| error.to_string())?;
    builder.with_no_client_auth().with_single_cert(chain, secret).map_err(|error| {
        let (certificate, key) = (certificate.display(), key.display());
        format!("the key {key} does not belong to the certificate {certificate} ({error})")
    })
}

/// The name that the other side's certificate must bear.
pub(crate) fn server_name(wanted: Option<&str>, host: &str) -> Result<ServerName<'static>, String> {
    let name = wanted.unwrap_or(host);
    ServerName::try_from(name.to_owned())
        .map_err(|_| format!("server-name: {name:?} is no host name or address"))
}

/// What all our TLS reckons with.
#[must_use]
pub fn provider() -> Arc<CryptoProvider> {
    Arc::new(ring::default_provider())
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
    own: Own<'_>,
) -> Result<(Vec<CertificateDer<'static>>, PrivateKeyDer<'static>), String> {
    let secret = PrivateKeyDer::from_pem_file(own.key).map_err(|error| {
        let key = own.key.display();
        format!(
            "{key}: no private key can be read from it ({error}); it must be PEM without a \
                 password, and readable by the gateway's user"
        )
    })?;
    Ok((certificates(own.certificate)?, secret))
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
