//! Certificates made for a test: authorities, machines and gateways, good and bad.

use std::path::{Path, PathBuf};

use rcgen::{
    BasicConstraints, CertificateParams, CustomExtension, DnType, ExtendedKeyUsagePurpose, IsCa,
    Issuer, KeyPair, date_time_ymd,
};
use stencilward_adapters::modbus::Tls;
use tempfile::TempDir;

/// The object identifier of a role: MODBUS/TCP Security Protocol Specification V21.
const ROLE: [u64; 9] = [1, 3, 6, 1, 4, 1, 50_316, 802, 1];

/// One who issues certificates into a folder of its own.
pub(crate) struct Authority {
    folder: TempDir,
    issuer: Issuer<'static, KeyPair>,
}

impl Authority {
    pub(crate) fn new(name: &str) -> Self {
        let mut params = CertificateParams::default();
        params.distinguished_name.push(DnType::CommonName, name);
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let key = KeyPair::generate().unwrap();
        let certificate = params.self_signed(&key).unwrap();
        let folder = tempfile::tempdir().unwrap();
        write(&folder.path().join("ca.pem"), "CERTIFICATE", certificate.der());
        Self { folder, issuer: Issuer::new(params, key) }
    }

    pub(crate) fn ca(&self) -> PathBuf {
        self.folder.path().join("ca.pem")
    }

    /// Issues a certificate, and names its files as settings do, with this authority as the one to
    /// trust.
    pub(crate) fn issue(&self, owner: &str, change: impl FnOnce(&mut CertificateParams)) -> Tls {
        let mut params = CertificateParams::new(vec!["127.0.0.1".to_owned()]).unwrap();
        params.distinguished_name.push(DnType::CommonName, owner);
        change(&mut params);
        let key = KeyPair::generate().unwrap();
        let certificate = params.signed_by(&key, &self.issuer).unwrap();
        self.put(owner, certificate.der(), &key)
    }

    /// A certificate for which nobody vouches but itself.
    pub(crate) fn self_signed(&self, owner: &str) -> Tls {
        let mut params = CertificateParams::new(vec!["127.0.0.1".to_owned()]).unwrap();
        params.distinguished_name.push(DnType::CommonName, owner);
        let key = KeyPair::generate().unwrap();
        let certificate = params.self_signed(&key).unwrap();
        self.put(owner, certificate.der(), &key)
    }

    fn put(&self, owner: &str, certificate: &[u8], key: &KeyPair) -> Tls {
        let file = |ending: &str| self.folder.path().join(format!("{owner}.{ending}"));
        let tls =
            Tls { ca: self.ca(), certificate: file("pem"), key: file("key"), server_name: None };
        write(&tls.certificate, "CERTIFICATE", certificate);
        write(&tls.key, "PRIVATE KEY", &key.serialize_der());
        tls
    }
}

/// Gives the owner a role.
pub(crate) fn with_role(role: &str) -> impl FnOnce(&mut CertificateParams) {
    // A UTF-8 string of ASN.1: its tag and length, then the bytes.
    let content = [&[0x0C, u8::try_from(role.len()).unwrap()], role.as_bytes()].concat();
    |params| params.custom_extensions.push(CustomExtension::from_oid_content(&ROLE, content))
}

pub(crate) fn expired(params: &mut CertificateParams) {
    params.not_before = date_time_ymd(2001, 1, 1);
    params.not_after = date_time_ymd(2002, 1, 1);
}

pub(crate) fn not_valid_yet(params: &mut CertificateParams) {
    params.not_before = date_time_ymd(3001, 1, 1);
    params.not_after = date_time_ymd(3002, 1, 1);
}

pub(crate) fn for_clients_only(params: &mut CertificateParams) {
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ClientAuth];
}

/// Writes a file of PEM (RFC 7468).
fn write(path: &Path, label: &str, content: &[u8]) {
    let lines = base64(content).into_bytes();
    let lines: Vec<String> =
        lines.chunks(64).map(|line| String::from_utf8(line.to_vec()).unwrap()).collect();
    let text = format!("-----BEGIN {label}-----\n{}\n-----END {label}-----\n", lines.join("\n"));
    std::fs::write(path, text).unwrap();
}

/// RFC 4648, 4.
fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for group in bytes.chunks(3) {
        let byte = |at: usize| u32::from(group.get(at).copied().unwrap_or_default());
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for place in 0..4 {
            let digit = DIGITS[(bits >> (18 - 6 * place) & 63) as usize];
            text.push(if place > group.len() { '=' } else { char::from(digit) });
        }
    }
    text
}
