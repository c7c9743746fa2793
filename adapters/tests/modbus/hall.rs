//! Links to several machines, and what each of them says and goes through.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use stencilward_adapters::link::{Floor, Intake, Link as _, Observer, Trouble};
use stencilward_adapters::modbus::{Link, Settings, check_shared};
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Said;
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;
use tokio_util::task::AbortOnDropHandle;

use crate::support::{until, within};

/// What happened, and when.
#[derive(Default)]
pub(crate) struct Log {
    rounds: Mutex<Vec<(String, Instant)>>,
    troubles: Mutex<Vec<(String, Trouble, String)>>,
    said: Mutex<Vec<(String, Said)>>,
}

impl Observer for Log {
    fn trouble(&self, machine: &MachineName, kind: Trouble, detail: &str) {
        self.troubles.lock().unwrap().push((machine.to_string(), kind, detail.to_owned()));
    }

    fn round(&self, machine: &MachineName, _: Duration) {
        self.rounds.lock().unwrap().push((machine.to_string(), Instant::now()));
    }

    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

/// Links at work.
pub(crate) struct Hall {
    pub(crate) log: Arc<Log>,
    stop: CancellationToken,
    links: JoinSet<()>,
    _hearing: AbortOnDropHandle<()>,
}

impl Hall {
    /// Machines with these settings at one place, named `m-0`, `m-1` and so on.
    pub(crate) fn start(settings: &[Settings]) -> Self {
        Self::of_places(&[settings])
    }

    /// The same for several places, counting on from one to the next.
    pub(crate) fn of_places(places: &[&[Settings]]) -> Self {
        let mut next = 0;
        let links = places.iter().map(|settings| {
            next += settings.len();
            link(next - settings.len(), settings)
        });
        Self::of(links.collect())
    }

    fn of(all: Vec<Link>) -> Self {
        let (intake, mut deliveries) = Intake::bounded(16);
        let (_, wanted) = watch::channel(Arc::default());
        let (log, stop) = (Arc::new(Log::default()), CancellationToken::new());
        let floor = Floor::bare(intake, wanted, Arc::clone(&log) as _, stop.clone());
        let heard = Arc::clone(&log);
        let hearing = tokio::spawn(async move {
            while let Some(delivery) = deliveries.recv().await {
                for signal in delivery.signals {
                    heard.said.lock().unwrap().push((signal.machine.to_string(), signal.said));
                }
                let _ = delivery.receipt.send(Vec::new());
            }
        });
        let mut links = JoinSet::new();
        for link in all {
            links.spawn(Box::new(link).run(floor.clone()));
        }
        Self { log, stop, links, _hearing: AbortOnDropHandle::new(hearing) }
    }

    /// What a machine said so far.
    pub(crate) fn said(&self, machine: usize) -> Vec<Said> {
        let said = self.log.said.lock().unwrap();
        let own = said.iter().filter(|(name, _)| *name == format!("m-{machine}"));
        own.map(|(_, said)| said.clone()).collect()
    }

    /// Waits until a machine says it.
    pub(crate) async fn hear(&self, machine: usize, what: &str, is_it: impl Fn(&Said) -> bool) {
        until(what, || self.said(machine).iter().any(&is_it)).await;
    }

    /// Waits until a total has this value.
    pub(crate) async fn hear_count(&self, machine: usize, count: u64) {
        let is_it = |said: &Said| matches!(said, Said::CounterRead { raw, .. } if *raw == count);
        self.hear(machine, &format!("the count {count}"), is_it).await;
    }

    /// Waits until a machine is lost, and says why.
    pub(crate) async fn hear_lost(&self, machine: usize) -> String {
        self.hear(machine, "link-lost", |said| matches!(said, Said::LinkLost { .. })).await;
        self.losses(machine).pop().unwrap()
    }

    /// Why a machine was lost, each time.
    pub(crate) fn losses(&self, machine: usize) -> Vec<String> {
        let why = |said: Said| match said {
            Said::LinkLost { why } => Some(why),
            _ => None,
        };
        self.said(machine).into_iter().filter_map(why).collect()
    }

    /// All totals a machine told.
    pub(crate) fn counts(&self, machine: usize) -> Vec<u64> {
        let count = |said: Said| match said {
            Said::CounterRead { raw, .. } => Some(raw),
            _ => None,
        };
        self.said(machine).into_iter().filter_map(count).collect()
    }

    pub(crate) fn troubles(&self, machine: usize, kind: Trouble) -> Vec<String> {
        let troubles = self.log.troubles.lock().unwrap();
        let own = |(name, of, _): &&(String, Trouble, String)| {
            *name == format!("m-{machine}") && *of == kind
        };
        troubles.iter().filter(own).map(|(_, _, detail)| detail.clone()).collect()
    }

    /// When the rounds of a machine ended.
    pub(crate) fn rounds(&self, machine: usize) -> Vec<Instant> {
        let rounds = self.log.rounds.lock().unwrap();
        let own = rounds.iter().filter(|(name, _)| *name == format!("m-{machine}"));
        own.map(|(_, at)| *at).collect()
    }

    /// The longest time from one round of a machine to the next, from a moment on.
    pub(crate) fn longest_wait(&self, machine: usize, since: Instant) -> Duration {
        let rounds = self.rounds(machine).into_iter().filter(|at| *at >= since);
        let ends: Vec<Instant> = std::iter::once(since).chain(rounds).collect();
        ends.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap()
    }

    /// Waits until these machines had many rounds from a moment on: none was lost, or late by as
    /// much as its poll.
    pub(crate) async fn are_on_time(&self, machines: &[usize], poll: Duration, since: Instant) {
        until("many rounds", || {
            let rounds = |machine: &usize| self.rounds(*machine).into_iter();
            machines.iter().all(|machine| rounds(machine).filter(|at| *at > since).count() > 8)
        })
        .await;
        for machine in machines {
            let wait = self.longest_wait(*machine, since);
            assert!(wait < poll * 2, "m-{machine} waited {wait:?}");
            assert_eq!(self.losses(*machine), Vec::<String>::new(), "m-{machine}");
        }
    }

    pub(crate) async fn stop(self) {
        self.stop.cancel();
        within("the links' end", self.links.join_all()).await;
    }
}

fn link(first: usize, settings: &[Settings]) -> Link {
    let names: Vec<String> =
        (first..).map(|number| format!("m-{number}")).take(settings.len()).collect();
    let named: Vec<(&str, &Settings)> = names.iter().map(String::as_str).zip(settings).collect();
    assert_eq!(check_shared(&named), Vec::new());
    let machines = named.iter().map(|(name, settings)| {
        assert_eq!(settings.check(), Vec::new());
        (MachineName::new(name).unwrap(), (*settings).clone())
    });
    Link::shared(machines.collect())
}
