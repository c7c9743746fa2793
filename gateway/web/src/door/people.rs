//! Those who may act, and how that changes. Each change is kept with what the ledger is to be told
//! of it, so that it is told also when it was made while no gateway ran.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};
use stencilward_domain::event::{PeopleEvent, Role};
use stencilward_domain::names::LONGEST_NAME;
use stencilward_domain::time::Timestamp;

/// Most people and programs there can be.
const MOST: usize = 10_000;

/// A person or a program. Has no `Debug`: hashes belong into no log.
#[derive(Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// The name they bear in the ledger.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// When that ends by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends: Option<Timestamp>,
    /// Argon2id of the password.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) password: Option<String>,
    /// Argon2id of the PIN.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) pin: Option<String>,
    /// What their badge says: a name, no secret.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) badge: Option<String>,
    /// SHA-256 of a program's token, in hexadecimal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) token: Option<String>,
    /// True while the password was chosen by somebody else.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub(super) provisional: bool,
    /// The change that made them what they are: whoever signed in before it is signed out.
    pub(super) turn: u64,
}

impl Person {
    /// True when a program bears it.
    #[must_use]
    pub fn is_program(&self) -> bool {
        self.token.is_some()
    }

    /// True when it has ended by itself.
    #[must_use]
    pub fn is_over(&self, now: Timestamp) -> bool {
        self.ends.is_some_and(|end| now >= end)
    }

    /// True while the password is one that somebody else chose.
    #[must_use]
    pub fn is_provisional(&self) -> bool {
        self.provisional
    }

    fn is_called(&self, name: &str) -> bool {
        alike(&self.name, name) || self.badge.as_deref().is_some_and(|badge| badge == name)
    }
}

fn alike(one: &str, other: &str) -> bool {
    one.to_lowercase() == other.to_lowercase()
}

/// What changes of somebody.
#[derive(Clone, Default)]
pub struct Changes {
    /// The role.
    pub role: Option<Role>,
    /// The hash of a password, and whether somebody else chose it.
    pub password: Option<(String, bool)>,
    /// The hash of a PIN.
    pub pin: Option<String>,
    /// What the badge says.
    pub badge: Option<String>,
    /// The hash of a token.
    pub token: Option<String>,
    /// When it ends.
    pub ends: Option<Timestamp>,
}

/// Who changes something, and why.
#[derive(Debug, Clone)]
pub struct Reason {
    /// Who.
    pub by: String,
    /// Why.
    pub why: String,
}

/// All who may act.
#[derive(Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct People {
    people: Vec<Person>,
    /// Changes made so far.
    turn: u64,
    /// What the ledger has not been told yet.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) untold: Vec<PeopleEvent>,
}

impl People {
    /// Everybody, in the order in which they came.
    #[must_use]
    pub fn all(&self) -> &[Person] {
        &self.people
    }

    /// True when there is nobody.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.people.is_empty()
    }

    /// Who bears this name or badge.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&Person> {
        let name = name.trim();
        self.people.iter().find(|person| person.is_called(name))
    }

    /// Programs by the hash of their token.
    pub(super) fn by_token(&self) -> HashMap<String, usize> {
        let all = self.people.iter().enumerate();
        all.filter_map(|(index, person)| Some((person.token.clone()?, index))).collect()
    }

    /// Lets somebody act.
    ///
    /// # Errors
    /// A sentence with what to do instead.
    pub fn admit(&mut self, name: &str, changes: Changes, said: Reason) -> Result<(), String> {
        let name = checked(name)?;
        let role = changes.role.ok_or("the role is missing: say as what")?;
        if let Some(known) = self.find(&name) {
            let known = &known.name;
            return Err(format!("{known} is there already: change them, or take another name"));
        }
        if self.people.len() >= MOST {
            return Err(format!("there are {MOST} already: dismiss those who left"));
        }
        let program = changes.token.is_some();
        let ends = changes.ends;
        self.people.push(Person {
            name: name.clone(),
            role,
            ends: None,
            password: None,
            pin: None,
            badge: None,
            token: None,
            provisional: false,
            turn: 0,
        });
        if let Err(why) = self.apply(&name, changes) {
            self.people.pop();
            return Err(why);
        }
        let Reason { by, why } = said;
        self.untold.push(PeopleEvent::Admitted { name, role, program, ends, by, why });
        Ok(())
    }

    /// Changes somebody's role or secret. They are signed out everywhere.
    ///
    /// # Errors
    /// A sentence with what to do instead.
    pub fn change(&mut self, name: &str, changes: Changes, said: Reason) -> Result<(), String> {
        let person = self.known(name)?;
        let (name, manages) = (person.name.clone(), person.role == Role::Manager);
        if manages && (changes.role.is_some_and(|r| r != Role::Manager) || changes.ends.is_some()) {
            self.another_manager(&name)?;
        }
        let words = [
            ("role", changes.role.is_some()),
            ("password", changes.password.is_some()),
            ("pin", changes.pin.is_some()),
            ("badge", changes.badge.is_some()),
            ("token", changes.token.is_some()),
            ("end", changes.ends.is_some()),
        ];
        let what: Vec<String> =
            words.iter().filter(|(_, set)| *set).map(|(word, _)| (*word).to_owned()).collect();
        if what.is_empty() {
            return Err("nothing is to be changed: say what".to_owned());
        }
        self.apply(&name, changes)?;
        let (role, Reason { by, why }) = (self.known(&name)?.role, said);
        self.untold.push(PeopleEvent::Changed { name, role, what, by, why });
        Ok(())
    }

    /// Lets somebody act no more.
    ///
    /// # Errors
    /// A sentence with what to do instead.
    pub fn dismiss(&mut self, name: &str, said: Reason) -> Result<(), String> {
        let person = self.known(name)?;
        let (name, manages) = (person.name.clone(), person.role == Role::Manager);
        if manages {
            self.another_manager(&name)?;
        }
        self.people.retain(|person| person.name != name);
        self.turn += 1;
        let Reason { by, why } = said;
        self.untold.push(PeopleEvent::Dismissed { name, by, why });
        Ok(())
    }

    fn known(&self, name: &str) -> Result<&Person, String> {
        self.find(name).ok_or_else(|| format!("nobody is called {name}: see who is there"))
    }

    fn another_manager(&self, but: &str) -> Result<(), String> {
        let manages = |person: &&Person| {
            person.role == Role::Manager && person.password.is_some() && person.ends.is_none()
        };
        let others = self.people.iter().filter(manages).any(|person| person.name != but);
        let last = || format!("{but} is the last manager: make somebody else a manager first");
        others.then_some(()).ok_or_else(last)
    }

    fn apply(&mut self, name: &str, changes: Changes) -> Result<(), String> {
        if let Some(badge) = &changes.badge {
            checked(badge)?;
            if self.people.iter().any(|other| other.name != name && other.is_called(badge)) {
                return Err("somebody else has that badge: see that it is theirs".to_owned());
            }
        }
        let turn = self.turn + 1;
        let Some(person) = self.people.iter_mut().find(|person| person.name == name) else {
            return Ok(());
        };
        let personal = changes.password.is_some() || changes.pin.is_some();
        if (personal && person.token.is_some())
            || (changes.token.is_some() && person.password.is_some())
            || (changes.token.is_some() && personal)
        {
            return Err("a program has a token, a person a password: make two of them".to_owned());
        }
        person.role = changes.role.unwrap_or(person.role);
        if let Some((hash, provisional)) = changes.password {
            person.password = Some(hash);
            person.provisional = provisional;
        }
        person.pin = changes.pin.or(person.pin.take());
        person.badge = changes.badge.or(person.badge.take());
        person.token = changes.token.or(person.token.take());
        person.ends = changes.ends.or(person.ends.take());
        person.turn = turn;
        self.turn = turn;
        Ok(())
    }
}

fn checked(name: &str) -> Result<String, String> {
    let name = name.trim();
    let length = name.chars().count();
    if length == 0 || length > LONGEST_NAME || name.chars().any(char::is_control) {
        return Err(format!("a name has 1 to {LONGEST_NAME} characters that can be seen"));
    }
    Ok(name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said() -> Reason {
        Reason { by: "the test".to_owned(), why: "to see".to_owned() }
    }

    fn as_a(role: Role) -> Changes {
        let password = Some(("hash".to_owned(), false));
        Changes { role: Some(role), password, ..Changes::default() }
    }

    #[test]
    fn names_and_badges_are_one_persons() {
        let mut people = People::default();
        people.admit("Anna", as_a(Role::Manager), said()).unwrap();
        assert!(people.admit(" anna ", as_a(Role::Operator), said()).is_err());
        people.admit("Ben", as_a(Role::Operator), said()).unwrap();
        let badge = |badge: &str| Changes { badge: Some(badge.to_owned()), ..Changes::default() };
        people.change("Ben", badge("B-7"), said()).unwrap();
        assert!(people.change("Anna", badge("B-7"), said()).is_err());
        assert!(people.change("Anna", badge("ben"), said()).is_err());
        assert_eq!(people.find("B-7").unwrap().name, "Ben");
        assert!(people.admit("a\nb", as_a(Role::Operator), said()).is_err());
        assert_eq!(people.untold.len(), 3, "what was refused is not told");
    }

    #[test]
    fn the_last_manager_stays() {
        let mut people = People::default();
        people.admit("Anna", as_a(Role::Manager), said()).unwrap();
        let demoted = Changes { role: Some(Role::Operator), ..Changes::default() };
        assert!(people.change("Anna", demoted.clone(), said()).is_err());
        assert!(people.dismiss("Anna", said()).is_err());
        people.admit("Ben", as_a(Role::Manager), said()).unwrap();
        people.change("Anna", demoted, said()).unwrap();
        assert!(people.dismiss("Ben", said()).is_err());
    }

    #[test]
    fn a_program_is_no_person() {
        let mut people = People::default();
        let token = || Changes { token: Some("t".to_owned()), ..Changes::default() };
        people.admit("mes", Changes { role: Some(Role::Operator), ..token() }, said()).unwrap();
        assert!(people.change("mes", as_a(Role::Operator), said()).is_err());
        people.admit("Anna", as_a(Role::Manager), said()).unwrap();
        assert!(people.change("Anna", token(), said()).is_err());
    }
}
