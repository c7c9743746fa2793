//! A surface whose door is shut, with people and programs of each role.

use std::sync::Arc;

use stencilward_domain::event::Role;
use stencilward_domain::time::Timestamp;
use stencilward_web::{
    Changes, Confirmed, Door, DoorSettings, Fresh, Limits, PeopleFile, Rate, Reason, Surface,
};

/// Requests of one address or program at once.
pub(crate) const BURST: u32 = 100;

pub(crate) const PIN: &str = "270418";

/// Everybody's who has one.
pub(crate) const PASSWORD: &str = "kettle orbit lamp sand";

/// A surface behind a shut door.
pub(crate) struct Hall {
    pub(crate) surface: Surface,
    pub(crate) file: PeopleFile,
    tokens: Vec<(Role, String)>,
    /// A token that has ended.
    pub(crate) ended: String,
    _folder: tempfile::TempDir,
}

impl Hall {
    pub(crate) fn token(&self, role: Role) -> String {
        let of = self.tokens.iter().find(|(of, _)| *of == role);
        of.map(|(_, token)| token.clone()).expect("each role has one")
    }

    /// Who changes people in tests, and why.
    pub(crate) fn said() -> Reason {
        Reason { by: "the test".to_owned(), why: "to see".to_owned() }
    }
}

/// With the usual settings, but few requests at once.
pub(crate) fn hall() -> Hall {
    hall_with(|_| {})
}

pub(crate) fn hall_with(change: impl FnOnce(&mut DoorSettings)) -> Hall {
    let folder = tempfile::tempdir().expect("a folder");
    let file = PeopleFile::beside(&folder.path().join("plant.db"));
    let (mut tokens, ended) = (Vec::new(), Fresh::token().expect("a token"));
    file.change(|people| {
        for role in Role::ALL {
            let fresh = Fresh::token().map_err(|error| error.to_string())?;
            let (role, token) = (Some(role), Some(fresh.kept));
            let name = format!("{} program", role.map_or("", Role::as_str));
            people.admit(&name, Changes { role, token, ..Changes::default() }, Hall::said())?;
            tokens.extend(role.map(|role| (role, fresh.shown)));
        }
        let (token, ends) = (Some(ended.kept.clone()), Some(Timestamp(1)));
        let changes = Changes { role: Some(Role::Manager), token, ends, ..Changes::default() };
        people.admit("an old program", changes, Hall::said())
    })
    .expect("a file");
    let rate = Rate { burst: BURST, steady: 1 };
    let limits = DoorSettings::default().elsewhere;
    let mut settings = DoorSettings {
        required: true,
        of_address: rate,
        of_session: rate,
        at_station: Limits { idle: limits.idle / 6, ..limits },
        stations: vec!["192.0.2.64/28".parse().expect("a network")],
        second_person: [Confirmed::Retire].into(),
        ..DoorSettings::default()
    };
    change(&mut settings);
    let door = Door::new(settings, file.clone()).expect("a door");
    let surface = Surface { door: Arc::new(door), ..super::surface() };
    Hall { surface, file, tokens, ended: ended.shown, _folder: folder }
}

/// Lets a person in who may sign in with [`PASSWORD`] and, at a station, with [`PIN`].
pub(crate) fn admit(hall: &Hall, name: &str, role: Role) {
    let kept = |secret: &str| Fresh::kept_of(secret).expect("a hash");
    let changes = Changes {
        role: Some(role),
        password: Some((kept(PASSWORD), false)),
        pin: Some(kept(PIN)),
        badge: Some(format!("B-{name}")),
        ..Changes::default()
    };
    hall.file.change(|people| people.admit(name, changes, Hall::said())).expect("admitted");
}
