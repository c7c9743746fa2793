//! Showing who one is: signing in, confirming, and changing one's own secret.

use std::net::IpAddr;
use std::time::Instant;

use axum::http::StatusCode;
use stencilward_domain::event::{Left, PeopleEvent, Role, Shown};

use super::people::{Changes, Person, Reason};
use super::{Door, now, secret};
use crate::problem::Problem;

/// Longest secret looked at, in bytes.
const LONGEST: usize = 1_024;

/// One sentence for whatever is wrong: who guesses learns nothing (ASVS 5.0, 6.3.8).
const REFUSED: &str = "signing in was refused: the name or the secret is wrong, or it was tried too \
                       often: wait a little and try again";

/// Somebody signed in.
pub(super) struct SignedIn {
    /// The new session's id.
    pub(super) id: String,
    pub(super) name: String,
    pub(super) role: Role,
    pub(super) provisional: bool,
}

pub(super) fn refused() -> Problem {
    Problem::new(StatusCode::UNAUTHORIZED, REFUSED)
}

fn failed(error: &std::io::Error) -> Problem {
    tracing::error!("signing in: {error}");
    Problem::new(StatusCode::SERVICE_UNAVAILABLE, format!("try again later: {error}"))
}

impl Door {
    /// Signs in. An `old` session of the same browser ends.
    pub(super) async fn sign_in(
        &self,
        name: &str,
        secret: &str,
        from: Option<IpAddr>,
        old: Option<&str>,
    ) -> Result<SignedIn, Problem> {
        if self.notes.capacity() == 0 {
            let detail = "the ledger takes no writes, so nobody can sign in: free the disk";
            return Err(Problem::new(StatusCode::SERVICE_UNAVAILABLE, detail));
        }
        let (person, shown) = self.show(name, secret, from).await?;
        let limits = match shown {
            Shown::Pin => self.settings.at_station,
            Shown::Password if self.settings.is_station(from) => self.settings.at_station,
            Shown::Password => self.settings.elsewhere,
        };
        let mut inside = self.inside();
        let ended = old.and_then(|old| inside.sessions.end(old));
        let begun = inside.sessions.begin(&person, limits, shown == Shown::Pin, Instant::now());
        drop(inside);
        let (id, gone) = begun.map_err(|error| failed(&error))?;
        self.note_gone(ended.map(|name| (name, Left::Replaced)).into_iter().chain(gone));
        // Who comes in with a PIN need not change a password that they do not use.
        let provisional = person.provisional && shown == Shown::Password;
        let (name, role) = (person.name.clone(), person.role);
        let from = from.map(|from| from.to_string());
        self.note(PeopleEvent::SignedIn { by: name.clone(), role, shown, from });
        Ok(SignedIn { id, name, role, provisional })
    }

    /// Signs out.
    pub(super) fn sign_out(&self, id: &str) {
        let name = self.inside().sessions.end(id);
        self.note_gone(name.map(|name| (name, Left::Asked)));
    }

    /// Shows again who has this session, and perhaps who is with them. Gives the session's new id.
    pub(super) async fn confirm(
        &self,
        (id, name): (&str, &str),
        secret: &str,
        second: Option<(&str, &str)>,
        from: Option<IpAddr>,
    ) -> Result<String, Problem> {
        self.show(name, secret, from).await?;
        let with = match second {
            Some((second, secret)) => {
                let (person, _) = self.show(second, secret, from).await?;
                if person.name == name || person.role < Role::Technician {
                    let detail = "the second person must be another one, technician at least";
                    return Err(Problem::new(StatusCode::CONFLICT, detail));
                }
                Some(person.name)
            }
            None => None,
        };
        let now = Instant::now();
        let confirmed = self.inside().sessions.confirm(id, with.clone(), now);
        let new = confirmed.map_err(|error| failed(&error))?.ok_or_else(refused)?;
        self.note(PeopleEvent::Confirmed { by: name.to_owned(), second: with });
        Ok(new)
    }

    /// Changes one's own password or, with `pin`, PIN. Signs out everywhere.
    pub(super) async fn change_own(
        &self,
        name: &str,
        (old, new): (&str, &str),
        pin: bool,
        from: Option<IpAddr>,
    ) -> Result<(), Problem> {
        let judged = if pin { secret::judge_pin(new) } else { secret::judge_password(new, name) };
        judged.map_err(|why| Problem::new(StatusCode::UNPROCESSABLE_ENTITY, why))?;
        let (person, shown) = self.show(name, old, from).await?;
        if shown == Shown::Pin && !pin {
            let detail = "a PIN is not enough to change a password: sign in with the password";
            return Err(Problem::new(StatusCode::FORBIDDEN, detail));
        }
        if old == new {
            let detail = "that is the one you have: choose another one";
            return Err(Problem::new(StatusCode::UNPROCESSABLE_ENTITY, detail));
        }
        let hash = self.slowly({
            let new = new.to_owned();
            move || secret::hash(&new)
        });
        let hash = hash.await?.map_err(|error| failed(&error))?;
        let changes = if pin {
            Changes { pin: Some(hash), ..Changes::default() }
        } else {
            Changes { password: Some((hash, false)), ..Changes::default() }
        };
        let said = Reason { by: person.name.clone(), why: "their own".to_owned() };
        let Some(file) = self.file.clone() else { return Err(refused()) };
        let changed =
            self.slowly(move || file.change(|people| people.change(&person.name, changes, said)));
        changed
            .await?
            .map_err(|error| Problem::new(StatusCode::SERVICE_UNAVAILABLE, error.to_string()))?;
        self.refresh();
        Ok(())
    }

    /// Compares a secret with what is kept.
    async fn show(
        &self,
        name: &str,
        given: &str,
        from: Option<IpAddr>,
    ) -> Result<(Person, Shown), Problem> {
        self.refresh();
        let at_station = self.settings.is_station(from);
        let shown = if at_station && secret::judge_pin(given).is_ok() {
            Shown::Pin
        } else {
            Shown::Password
        };
        let counted = from.filter(|from| !from.is_loopback());
        let (may, person) = {
            let mut inside = self.inside();
            let may = given.len() <= LONGEST
                && name.len() <= LONGEST
                && inside.tries.begin(name, counted, Instant::now());
            (may, inside.people.find(name).cloned())
        };
        if !may {
            self.note_refused(person.as_ref());
            return Err(refused());
        }
        let hash = person.as_ref().and_then(|person| match shown {
            Shown::Pin => person.pin.clone(),
            Shown::Password => person.password.clone(),
        });
        let given = given.to_owned();
        let right = self.slowly(move || secret::is_right(&given, hash.as_deref())).await?;
        match person {
            Some(person) if right && !person.is_over(now()) => {
                self.inside().tries.worked(name, counted);
                Ok((person, shown))
            }
            person => {
                self.note_refused(person.as_ref());
                Err(refused())
            }
        }
    }

    fn note_refused(&self, person: Option<&Person>) {
        let mut inside = self.inside();
        *inside.refused.entry(person.map(|person| person.name.clone())).or_default() += 1;
        inside.refused_since.get_or_insert_with(Instant::now);
    }

    /// Works off the async threads, a few at a time.
    async fn slowly<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let busy = || Problem::new(StatusCode::SERVICE_UNAVAILABLE, "try again later");
        let _turn = self.hashing.acquire().await.map_err(|_| busy())?;
        tokio::task::spawn_blocking(work).await.map_err(|_| busy())
    }
}
