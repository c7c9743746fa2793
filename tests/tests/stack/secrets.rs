//! `secrets.sh`: every secret at random and once, nobody else's to read, and no default anywhere.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use stencilward_tests::{missing, root};

use crate::{outcome, succeeds};

/// What nobody but the containers may know.
const SECRET: [&str; 7] = [
    "ca.key",
    "floor-people",
    "gateway-at-floor",
    "gateway.key",
    "grafana-admin",
    "grafana.key",
    "mosquitto_sub",
];

/// The script, with its secrets in this folder; none, said aloud, where it cannot run.
pub(crate) fn script(folder: &Path, arguments: &[&str]) -> Option<Command> {
    missing::program("openssl", "Debian package openssl")?;
    let mut command = Command::new(deployed("secrets.sh"));
    command.args(arguments).env("STENCILWARD_SECRETS", folder).stdin(Stdio::null());
    Some(command)
}

/// A file of `deploy/container`.
pub(crate) fn deployed(name: &str) -> PathBuf {
    root().join("deploy/container").join(name)
}

fn kept(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    files.map(|file| (name(&file), fs::read(&file).unwrap())).collect()
}

fn name(file: &Path) -> String {
    file.file_name().unwrap().to_string_lossy().into_owned()
}

fn mode(file: &Path) -> u32 {
    fs::metadata(file).unwrap().mode() & 0o777
}

#[test]
fn each_is_made_once_and_at_random() {
    let folder = tempfile::tempdir().unwrap();
    let (one, other) = (folder.path().join("one"), folder.path().join("other"));
    for place in [&one, &other] {
        let Some(mut make) = script(place, &["plant.example", "192.0.2.7"]) else { return };
        succeeds(&mut make);
    }
    let (made, elsewhere) = (kept(&one), kept(&other));
    for secret in SECRET {
        assert!(made[secret].len() >= 32, "{secret} is short");
        assert_ne!(made[secret], elsewhere[secret], "{secret} is the same everywhere");
    }
    assert_eq!(mode(&one), 0o700);
    assert_eq!(mode(&one.join("ca.key")), 0o600);
    assert_eq!(made["metrics-token"], b"", "there is no token before there are people");
    let passwords = [&made["gateway-at-floor"], &made["grafana-admin"]];
    let people = String::from_utf8_lossy(&made["floor-people"]);
    for password in passwords {
        assert!(!people.contains(&*String::from_utf8_lossy(password)), "kept as a hash only");
    }

    succeeds(&mut script(&one, &["plant.example", "192.0.2.7"]).unwrap());
    assert_eq!(kept(&one), made, "what is there stays");
}

#[test]
fn certificates_bear_the_names_of_the_host_and_are_renewed_in_place() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("secrets");
    let Some(mut make) = script(&place, &["plant.example", "192.0.2.7"]) else { return };
    succeeds(&mut make);
    let file = place.join("gateway.pem");
    let shown = |file: &Path| {
        let mut openssl = Command::new("openssl");
        openssl.args(["x509", "-noout", "-ext", "subjectAltName", "-in"]).arg(file);
        succeeds(&mut openssl)
    };
    let names = shown(&file);
    for wanted in ["DNS:gateway", "DNS:plant.example", "IP Address:192.0.2.7"] {
        assert!(names.contains(wanted), "{names}");
    }
    let mut vouched = Command::new("openssl");
    vouched.arg("verify").arg("-CAfile").arg(place.join("ca.pem"));
    succeeds(vouched.args(["gateway.pem", "mosquitto.pem", "grafana.pem"].map(|n| place.join(n))));

    let (before, made) = (fs::metadata(&file).unwrap().ino(), kept(&place));
    succeeds(&mut script(&place, &["renew", "other.example"]).unwrap());
    assert!(shown(&file).contains("DNS:other.example"));
    let inode = fs::metadata(&file).unwrap().ino();
    assert_eq!(inode, before, "a container that has the file mounted would not see a new one");
    let renewed = kept(&place);
    assert_ne!(renewed["gateway.key"], made["gateway.key"]);
    assert_eq!(renewed["ca.pem"], made["ca.pem"]);
    assert_eq!(renewed["floor-people"], made["floor-people"]);
}

#[test]
fn what_it_cannot_do_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let said = |arguments: &[&str]| {
        let (done, said) = outcome(&mut script(folder.path(), arguments).unwrap());
        assert!(!done, "{arguments:?}: {said}");
        said
    };
    if script(folder.path(), &[]).is_none() {
        return;
    }
    assert!(said(&[]).contains("secrets.sh HOST..."));
    assert!(said(&["machine", "printer-1"]).contains("run secrets.sh HOST... first"));
    assert!(said(&["machine", "a:b"]).contains("letters, digits, dots and dashes"));
    assert!(said(&["machine", "gateway"]).contains("for itself"));
    assert!(said(&["renew"]).contains("name this host"));
    assert!(said(&["two words"]).contains("two words: no host name and no address"));
}

/// Passwords stand in files that are made, never in what is delivered.
#[test]
fn no_default_password() {
    for file in ["compose.yaml", "plant.yaml", "mosquitto/mosquitto.conf", "mosquitto/floor.acl"] {
        let text = fs::read_to_string(deployed(file)).unwrap();
        for line in text.lines().map(str::trim).filter(|line| !line.starts_with('#')) {
            let lower = line.to_lowercase();
            let from_a_file = line.contains("/run/secrets/");
            let speaks_of_one = lower.contains("password") || lower.contains("passwd");
            assert!(!speaks_of_one || from_a_file, "{file}: {line}");
            assert!(!lower.contains("allow_anonymous true"), "{file}: {line}");
        }
    }
}
