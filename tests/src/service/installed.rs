//! A server as a process of its own, in a folder of its own.

use std::net::Ipv4Addr;
use std::path::Path;
use std::process::Command;

use tempfile::TempDir;

use super::{Server, Site, TRIES, taken};
use crate::child::Child;
use crate::free_port::free_port;

#[derive(Debug)]
pub(super) struct Installed {
    command: Command,
    // Before those beside it and the folder, so that it has ended when they are gone.
    server: Child,
    _beside: Vec<Child>,
    _folder: TempDir,
}

impl Installed {
    /// Starts it and waits until it listens; the ports are those of this machine.
    pub(super) async fn start<S: Server>(server: &S) -> Option<(Self, Vec<u16>)> {
        for _ in 0..TRIES {
            let folder = done(tempfile::tempdir());
            let site = site::<S>(folder.path());
            let mut commands = server.programs(&site)?;
            let command = commands.pop()?;
            done(write(server, &site));
            let beside = commands.iter().map(Child::start).collect();
            let started = Child::start(&command);
            let mut installed = Self { command, server: started, _beside: beside, _folder: folder };
            if installed.listens::<S>().await {
                return Some((installed, site.ports));
            }
        }
        panic!("{} found each of {TRIES} free ports taken", S::NAME);
    }

    pub(super) fn server(&self) -> &Child {
        &self.server
    }

    pub(super) fn server_mut(&mut self) -> &mut Child {
        &mut self.server
    }

    pub(super) async fn again<S: Server>(&mut self) {
        self.server = Child::start(&self.command);
        assert!(self.listens::<S>().await, "somebody took the port of {} meanwhile", S::NAME);
    }

    /// False when it ended because another program has its port.
    async fn listens<S: Server>(&mut self) -> bool {
        self.server
            .line("whether it listens", S::PATIENCE, |line| {
                if taken(line) {
                    return Some(false);
                }
                line.contains(S::LISTENS).then_some(true)
            })
            .await
    }
}

fn site<S: Server>(folder: &Path) -> Site {
    Site {
        address: Ipv4Addr::LOCALHOST.into(),
        ports: S::PORTS.iter().map(|_| free_port()).collect(),
        configuration: folder.join("configuration"),
        data: folder.join("data"),
    }
}

fn write<S: Server>(server: &S, site: &Site) -> std::io::Result<()> {
    std::fs::create_dir(&site.configuration)?;
    std::fs::create_dir(&site.data)?;
    for (name, text) in server.files(site) {
        std::fs::write(site.configuration.join(name), text)?;
    }
    Ok(())
}

fn done<T>(result: std::io::Result<T>) -> T {
    result.unwrap_or_else(|why| panic!("no folder for a server: {why}"))
}
