//! How the door behaves.

use std::collections::BTreeSet;
use std::net::IpAddr;
use std::str::FromStr;
use std::time::Duration;

use super::rates::Rate;
use super::sessions::Limits;
use super::table::Confirmed;

/// How the door behaves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DoorSettings {
    /// False: it stands open while there is nobody who could sign in.
    pub required: bool,
    /// True when only this computer can reach it.
    pub loopback: bool,
    /// True when TLS is spoken.
    pub secure: bool,
    /// Shared stations, at which a PIN is enough.
    pub stations: Vec<Network>,
    /// How long a session lasts at a shared station.
    pub at_station: Limits,
    /// How long it lasts elsewhere.
    pub elsewhere: Limits,
    /// What needs a second person.
    pub second_person: BTreeSet<Confirmed>,
    /// Requests of one address; loopback is not counted.
    pub of_address: Rate,
    /// Requests of one session or program.
    pub of_session: Rate,
}

impl Default for DoorSettings {
    fn default() -> Self {
        let minutes = |count: u64| Duration::from_secs(count * 60);
        Self {
            required: false,
            loopback: true,
            secure: false,
            stations: Vec::new(),
            at_station: Limits { idle: minutes(5), longest: minutes(60) },
            elsewhere: Limits { idle: minutes(30), longest: minutes(12 * 60) },
            second_person: BTreeSet::new(),
            of_address: Rate { burst: 400, steady: 100 },
            of_session: Rate { burst: 200, steady: 50 },
        }
    }
}

impl DoorSettings {
    pub(super) fn is_station(&self, from: Option<IpAddr>) -> bool {
        from.is_some_and(|from| self.stations.iter().any(|station| station.holds(from)))
    }

    /// What the session's cookie is called (RFC 6265bis, 4.1.3.2: the prefix needs TLS).
    pub(super) fn cookie(&self) -> &'static str {
        if self.secure { "__Host-stencilward" } else { "stencilward" }
    }
}

/// One address, or those that begin alike (RFC 4632, 3.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Network {
    address: IpAddr,
    length: u32,
}

impl Network {
    fn holds(self, other: IpAddr) -> bool {
        match (self.address, other.to_canonical()) {
            (IpAddr::V4(own), IpAddr::V4(other)) => {
                let mask = u32::MAX.checked_shl(32 - self.length).unwrap_or(0);
                own.to_bits() & mask == other.to_bits() & mask
            }
            (IpAddr::V6(own), IpAddr::V6(other)) => {
                let mask = u128::MAX.checked_shl(128 - self.length).unwrap_or(0);
                own.to_bits() & mask == other.to_bits() & mask
            }
            _ => false,
        }
    }
}

impl FromStr for Network {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("{text:?} is no address; write such as 10.0.3.21 or 10.0.3.0/24");
        let (address, length) = match text.split_once('/') {
            Some((address, length)) => (address, Some(length)),
            None => (text, None),
        };
        let address: IpAddr = address.parse().map_err(|_| wrong())?;
        let longest = if address.is_ipv4() { 32 } else { 128 };
        let length = length.map_or(Ok(longest), str::parse).map_err(|_| wrong())?;
        if length > longest { Err(wrong()) } else { Ok(Self { address, length }) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_network_holds_its_own() {
        let holds = |network: &str, address: &str| {
            network.parse::<Network>().unwrap().holds(address.parse().unwrap())
        };
        assert!(holds("10.0.3.21", "10.0.3.21") && !holds("10.0.3.21", "10.0.3.22"));
        assert!(holds("10.0.3.0/24", "10.0.3.255") && !holds("10.0.3.0/24", "10.0.4.0"));
        assert!(holds("0.0.0.0/0", "192.0.2.7") && !holds("0.0.0.0/0", "::1"));
        assert!(holds("10.0.3.21", "::ffff:10.0.3.21"));
        assert!(holds("2001:db8::/32", "2001:db8:1::1") && !holds("2001:db8::/32", "2001:db9::"));
        for wrong in ["", "10.0.3", "10.0.3.0/33", "10.0.3.0/-1", "station"] {
            assert!(wrong.parse::<Network>().is_err(), "{wrong}");
        }
    }
}
