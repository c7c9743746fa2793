//! The door: who may come in, who is inside, and what the ledger is told of it.
//!
//! Without people, and where only this computer can reach it, the door stands open, and whoever
//! acts says who they are. As soon as there is one person, everybody shows who they are.

pub(crate) mod api;
mod check;
mod clerk;
mod file;
mod gate;
mod guard;
mod headers;
mod page;
mod people;
mod rates;
mod routes;
mod secret;
mod sessions;
mod settings;
mod table;
mod tries;
mod who;

use std::collections::{BTreeMap, HashMap};
use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard};
use std::time::{Instant, SystemTime};

use stencilward_domain::event::{Left, PeopleEvent, Role};
use stencilward_domain::time::Timestamp;
use tokio::sync::{Semaphore, mpsc};

pub use file::{PeopleError, PeopleFile};
pub(crate) use gate::gate;
pub use gate::may_use;
pub(crate) use page::then;
pub use people::{Changes, People, Person, Reason};
pub use rates::Rate;
pub(crate) use routes::routes;
pub(crate) use secret::{hex, token};
pub use secret::{judge_password, judge_pin};
pub use sessions::Limits;
pub use settings::{DoorSettings, Network};
pub use table::{Confirmed, Least, Row, TABLE};
pub use who::Who;

use rates::Rates;
use sessions::Sessions;
use tries::Tries;

/// Notes that may wait for the ledger. With so many, nobody can sign in any more.
const NOTES: usize = 1_024;

/// Hashes at a time: each needs 19 MiB and a core.
const HASHES: usize = 2;

/// The address a request comes from, which the server adds to each.
#[derive(Debug, Clone, Copy)]
pub struct Peer(pub IpAddr);

/// Makes what a new person or program is known by.
pub struct Fresh {
    /// What is shown to them, once.
    pub shown: String,
    /// What is kept.
    pub kept: String,
}

impl Fresh {
    /// A password to begin with, which must be changed.
    ///
    /// # Errors
    /// When there is nothing random to be had.
    pub fn password() -> std::io::Result<Self> {
        let shown = secret::first_password()?;
        Ok(Self { kept: secret::hash(&shown)?, shown })
    }

    /// A PIN of six digits.
    ///
    /// # Errors
    /// When there is nothing random to be had.
    pub fn pin() -> std::io::Result<Self> {
        loop {
            let number = u32::from_le_bytes(secret::random()?) % 1_000_000;
            let shown = format!("{number:06}");
            if secret::judge_pin(&shown).is_ok() {
                return Ok(Self { kept: secret::hash(&shown)?, shown });
            }
        }
    }

    /// A program's token.
    ///
    /// # Errors
    /// When there is nothing random to be had.
    pub fn token() -> std::io::Result<Self> {
        let shown = secret::token()?;
        Ok(Self { kept: secret::hex(&secret::digest(&shown)), shown })
    }

    /// What is kept of a password or PIN that was judged good.
    ///
    /// # Errors
    /// When there is no salt to be had.
    pub fn kept_of(chosen: &str) -> std::io::Result<String> {
        secret::hash(chosen)
    }
}

/// The door.
pub struct Door {
    settings: DoorSettings,
    file: Option<PeopleFile>,
    inside: Mutex<Inside>,
    hashing: Semaphore,
    notes: mpsc::Sender<PeopleEvent>,
    noted: Mutex<Option<mpsc::Receiver<PeopleEvent>>>,
}

struct Inside {
    people: People,
    tokens: HashMap<String, usize>,
    stamp: file::Stamp,
    /// True from the first person on: a file that was lost opens nothing.
    shut: bool,
    sessions: Sessions,
    tries: Tries,
    refused: BTreeMap<Option<String>, u64>,
    refused_since: Option<Instant>,
    by_address: Rates<IpAddr>,
    by_bearer: Rates<[u8; 32]>,
}

/// Somebody who showed who they are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Somebody {
    pub(crate) name: String,
    pub(crate) role: Role,
    /// What a form must bear; none for programs.
    pub(crate) form_token: Option<String>,
    pub(crate) provisional: bool,
    pub(crate) at_station: bool,
    /// What they must confirm before they do it.
    pub(crate) unconfirmed: Vec<Confirmed>,
    pass: Pass,
}

/// What somebody was let in by; only its hash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pass {
    Session([u8; 32]),
    Token([u8; 32]),
}

impl Default for Door {
    fn default() -> Self {
        Self::over(DoorSettings::default(), None, People::default(), None)
    }
}

impl Door {
    /// A door before the people in this file.
    ///
    /// # Errors
    /// [`PeopleError`] when the file cannot be read.
    pub fn new(settings: DoorSettings, file: PeopleFile) -> Result<Self, PeopleError> {
        let stamp = file.stamp();
        let people = file.read()?;
        Ok(Self::over(settings, Some(file), people, stamp))
    }

    fn over(
        settings: DoorSettings,
        file: Option<PeopleFile>,
        people: People,
        stamp: file::Stamp,
    ) -> Self {
        let (notes, noted) = mpsc::channel(NOTES);
        let inside = Inside {
            tokens: people.by_token(),
            shut: settings.required || !people.is_empty(),
            people,
            stamp,
            sessions: Sessions::default(),
            tries: Tries::default(),
            refused: BTreeMap::new(),
            refused_since: None,
            by_address: Rates::new(settings.of_address),
            by_bearer: Rates::new(settings.of_session),
        };
        Self {
            settings,
            file,
            inside: Mutex::new(inside),
            hashing: Semaphore::new(HASHES),
            notes,
            noted: Mutex::new(Some(noted)),
        }
    }

    fn inside(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// True while whoever comes may act.
    #[must_use]
    pub fn is_open(&self) -> bool {
        !self.inside().shut
    }

    /// True when nobody could come in.
    #[must_use]
    pub fn is_walled_up(&self) -> bool {
        self.settings.required && self.inside().people.is_empty()
    }

    /// Takes in what became of the file.
    fn refresh(&self) {
        let Some(file) = &self.file else { return };
        let stamp = file.stamp();
        if self.inside().stamp == stamp {
            return;
        }
        let read = file.read();
        let mut inside = self.inside();
        inside.stamp = stamp;
        match read {
            Ok(people) => {
                inside.tokens = people.by_token();
                inside.shut |= !people.is_empty();
                inside.people = people;
            }
            Err(error) => tracing::error!("people stay as they were: {error}"),
        }
    }

    fn note(&self, event: PeopleEvent) {
        if self.notes.try_send(event).is_err() {
            tracing::error!("the ledger takes no notes of people: see that it takes writes");
        }
    }

    fn note_gone(&self, gone: impl IntoIterator<Item = (String, Left)>) {
        for (by, why) in gone {
            self.note(PeopleEvent::SignedOut { by, why });
        }
    }

    /// Whose session this is. What a page asks for by itself does not keep anybody signed in.
    fn of_session(&self, id: &str, by_itself: bool) -> Option<Somebody> {
        let mut inside = self.inside();
        let (inside, instant) = (&mut *inside, Instant::now());
        match inside.sessions.find(id, &inside.people, instant) {
            Ok(session) => {
                if !by_itself {
                    session.touch(instant);
                }
                let person = inside.people.find(&session.name)?;
                if person.is_over(now()) {
                    let name = inside.sessions.end(id)?;
                    self.note(PeopleEvent::SignedOut { by: name, why: Left::Changed });
                    return None;
                }
                Some(Somebody {
                    name: person.name.clone(),
                    role: person.role,
                    form_token: Some(session.form_token.clone()),
                    provisional: person.is_provisional() && !session.at_station,
                    at_station: session.at_station,
                    unconfirmed: self.unconfirmed(session, instant),
                    pass: Pass::Session(secret::digest(id)),
                })
            }
            Err(gone) => {
                self.note_gone(gone);
                None
            }
        }
    }

    /// Whose token this is.
    fn of_token(&self, token: &str) -> Option<Somebody> {
        let (inside, digest) = (self.inside(), secret::digest(token));
        let index = *inside.tokens.get(&secret::hex(&digest))?;
        let program = inside.people.all().get(index).filter(|program| !program.is_over(now()))?;
        Some(Somebody {
            name: program.name.clone(),
            role: program.role,
            form_token: None,
            provisional: false,
            at_station: false,
            unconfirmed: Vec::new(),
            pass: Pass::Token(digest),
        })
    }

    fn unconfirmed(&self, session: &sessions::Session, now: Instant) -> Vec<Confirmed> {
        let open = |what: &Confirmed| {
            let second = self.settings.second_person.contains(what);
            self.is_confirmed_each_time(*what) && !session.confirmed_with(second, now)
        };
        [Confirmed::Concession, Confirmed::Retire].into_iter().filter(open).collect()
    }

    /// True while whoever was let in would still be: a stream of changes ends with what it was
    /// opened with (ASVS 5.0, 7.4.1).
    pub(crate) fn still_lets_in(&self, who: &Who) -> bool {
        let inside = self.inside();
        match who.is().map(|somebody| somebody.pass) {
            None => !inside.shut,
            Some(Pass::Session(key)) => inside.sessions.is_on(&key, &inside.people, Instant::now()),
            Some(Pass::Token(key)) => {
                let index = inside.tokens.get(&secret::hex(&key));
                let program = index.and_then(|index| inside.people.all().get(*index));
                program.is_some_and(|program| !program.is_over(now()))
            }
        }
    }
}

/// Now, by the gateway's clock.
fn now() -> Timestamp {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    Timestamp(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}
