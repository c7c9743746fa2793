//! Where a machine is reached: over the network, plain or secured, or on a serial line.

use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Settings;
use crate::settings::Span;

/// The port of Modbus/TCP Security, `mbap-s`.
const SECURE_PORT: u16 = 802;

/// How requests are framed on a network connection.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Framing {
    /// Modbus TCP.
    #[default]
    Tcp,
    /// Modbus RTU over TCP: a converter that passes on what it hears on its serial line.
    Rtu,
}

/// A serial port of this computer, and how the machines on its line speak.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Serial {
    /// The port's device file. The names below `/dev/serial/by-id` stay the same when adapters
    /// are plugged in anew.
    #[schemars(with = "String", extend("examples" = ["/dev/ttyUSB0"]))]
    pub port: PathBuf,
    /// Bits a second.
    #[serde(default = "default_baud")]
    #[schemars(range(min = 1_200, max = 115_200))]
    pub baud: u32,
    /// What one character is made of.
    #[serde(default)]
    pub frame: Frame,
}

fn default_baud() -> u32 {
    19_200
}

/// Data bits, parity and stop bits of a character. The specification asks for eleven bits in all
/// (MODBUS over Serial Line V1.02, 2.5.1); 8N1 has ten, and many machines use it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Frame {
    /// Even parity, one stop bit: the specification's default.
    #[default]
    #[serde(rename = "8E1")]
    Even,
    /// Odd parity, one stop bit.
    #[serde(rename = "8O1")]
    Odd,
    /// No parity, two stop bits.
    #[serde(rename = "8N2")]
    TwoStops,
    /// No parity, one stop bit.
    #[serde(rename = "8N1")]
    OneStop,
}

impl Frame {
    /// Bits on the wire for one character, start bit included.
    #[must_use]
    pub fn bits(self) -> u32 {
        if self == Self::OneStop { 10 } else { 11 }
    }
}

/// Modbus/TCP Security: TLS in which both sides show a certificate. All files are PEM.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Tls {
    /// Certificates of those who may vouch for the machine; a relative path starts at the
    /// configuration file's folder.
    #[schemars(with = "String")]
    pub ca: PathBuf,
    /// The gateway's own certificate, with those between it and the one the machine trusts.
    #[schemars(with = "String")]
    pub certificate: PathBuf,
    /// The private key of that certificate.
    #[schemars(with = "String")]
    pub key: PathBuf,
    /// The name or IP address in the machine's certificate; the host of the address unless set.
    #[serde(default)]
    pub server_name: Option<String>,
}

/// Where machines are reached, and how. Machines at one endpoint share its connection.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Endpoint {
    Network { address: String, framing: Framing, tls: Option<Tls>, quiet: Option<Span> },
    Serial { serial: Serial, quiet: Option<Span> },
}

impl Endpoint {
    /// What people know it by. Endpoints of one name are one place.
    pub(crate) fn name(&self) -> String {
        match self {
            Self::Network { address, .. } => address.clone(),
            Self::Serial { serial, .. } => serial.port.display().to_string(),
        }
    }

    /// True where requests are framed as on a serial line.
    pub(crate) fn is_rtu(&self) -> bool {
        matches!(self, Self::Serial { .. } | Self::Network { framing: Framing::Rtu, .. })
    }
}

impl Settings {
    /// Where the machine is reached; none when the settings say neither address nor port.
    pub(crate) fn endpoint(&self) -> Option<Endpoint> {
        let quiet = self.quiet;
        if let Some(serial) = &self.serial {
            return Some(Endpoint::Serial { serial: serial.clone(), quiet });
        }
        let mut address = self.address.as_ref()?.trim().to_lowercase();
        if self.tls.is_some() && !has_port(&address) {
            address = format!("{address}:{SECURE_PORT}");
        }
        Some(Endpoint::Network { address, framing: self.framing, tls: self.tls.clone(), quiet })
    }

    /// What the place is known by where the machine is reached: machines that name the same share
    /// one connection. None when the settings say neither address nor port.
    #[must_use]
    pub fn place(&self) -> Option<String> {
        Some(self.endpoint()?.name())
    }

    /// Makes relative paths of certificates and keys start at a folder.
    pub fn start_paths_at(&mut self, folder: &Path) {
        if let Some(tls) = &mut self.tls {
            for path in [&mut tls.ca, &mut tls.certificate, &mut tls.key] {
                *path = folder.join(&*path);
            }
        }
    }
}

/// True when something stands behind the last colon that is not inside brackets.
pub(crate) fn has_port(address: &str) -> bool {
    address.rsplit_once(':').is_some_and(|(_, port)| !port.ends_with(']'))
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    fn endpoint(settings: Value) -> Endpoint {
        serde_json::from_value::<Settings>(settings).unwrap().endpoint().unwrap()
    }

    fn tls() -> Value {
        json!({ "ca": "ca.pem", "certificate": "own.pem", "key": "/k/own.key" })
    }

    #[test]
    fn a_serial_line_is_19200_8e1_unless_it_says_otherwise() {
        let Endpoint::Serial { serial, .. } = endpoint(json!({ "serial": { "port": "/dev/a" } }))
        else {
            panic!("no serial line")
        };
        assert_eq!((serial.baud, serial.frame), (19_200, Frame::Even));
        for (word, bits) in [("8E1", 11), ("8O1", 11), ("8N2", 11), ("8N1", 10)] {
            let frame: Frame = serde_json::from_value(json!(word)).unwrap();
            assert_eq!(frame.bits(), bits, "{word}");
        }
    }

    #[test]
    fn the_secured_port_is_802_unless_the_address_names_one() {
        let name = |address: &str| endpoint(json!({ "address": address, "tls": tls() })).name();
        assert_eq!(name("Washer-1.example"), "washer-1.example:802");
        assert_eq!(name("washer-1.example:8802"), "washer-1.example:8802");
        assert_eq!(name("[2001:db8::1]"), "[2001:db8::1]:802");
        assert_eq!(name("[2001:db8::1]:8802"), "[2001:db8::1]:8802");
    }

    #[test]
    fn relative_paths_start_at_a_folder() {
        let settings = json!({ "address": "h:802", "tls": tls() });
        let mut settings: Settings = serde_json::from_value(settings).unwrap();
        settings.start_paths_at(Path::new("/plant"));
        let tls = settings.tls.unwrap();
        assert_eq!(tls.ca, Path::new("/plant/ca.pem"));
        assert_eq!(tls.key, Path::new("/k/own.key"));
    }
}
