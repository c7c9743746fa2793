//! Browsers that follow what changes and load one page after the other, and scanners.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::time::Duration;

use stencilward_tests::seed::Chance;
use tokio::task::JoinSet;
use tokio::time::{Instant, sleep, sleep_until};

use crate::client::{Answered, Client};
use crate::year;

const BROWSERS: u64 = 50;
const SCANNERS: u64 = 20;
/// A page that changed is loaded again after a second at the earliest; people click between.
const BETWEEN: Duration = Duration::from_millis(500);

#[derive(Default)]
pub(crate) struct Seen {
    pub(crate) times: Vec<Duration>,
    pub(crate) weights: Vec<usize>,
}

type All = BTreeMap<&'static str, Seen>;

/// A page's name, and the path of one of its kind.
type Page = (&'static str, fn(&mut Chance, u64) -> String);

#[derive(Clone)]
pub(crate) struct Load {
    address: SocketAddr,
    pages: Vec<Page>,
    events: u64,
}

impl Load {
    /// Every page.
    pub(crate) fn of(address: SocketAddr, events: u64) -> Self {
        let pages: Vec<Page> = vec![
            ("worklist", |_, _| "/".to_owned()),
            ("scan", |_, _| "/scan".to_owned()),
            ("stencils", |_, _| "/stencils".to_owned()),
            ("stencils_by_wear", |_, _| "/stencils?order=wear".to_owned()),
            ("stencil", |chance, _| format!("/stencils/{}", code(chance))),
            ("tag", |chance, _| format!("/stencils/{}/tag", code(chance))),
            ("machines", |_, _| "/machines".to_owned()),
            ("machine", |chance, _| {
                format!("/machines/{}", year::printer(chance.below(year::PRINTERS as u64) as usize))
            }),
            ("alarms", |_, _| "/alarms".to_owned()),
            ("unattributed", |_, _| "/unattributed".to_owned()),
            ("wear", |_, _| "/wear".to_owned()),
            ("event", |chance, events| format!("/events/{}", 1 + chance.below(events))),
        ];
        Self { address, pages, events }
    }

    /// One page again and again.
    pub(crate) fn of_one(address: SocketAddr) -> Self {
        Self { address, pages: vec![("page", |_, _| "/".to_owned())], events: 1 }
    }

    /// Each page once: the first look at a file reads it from the disk.
    pub(crate) async fn warm_up(&self) {
        let (mut client, mut chance) = (Client::connect(self.address).await, Chance::from(1));
        for (name, path) in &self.pages {
            let path = path(&mut chance, self.events);
            let took = client.get(&path).await.took;
            println!("figure pages.{name}.first {:.2} ms", took.as_secs_f64() * 1_000.0);
        }
    }

    pub(crate) async fn run(&self, time: Duration, with_scanners: bool) -> All {
        let until = Instant::now() + time;
        let mut people = JoinSet::new();
        let mut following = JoinSet::new();
        for number in 0..BROWSERS {
            if with_scanners {
                let client = Client::connect(self.address).await;
                following.spawn(client.follow("/live"));
            }
            let load = self.clone();
            people.spawn(async move { load.browse(number, until).await });
        }
        for number in 0..if with_scanners { SCANNERS } else { 0 } {
            let load = self.clone();
            people.spawn(async move { load.scan(number, until).await });
        }
        let mut all = All::new();
        while let Some(seen) = people.join_next().await {
            for (name, mut seen) in seen.unwrap() {
                let sum = all.entry(name).or_default();
                sum.times.append(&mut seen.times);
                sum.weights.append(&mut seen.weights);
            }
        }
        all
    }

    async fn browse(&self, number: u64, until: Instant) -> All {
        let (mut client, mut chance) = (Client::connect(self.address).await, Chance::from(number));
        let mut seen = All::new();
        sleep(Duration::from_millis(chance.below(500))).await;
        while Instant::now() < until {
            let next = Instant::now() + BETWEEN;
            let (name, path) = self.pages[chance.below(self.pages.len() as u64) as usize];
            let path = path(&mut chance, self.events);
            note(&mut seen, name, &client.get(&path).await);
            sleep_until(next).await;
        }
        seen
    }

    /// Scans a stencil, which writes nothing, then asks for it, which is written.
    async fn scan(&self, number: u64, until: Instant) -> All {
        let mut client = Client::connect(self.address).await;
        let mut chance = Chance::from(1_000 + number);
        let mut seen = All::new();
        sleep(Duration::from_millis(chance.below(500))).await;
        while Instant::now() < until {
            let next = Instant::now() + BETWEEN;
            let code = code(&mut chance);
            let first = client.form("/scan", &format!("by=person-{number}&scan={code}")).await;
            note(&mut seen, "scan_first", &first);
            let asked = format!("by=person-{number}&stencil={code}&do=take");
            note(&mut seen, "scan_answer", &client.form("/scan", &asked).await);
            sleep_until(next).await;
        }
        seen
    }
}

fn note(seen: &mut All, name: &'static str, answered: &Answered) {
    let page = seen.entry(name).or_default();
    page.times.push(answered.took);
    page.weights.push(answered.weight);
}

fn code(chance: &mut Chance) -> String {
    year::code(chance.below(year::STENCILS as u64) as usize)
}
