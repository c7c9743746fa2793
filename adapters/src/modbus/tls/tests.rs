//! Roles in certificates.

use rcgen::{CertificateParams, CustomExtension, KeyPair};

use super::*;

fn read(extensions: &[(&[u64], &[u8])]) -> Option<String> {
    let mut params = CertificateParams::default();
    for (oid, content) in extensions {
        let extension = CustomExtension::from_oid_content(oid, content.to_vec());
        params.custom_extensions.push(extension);
    }
    let certificate = params.self_signed(&KeyPair::generate().unwrap()).unwrap();
    role(certificate.der())
}

/// The object identifier and the type of its value: MODBUS/TCP Security Protocol Specification
/// V21. A UTF-8 string of ASN.1 has the tag 0C.
#[test]
fn a_role_is_one_string_under_the_published_identifier() {
    const OID: &[u64] = &[1, 3, 6, 1, 4, 1, 50_316, 802, 1];
    assert_eq!(read(&[(OID, b"\x0C\x08operator")]).as_deref(), Some("operator"));
    assert_eq!(read(&[(&[1, 3, 6, 1, 4, 1, 50_316, 802, 2], b"\x0C\x01x")]), None);
    assert_eq!(read(&[]), None);
    for malformed in [&b"operator"[..], b"\x0C\x09operator", b"\x0C\x01\xFF", b"\x04\x01x", b""] {
        assert_eq!(read(&[(OID, malformed)]), None, "{malformed:?}");
    }
    assert_eq!(role(&CertificateDer::from(vec![0x30, 0x03, 1, 2, 3])), None);
}
