//! `stencilward people FILE`: who may sign in, and who no more. Works on the file beside the
//! ledger, whether a gateway runs or not; a running one follows within a second, and tells the
//! ledger. Secrets are made here and shown once: none is ever typed on a command line.

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;

use clap::{Parser, Subcommand};
use stencilward_adapters::link::now;
use stencilward_domain::event::Role;
use stencilward_domain::time::Timestamp;
use stencilward_web::{Changes, Fresh, PeopleFile, Person, Reason};

use super::span;
use crate::door::people;

/// What to do with whom.
#[derive(Debug, Parser)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Let a person in, with a first password that they must change, or a program with a token.
    Admit {
        /// The name, as the ledger shows it.
        name: String,
        /// What they may do.
        #[arg(long, value_parser = role)]
        role: Role,
        /// It is a program: make a token.
        #[arg(long)]
        program: bool,
        #[command(flatten)]
        more: More,
        #[command(flatten)]
        said: Said,
    },
    /// Change somebody's role or secret; they are signed out everywhere.
    Change {
        /// Whose.
        name: String,
        /// Another role.
        #[arg(long, value_parser = role)]
        role: Option<Role>,
        /// Make another first password.
        #[arg(long)]
        password: bool,
        /// Make another token.
        #[arg(long)]
        token: bool,
        #[command(flatten)]
        more: More,
        #[command(flatten)]
        said: Said,
    },
    /// Let somebody in no more.
    Dismiss {
        /// Whom.
        name: String,
        #[command(flatten)]
        said: Said,
    },
}

#[derive(Debug, clap::Args)]
struct More {
    /// Make a PIN for shared stations.
    #[arg(long)]
    pin: bool,
    /// What their badge says.
    #[arg(long)]
    badge: Option<String>,
    /// Let in for this time only, such as 90days.
    #[arg(long, value_name = "TIME", value_parser = span)]
    ends: Option<Duration>,
}

#[derive(Debug, clap::Args)]
struct Said {
    /// Who does this.
    #[arg(long)]
    by: String,
    /// For what reason.
    #[arg(long)]
    why: String,
}

fn role(text: &str) -> Result<Role, String> {
    let found = Role::ALL.into_iter().find(|role| role.as_str() == text);
    found.ok_or_else(|| "write operator, technician, engineer or manager".to_owned())
}

/// Does it, or says why not.
pub(super) fn change(arguments: &Arguments) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    let done = match &arguments.what {
        None => Ok(()),
        Some(_) => super::must_own(&configuration.ledger),
    };
    match done.and_then(|()| carry_out(&people(&configuration), arguments.what.as_ref())) {
        Ok(told) => {
            told.iter().for_each(|line| println!("{line}"));
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::FAILURE
        }
    }
}

fn carry_out(file: &PeopleFile, what: Option<&What>) -> anyhow::Result<Vec<String>> {
    let mut told = Vec::new();
    match what {
        None => told.extend(file.read()?.all().iter().map(line)),
        Some(What::Admit { name, role, program, more, said }) => {
            let made = Made { password: !program, token: *program, more };
            let changes = Changes { role: Some(*role), ..made.changes(&mut told)? };
            let said = said.reason()?;
            file.change(|people| people.admit(name, changes, said))?;
        }
        Some(What::Change { name, role, password, token, more, said }) => {
            let made = Made { password: *password, token: *token, more };
            let changes = Changes { role: *role, ..made.changes(&mut told)? };
            let said = said.reason()?;
            file.change(|people| people.change(name, changes, said))?;
        }
        Some(What::Dismiss { name, said }) => {
            let said = said.reason()?;
            file.change(|people| people.dismiss(name, said))?;
        }
    }
    Ok(told)
}

fn line(person: &Person) -> String {
    let kind = if person.is_program() { "program" } else { "person" };
    let over = match person.ends {
        Some(_) if person.is_over(now()) => ", has ended",
        Some(_) => ", ends by itself",
        None => "",
    };
    let first = if person.is_provisional() { ", has not changed the first password" } else { "" };
    format!("{}: {}, {kind}{over}{first}", person.name, person.role.as_str())
}

/// What is made anew.
struct Made<'a> {
    password: bool,
    token: bool,
    more: &'a More,
}

impl Made<'_> {
    fn changes(&self, told: &mut Vec<String>) -> anyhow::Result<Changes> {
        let mut make = |wanted: bool, what: &str, fresh: fn() -> std::io::Result<Fresh>| {
            if !wanted {
                return Ok(None);
            }
            let Fresh { shown, kept } = fresh()?;
            told.push(format!("{what}, not shown again: {shown}"));
            Ok::<_, std::io::Error>(Some(kept))
        };
        let ends = self.more.ends.map(|span| {
            let millis = i64::try_from(span.as_millis()).unwrap_or(i64::MAX);
            Timestamp(now().0.saturating_add(millis))
        });
        Ok(Changes {
            role: None,
            password: make(self.password, "first password", Fresh::password)?
                .map(|kept| (kept, true)),
            pin: make(self.more.pin, "PIN", Fresh::pin)?,
            token: make(self.token, "token", Fresh::token)?,
            badge: self.more.badge.clone(),
            ends,
        })
    }
}

impl Said {
    fn reason(&self) -> anyhow::Result<Reason> {
        let said = |text: &str| text.trim().chars().take(500).collect::<String>();
        let (by, why) = (said(&self.by), said(&self.why));
        anyhow::ensure!(!by.is_empty() && !why.is_empty(), "--by and --why: say who, and why");
        Ok(Reason { by, why })
    }
}
