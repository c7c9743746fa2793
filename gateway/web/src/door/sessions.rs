//! Who is signed in (ASVS 5.0, chapter 7). Of a session's id only the hash is kept, and only in
//! memory: a restart signs everybody out.

use std::collections::HashMap;
use std::time::{Duration, Instant};

use stencilward_domain::event::Left;

use super::people::{People, Person};
use super::secret::{digest, token};

/// Most sessions at a time.
const MOST: usize = 10_000;
/// Most sessions of one person.
const MOST_OF_ONE: usize = 10;
/// How long a confirmation holds.
const CONFIRMATION: Duration = Duration::from_secs(2 * 60);

/// How long somebody stays signed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// While nothing is done.
    pub idle: Duration,
    /// Whatever is done.
    pub longest: Duration,
}

/// When it was confirmed, and with whom.
pub(super) type Confirmation = (Instant, Option<String>);

/// One browser in which somebody is signed in.
pub(super) struct Session {
    pub(super) name: String,
    turn: u64,
    limits: Limits,
    begun: Instant,
    seen: Instant,
    /// What a form of this session must bear.
    pub(super) form_token: String,
    /// True where a PIN was enough.
    pub(super) at_station: bool,
    confirmed: Option<Confirmation>,
}

impl Session {
    fn left(&self, people: &People, now: Instant) -> Option<Left> {
        let same = |person: &Person| person.name == self.name && person.turn == self.turn;
        if !people.find(&self.name).is_some_and(same) {
            Some(Left::Changed)
        } else if now.saturating_duration_since(self.begun) >= self.limits.longest {
            Some(Left::Over)
        } else if now.saturating_duration_since(self.seen) >= self.limits.idle {
            Some(Left::Idle)
        } else {
            None
        }
    }

    /// Somebody does something in it.
    pub(super) fn touch(&mut self, now: Instant) {
        self.seen = now;
    }

    /// Uses up a confirmation that still holds.
    pub(super) fn use_confirmation(&mut self, now: Instant) -> Option<Confirmation> {
        self.confirmed.take().filter(|confirmation| holds(confirmation, now))
    }

    /// What was confirmed came to nothing, so it holds once more.
    pub(super) fn give_back(&mut self, confirmation: Confirmation) {
        self.confirmed = Some(confirmation);
    }

    /// Was it confirmed, and with a second person where one is needed.
    pub(super) fn confirmed_with(&self, second: bool, now: Instant) -> bool {
        let confirmed = self.confirmed.as_ref().filter(|confirmation| holds(confirmation, now));
        confirmed.is_some_and(|(_, with)| with.is_some() || !second)
    }
}

fn holds((at, _): &Confirmation, now: Instant) -> bool {
    now.saturating_duration_since(*at) < CONFIRMATION
}

/// All sessions, by the hash of their id.
#[derive(Default)]
pub(super) struct Sessions {
    all: HashMap<[u8; 32], Session>,
}

/// Who left, and why.
pub(super) type Gone = Vec<(String, Left)>;

impl Sessions {
    /// Signs somebody in. Gives the new id, the only time it is told, and who was signed out for
    /// it.
    ///
    /// # Errors
    /// When there is nothing random to be had, or too many are signed in.
    pub(super) fn begin(
        &mut self,
        person: &Person,
        limits: Limits,
        at_station: bool,
        now: Instant,
    ) -> std::io::Result<(String, Gone)> {
        if self.all.len() >= MOST {
            return Err(std::io::Error::other("too many are signed in: try again later"));
        }
        let mut gone = Vec::new();
        let theirs = |session: &Session| session.name == person.name;
        while self.all.values().filter(|session| theirs(session)).count() >= MOST_OF_ONE {
            let mut own = self.all.iter().filter(|(_, session)| theirs(session));
            let Some(first) = own.next() else { break };
            let oldest = own.fold(first, |a, b| if b.1.seen < a.1.seen { b } else { a });
            let key = *oldest.0;
            self.all.remove(&key);
            gone.push((person.name.clone(), Left::Replaced));
        }
        let id = token()?;
        let session = Session {
            name: person.name.clone(),
            turn: person.turn,
            limits,
            begun: now,
            seen: now,
            form_token: token()?,
            at_station,
            confirmed: None,
        };
        self.all.insert(digest(&id), session);
        Ok((id, gone))
    }

    /// The session of this id, while it lasts.
    pub(super) fn find(
        &mut self,
        id: &str,
        people: &People,
        now: Instant,
    ) -> Result<&mut Session, Option<(String, Left)>> {
        let key = digest(id);
        let left = self.all.get(&key).ok_or(None)?.left(people, now);
        if let Some(why) = left {
            return Err(self.all.remove(&key).map(|session| (session.name, why)));
        }
        self.all.get_mut(&key).ok_or(None)
    }

    /// True while the session of this hash lasts.
    pub(super) fn is_on(&self, key: &[u8; 32], people: &People, now: Instant) -> bool {
        self.all.get(key).is_some_and(|session| session.left(people, now).is_none())
    }

    /// Signs out the session of this id.
    pub(super) fn end(&mut self, id: &str) -> Option<String> {
        self.all.remove(&digest(id)).map(|session| session.name)
    }

    /// Notes that whoever has this session showed again who they are. The session goes on under a
    /// new id: the old one may do less.
    pub(super) fn confirm(
        &mut self,
        id: &str,
        second: Option<String>,
        now: Instant,
    ) -> std::io::Result<Option<String>> {
        let Some(mut session) = self.all.remove(&digest(id)) else { return Ok(None) };
        session.confirmed = Some((now, second));
        session.form_token = token()?;
        let id = token()?;
        self.all.insert(digest(&id), session);
        Ok(Some(id))
    }

    /// Ends what is over.
    pub(super) fn sweep(&mut self, people: &People, now: Instant) -> Gone {
        let mut gone = Vec::new();
        self.all.retain(|_, session| match session.left(people, now) {
            Some(why) => {
                gone.push((session.name.clone(), why));
                false
            }
            None => true,
        });
        gone
    }
}

#[cfg(test)]
mod tests {
    use stencilward_domain::event::Role;

    use super::*;
    use crate::door::people::{Changes, Reason};

    const LIMITS: Limits =
        Limits { idle: Duration::from_secs(60), longest: Duration::from_secs(300) };

    fn reason() -> Reason {
        Reason { by: "the test".to_owned(), why: "to see".to_owned() }
    }

    fn people() -> People {
        let mut people = People::default();
        let password = Some(("hash".to_owned(), false));
        let changes = Changes { role: Some(Role::Operator), password, ..Changes::default() };
        people.admit("Anna", changes, reason()).unwrap();
        people
    }

    fn begin(sessions: &mut Sessions, people: &People, now: Instant) -> String {
        let person = people.find("Anna").unwrap();
        sessions.begin(person, LIMITS, false, now).unwrap().0
    }

    #[test]
    fn a_session_ends_when_idle_and_in_any_case() {
        let (people, mut sessions, mut now) = (people(), Sessions::default(), Instant::now());
        let id = begin(&mut sessions, &people, now);
        assert_eq!(id.len(), 64, "256 bits");
        for _ in 0..5 {
            sessions.find(&id, &people, now).ok().unwrap().touch(now);
            now += Duration::from_secs(59);
        }
        now += Duration::from_secs(5);
        let over = sessions.find(&id, &people, now).err();
        assert_eq!(over, Some(Some(("Anna".to_owned(), Left::Over))));
        let id = begin(&mut sessions, &people, now);
        assert_eq!(sessions.sweep(&people, now + LIMITS.idle), [("Anna".to_owned(), Left::Idle)]);
        assert!(sessions.find(&id, &people, now).is_err());
    }

    #[test]
    fn a_change_signs_out_everywhere() {
        let (mut people, mut sessions, now) = (people(), Sessions::default(), Instant::now());
        let ids = [(); 2].map(|()| begin(&mut sessions, &people, now));
        let pin = Changes { pin: Some("hash".to_owned()), ..Changes::default() };
        people.change("Anna", pin, reason()).unwrap();
        for id in ids {
            let left = sessions.find(&id, &people, now).err().flatten();
            assert_eq!(left, Some(("Anna".to_owned(), Left::Changed)));
        }
    }

    #[test]
    fn confirmed_once_is_used_once_under_a_new_id() {
        let (people, mut sessions, now) = (people(), Sessions::default(), Instant::now());
        let old = begin(&mut sessions, &people, now);
        let new = sessions.confirm(&old, None, now).unwrap().unwrap();
        assert!(sessions.find(&old, &people, now).is_err(), "the old id is nobody's");
        let session = sessions.find(&new, &people, now).ok().unwrap();
        assert!(session.confirmed_with(false, now) && !session.confirmed_with(true, now));
        assert_eq!(session.use_confirmation(now), Some((now, None)));
        assert_eq!(session.use_confirmation(now), None);
        let new = sessions.confirm(&new, None, now).unwrap().unwrap();
        let late = now + CONFIRMATION;
        let kept = Limits { idle: Duration::from_secs(900), ..LIMITS };
        let session = sessions.all.get_mut(&digest(&new)).unwrap();
        session.limits = kept;
        assert_eq!(session.use_confirmation(late), None, "it holds for a while");
    }

    #[test]
    fn nobody_has_sessions_without_end() {
        let (people, mut sessions, now) = (people(), Sessions::default(), Instant::now());
        for _ in 0..3 * MOST_OF_ONE {
            begin(&mut sessions, &people, now);
        }
        assert_eq!(sessions.all.len(), MOST_OF_ONE);
    }
}
