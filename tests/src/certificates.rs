//! Certificates made for a test, in files below a folder of their own.

use std::path::{Path, PathBuf};

use rcgen::{BasicConstraints, CertificateParams, DnType, IsCa, Issuer, KeyPair};
use tempfile::TempDir;

/// One who issues certificates. Its files are gone when it is dropped.
pub struct Authority {
    folder: TempDir,
    issuer: Issuer<'static, KeyPair>,
}

/// The files that a server shows itself with, in PEM (RFC 7468).
#[derive(Debug, Clone)]
pub struct Shown {
    /// Its certificate.
    pub certificate: PathBuf,
    /// Its private key.
    pub key: PathBuf,
}

impl Authority {
    /// An authority of this name.
    ///
    /// # Panics
    /// When its certificate cannot be made or written.
    #[must_use]
    pub fn new(name: &str) -> Self {
        let mut params = CertificateParams::default();
        params.distinguished_name.push(DnType::CommonName, name);
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let (key, folder) = (key(), tempfile::tempdir().unwrap_or_else(|why| panic!("{why}")));
        let certificate = params.self_signed(&key).unwrap_or_else(|why| panic!("{why}"));
        write(&folder.path().join("ca.pem"), &certificate.pem());
        Self { folder, issuer: Issuer::new(params, key) }
    }

    /// The file with its own certificate.
    #[must_use]
    pub fn ca(&self) -> PathBuf {
        self.folder.path().join("ca.pem")
    }

    /// A certificate for the server at this host.
    ///
    /// # Panics
    /// When it cannot be made or written.
    #[must_use]
    pub fn issue(&self, host: &str) -> Shown {
        let params = CertificateParams::new(vec![host.to_owned()]);
        let params = params.unwrap_or_else(|why| panic!("{host}: {why}"));
        let key = key();
        let certificate = params.signed_by(&key, &self.issuer);
        let certificate = certificate.unwrap_or_else(|why| panic!("{host}: {why}"));
        let file = |name: &str| self.folder.path().join(name);
        let shown = Shown { certificate: file("server.pem"), key: file("server.key") };
        write(&shown.certificate, &certificate.pem());
        write(&shown.key, &key.serialize_pem());
        shown
    }
}

fn key() -> KeyPair {
    KeyPair::generate().unwrap_or_else(|why| panic!("no key: {why}"))
}

fn write(file: &Path, text: &str) {
    std::fs::write(file, text).unwrap_or_else(|why| panic!("{}: {why}", file.display()));
}
