//! What is wrong with certificates, in words that say what to do.

use std::io;

use tokio_rustls::rustls::{AlertDescription, CertificateError, Error};

/// Whom the words are about.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Peer {
    /// What people call it: `machine` or `broker`.
    pub(crate) called: &'static str,
    /// The port that its kind usually secures.
    pub(crate) port: u16,
}

/// What a failed handshake, or a connection that the other side ended, is about; none when TLS
/// has nothing to do with it.
pub(crate) fn in_words(error: &io::Error, peer: Peer) -> Option<String> {
    let words = words(error, peer.port)?;
    Some(words.replace("the machine", &format!("the {}", peer.called)))
}

/// The same for a machine.
fn words(error: &io::Error, port: u16) -> Option<String> {
    let error = error.get_ref()?.downcast_ref::<Error>()?;
    let words = match error {
        Error::InvalidCertificate(certificate) => of_theirs(certificate),
        Error::AlertReceived(alert) => of_ours(*alert),
        Error::NoCertificatesPresented => {
            "the machine shows no certificate; give it one in its own settings".to_owned()
        }
        Error::InvalidMessage(_) | Error::InappropriateMessage { .. } => {
            format!(
                "what answers there does not speak TLS; is this the secured port, {port} unless \
                 the machine says otherwise?"
            )
        }
        Error::PeerIncompatible(what) => format!(
            "the machine speaks no TLS that is safe enough ({what:?}); switch on TLS 1.2 or 1.3 \
             there, or update its firmware"
        ),
        other => format!("{other}"),
    };
    Some(words)
}

/// The machine's certificate is not good enough for us.
fn of_theirs(error: &CertificateError) -> String {
    let advice = match error {
        CertificateError::Expired | CertificateError::ExpiredContext { .. } => {
            "the machine's certificate has expired; renew it there, and see whether this \
             computer's clock is right"
        }
        CertificateError::NotValidYet | CertificateError::NotValidYetContext { .. } => {
            "the machine's certificate is not valid yet; is the clock of this computer right, or \
             that of the machine when the certificate was made?"
        }
        CertificateError::UnknownIssuer => {
            "nobody in the file of `ca` vouches for the machine's certificate; add the certificate \
             of whoever issued it to that file; one that vouches for itself goes there itself"
        }
        CertificateError::NotValidForName | CertificateError::NotValidForNameContext { .. } => {
            "the machine's certificate is made out to another name; write one of its names as \
             `server-name`"
        }
        CertificateError::InvalidPurpose | CertificateError::InvalidPurposeContext { .. } => {
            "the machine's certificate is not meant for servers; have one issued for server \
             authentication"
        }
        CertificateError::BadSignature => {
            "the machine's certificate was not signed by the one in the file of `ca` that bears \
             the issuer's name; is that file of an older authority?"
        }
        CertificateError::Revoked => "the machine's certificate was revoked; have a new one issued",
        _ => "the machine's certificate cannot be accepted; have a new one issued",
    };
    format!("{advice} ({})", Error::InvalidCertificate(error.clone()))
}

/// Our certificate is not good enough for the machine.
fn of_ours(alert: AlertDescription) -> String {
    let advice = match alert {
        AlertDescription::CertificateExpired => {
            "the machine finds our certificate expired; renew the one at `certificate`, and see \
             whether the machine's clock is right"
        }
        AlertDescription::UnknownCA => {
            "the machine does not know who issued our certificate; add that authority to those it \
             trusts, or have the certificate at `certificate` issued by one of them"
        }
        AlertDescription::CertificateRequired => {
            "the machine wants a certificate of ours and took none; have the one at `certificate` \
             issued by an authority that it trusts"
        }
        AlertDescription::AccessDenied => {
            "the machine knows our certificate and lets it do nothing; add it, or its role, in the \
             machine's own settings"
        }
        AlertDescription::BadCertificate
        | AlertDescription::CertificateUnknown
        | AlertDescription::CertificateRevoked
        | AlertDescription::UnsupportedCertificate
        | AlertDescription::DecryptError => {
            "the machine does not accept our certificate; is the one at `certificate` meant for \
             clients, and not revoked?"
        }
        AlertDescription::ProtocolVersion
        | AlertDescription::HandshakeFailure
        | AlertDescription::InsufficientSecurity => {
            "the machine and the gateway know no common way to secure the connection; switch on \
             TLS 1.2 or 1.3 there, or update its firmware"
        }
        _ => "the machine ended the secured connection; see its own messages",
    };
    format!("{advice} (alert {alert:?})")
}
