//! The machine's side of Modbus/TCP Security.

use std::io;
use std::sync::Arc;

use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::server::WebPkiClientVerifier;

use crate::modbus::settings::Tls;
use crate::tls::{Own, VERSIONS, identity, provider, trusted};

/// Takes connections with the machine's own certificate, from those whom `ca` vouches for.
pub(super) fn acceptor(tls: &Tls) -> io::Result<TlsAcceptor> {
    let roots = Arc::new(trusted(&tls.ca).map_err(io::Error::other)?);
    let (chain, key) =
        identity(Own { certificate: &tls.certificate, key: &tls.key }).map_err(io::Error::other)?;
    let clients = WebPkiClientVerifier::builder_with_provider(roots, provider());
    let config = ServerConfig::builder_with_provider(provider())
        .with_protocol_versions(&VERSIONS)
        .map_err(io::Error::other)?
        .with_client_cert_verifier(clients.build().map_err(io::Error::other)?)
        .with_single_cert(chain, key)
        .map_err(io::Error::other)?;
    Ok(TlsAcceptor::from(Arc::new(config)))
}
