//! Throw-away certificates, so that a secured machine is rehearsed secured.

use std::path::{Path, PathBuf};

use anyhow::Context as _;
use rcgen::{BasicConstraints, CertificateParams, IsCa, Issuer, KeyPair};
use stencilward_adapters::modbus::Tls;

/// Those of a machine on loopback, and those of a gateway that it lets in. One authority that
/// nobody else knows vouches for both; its key is not kept.
pub(super) fn pair(plant: &Path) -> anyhow::Result<(Tls, Tls)> {
    let folder = tempfile::Builder::new().prefix("certificates-").tempdir_in(plant)?.keep();
    let mut params = CertificateParams::default();
    params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    let key = KeyPair::generate().context("no key")?;
    let ca = write(&folder, "ca.pem", &params.self_signed(&key)?.pem())?;
    let issuer = Issuer::new(params, key);
    let issue = |owner: &str| -> anyhow::Result<Tls> {
        let params = CertificateParams::new(vec!["127.0.0.1".to_owned()])?;
        let key = KeyPair::generate().context("no key")?;
        let certificate = params.signed_by(&key, &issuer)?;
        Ok(Tls {
            ca: ca.clone(),
            certificate: write(&folder, &format!("{owner}.pem"), &certificate.pem())?,
            key: write(&folder, &format!("{owner}.key"), &key.serialize_pem())?,
            server_name: None,
        })
    };
    Ok((issue("machine")?, issue("gateway")?))
}

fn write(folder: &Path, name: &str, text: &str) -> anyhow::Result<PathBuf> {
    let file = folder.join(name);
    std::fs::write(&file, text).with_context(|| format!("{} cannot be written", file.display()))?;
    Ok(file)
}
