//! From the configuration to the door: who may come in, and with which certificate.

use std::net::SocketAddr;
use std::sync::Arc;

use anyhow::Context as _;
use stencilward_config::Configuration;
use stencilward_config::configuration::{SecondPersonWord, SignInSettings};
use stencilward_domain::event::Role;
use stencilward_web::{
    Changes, Confirmed, Door, DoorSettings, Fresh, Limits, Network, PeopleFile, Reason,
};

use crate::serve::Certificate;

/// The name of who is there first.
const FIRST: &str = "manager";

/// Where the people of this configuration are kept.
pub(crate) fn people(configuration: &Configuration) -> PeopleFile {
    PeopleFile::beside(&configuration.ledger)
}

/// Must people sign in, whether there are any or not.
fn is_required(configuration: &Configuration) -> bool {
    let listen = configuration.listen.parse::<SocketAddr>();
    configuration.sign_in.is_some() || listen.is_ok_and(|address| !address.ip().is_loopback())
}

/// Where people must sign in and none were ever there, lets a first one in. Gives their password,
/// the only time it is told.
///
/// # Errors
/// When the file beside the ledger cannot be written.
pub(crate) fn first_manager(configuration: &Configuration) -> anyhow::Result<Option<String>> {
    let file = people(configuration);
    if !is_required(configuration) || file.path().exists() {
        return Ok(None);
    }
    let first = Fresh::password()?;
    let password = Some((first.kept, true));
    let changes = Changes { role: Some(Role::Manager), password, ..Changes::default() };
    let said = Reason { by: "the gateway".to_owned(), why: "nobody was there yet".to_owned() };
    file.change(|people| people.admit(FIRST, changes, said))?;
    Ok(Some(format!(
        "nobody could sign in yet, so there is a first person now: {FIRST}, with the password \
         {}, which is not shown again and must be changed at the first sign-in",
        first.shown
    )))
}

/// The door, and the certificate where there is one.
///
/// # Errors
/// When nobody could come in, or what is needed cannot be read, with what to do.
pub(crate) fn door(
    configuration: &Configuration,
    address: SocketAddr,
) -> anyhow::Result<(Arc<Door>, Option<Arc<Certificate>>)> {
    let certificate = configuration.tls.clone().map(|tls| {
        let read = Certificate::read(tls.certificate, tls.key).map_err(anyhow::Error::msg);
        read.context("tls").map(Arc::new)
    });
    let certificate = certificate.transpose()?;
    let loopback = address.ip().is_loopback();
    if !loopback && certificate.is_none() {
        anyhow::bail!(
            "beyond loopback the gateway speaks TLS only: add tls with a certificate and its key, \
             or listen on 127.0.0.1"
        );
    }
    let mut settings = settings(&configuration.sign_in.clone().unwrap_or_default());
    settings.required = !loopback || configuration.sign_in.is_some();
    (settings.loopback, settings.secure) = (loopback, certificate.is_some());
    let file = people(configuration);
    let door = Door::new(settings, file)?;
    if door.is_walled_up() {
        anyhow::bail!(
            "people must sign in, and there is nobody who could: let somebody in with \
             stencilward people FILE admit NAME --role manager --by WHO --why REASON"
        );
    }
    Ok((Arc::new(door), certificate))
}

fn settings(set: &SignInSettings) -> DoorSettings {
    let usual = DoorSettings::default();
    let limits = |usual: Limits, idle: Option<_>, longest: Option<_>| {
        let span = |span: Option<stencilward_adapters::settings::Span>| span.map(|span| span.0);
        Limits {
            idle: span(idle).unwrap_or(usual.idle),
            longest: span(longest).unwrap_or(usual.longest),
        }
    };
    let second = set.second_person.iter().map(|word| match word {
        SecondPersonWord::Concession => Confirmed::Concession,
        SecondPersonWord::Retire => Confirmed::Retire,
    });
    // What is no address was told when the file was checked.
    let stations = set.stations.iter().filter_map(|text| text.parse::<Network>().ok());
    DoorSettings {
        stations: stations.collect(),
        at_station: limits(usual.at_station, set.station_idle, set.station_longest),
        elsewhere: limits(usual.elsewhere, set.idle, set.longest),
        second_person: second.collect(),
        ..usual
    }
}
