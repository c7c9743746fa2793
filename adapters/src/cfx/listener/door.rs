//! Who is let in by the listener: by a certificate, by a name with a password, or everybody.

use std::io;
use std::sync::Arc;

use fe2o3_amqp::acceptor::SaslAcceptor;
use fe2o3_amqp::acceptor::sasl_acceptor::SaslServerFrame;
use fe2o3_amqp::types::primitives::{Array, Symbol};
use fe2o3_amqp::types::sasl::{SaslCode, SaslInit, SaslOutcome, SaslResponse};
use sha2::{Digest as _, Sha256};
use tokio::net::TcpStream;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::server::WebPkiClientVerifier;

use crate::cfx::access::Stream;
use crate::cfx::json::Garbled;
use crate::cfx::settings::{Listen, OwnTls};
use crate::link::Trouble;
use crate::secret::password;
use crate::tls::{Own, Peer, VERSIONS, identity, in_words, provider, trusted};

const MACHINE: Peer = Peer { called: "machine", port: 5671 };

/// Asks for a name and a password, where there is one, by SASL.
#[derive(Debug, Clone)]
pub(in crate::cfx) struct Door {
    /// Digests of user and password.
    wanted: Option<Arc<([u8; 32], [u8; 32])>>,
}

impl Door {
    pub(in crate::cfx) fn of(listen: &Listen) -> Result<Self, String> {
        let Some(user) = &listen.user else {
            return Ok(Self { wanted: None });
        };
        let (file, variable) = (listen.password_file.as_deref(), listen.password_env.as_deref());
        let password = password(file, variable)?;
        if password.is_empty() {
            return Err("the password of listen is empty: write one into its file".to_owned());
        }
        let wanted = (digest(user.as_bytes()), digest(password.as_bytes()));
        Ok(Self { wanted: Some(Arc::new(wanted)) })
    }

    fn opens(&self, init: SaslInit) -> bool {
        let Some(wanted) = &self.wanted else {
            return true;
        };
        let response = init.initial_response.map(|response| response.into_vec());
        let response = response.unwrap_or_default();
        // RFC 4616, 2: who one acts for, who one is, and the password.
        let mut parts = response.split(|byte| *byte == 0).skip(1);
        let (user, password) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
        let plain = init.mechanism.as_str() == "PLAIN" && parts.next().is_none();
        plain && (digest(user), digest(password)) == **wanted
    }
}

impl SaslAcceptor for Door {
    fn mechanisms(&self) -> Array<Symbol> {
        let mechanism = if self.wanted.is_some() { "PLAIN" } else { "ANONYMOUS" };
        Array::from(vec![Symbol::from(mechanism)])
    }

    fn on_init(&mut self, init: SaslInit) -> SaslServerFrame {
        outcome(if self.opens(init) { SaslCode::Ok } else { SaslCode::Auth })
    }

    fn on_response(&mut self, _: SaslResponse) -> SaslServerFrame {
        outcome(SaslCode::Sys)
    }
}

fn outcome(code: SaslCode) -> SaslServerFrame {
    SaslServerFrame::Outcome(SaslOutcome { code, additional_data: None })
}

fn digest(secret: &[u8]) -> [u8; 32] {
    Sha256::digest(secret).into()
}

/// Secures a connection that somebody opened.
pub(super) async fn secure(tls: OwnTls, stream: TcpStream) -> Result<Box<dyn Stream>, Garbled> {
    let read = tokio::task::spawn_blocking(move || configuration(&tls)).await;
    let config = read.unwrap_or_else(|_| Err("the certificates could not be read".to_owned()));
    let config = config.map_err(|why| (Trouble::Refused, why))?;
    let secured = TlsAcceptor::from(Arc::new(config)).accept(stream).await;
    Ok(Box::new(secured.map_err(|error| unsecured(&error))?))
}

fn unsecured(error: &io::Error) -> Garbled {
    let why = in_words(error, MACHINE).unwrap_or_else(|| {
        format!("it ended while it was being secured ({error}): does the machine speak TLS here?")
    });
    (Trouble::Refused, why)
}

fn configuration(tls: &OwnTls) -> Result<ServerConfig, String> {
    let (chain, key) = identity(Own { certificate: &tls.certificate, key: &tls.key })?;
    let builder = ServerConfig::builder_with_provider(provider())
        .with_protocol_versions(&VERSIONS)
        .map_err(|error| error.to_string())?;
    let builder = match &tls.ca {
        None => builder.with_no_client_auth(),
        Some(ca) => {
            let roots = Arc::new(trusted(ca)?);
            let verifier = WebPkiClientVerifier::builder_with_provider(roots, provider()).build();
            builder.with_client_cert_verifier(verifier.map_err(|error| error.to_string())?)
        }
    };
    builder.with_single_cert(chain, key).map_err(|error| {
        let (certificate, key) = (tls.certificate.display(), tls.key.display());
        format!("the key {key} does not belong to the certificate {certificate} ({error})")
    })
}
