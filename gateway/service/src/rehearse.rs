//! `stencilward rehearse FILE`: a configuration runs against simulated machines that it describes
//! itself, over their real protocols. Nothing that the file names is contacted, read or written.

mod actor;
mod covered;
mod floor;
mod hand;
mod orders;
mod people;
mod picture;
mod press;
mod routine;
mod script;

use std::collections::BTreeMap;
use std::io::{BufRead as _, Read as _};
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context as _;
use stencilward_adapters::settings::Span;
use stencilward_config::Configuration;
use stencilward_config::configuration::{Kind, StencilSettings};
use stencilward_domain::machine::LinkState;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tokio::time::{Instant, sleep, timeout};

use crate::account::{compare, knows, ledger_says};
use crate::gateway::{DRAIN, Gateway};
use crate::narrator::Narrator;
use crate::plant::Plant;
use actor::Actor;
use covered::tells_by_itself;
use floor::{Floor, Opening, Pace};
use hand::Hand;

/// Longest wait at the start for all links to be up.
const UP: Duration = Duration::from_secs(15);

/// Longest wait at the end for people to finish what they do.
const LAST_ACTS: Duration = Duration::from_secs(20);

/// Longest wait at the end for the gateway to take in what the machines said last: it tries a
/// machine that was gone every 15 s.
const CATCH_UP: Duration = Duration::from_secs(45);

/// Longest line that is read, in bytes.
const LONGEST_LINE: u64 = 4_096;

/// Lines that wait to be carried out.
const LINES: usize = 64;

/// How a rehearsal goes.
pub(crate) struct Options {
    /// End by itself after this time.
    pub(crate) length: Option<Duration>,
    /// So many times as fast as on a floor.
    pub(crate) speed: f64,
    /// Machines do only what they are told.
    pub(crate) by_hand: bool,
    /// Where metrics and API are served, on loopback; 0 is any free port.
    pub(crate) port: u16,
}

/// Rehearses; true when machines and ledger agree at the end.
pub(crate) async fn rehearse(
    mut configuration: Configuration,
    options: &Options,
) -> anyhow::Result<bool> {
    println!("Rehearsal of {}. All machines are simulated; none of the", configuration.site);
    println!("addresses, ports, brokers, folders and ledgers in the file is touched.");
    for note in prepare(&mut configuration, options.speed) {
        println!("{note}");
    }
    let narrator = Narrator::new(Instant::now());
    let mut plant = Plant::start(configuration).await?;
    plant.configuration.listen = format!("127.0.0.1:{}", options.port);
    plant.configuration.ledger = plant.folder().join("rehearsal.db");
    plant.configuration.archive = None;
    // Whoever rehearses sits at this computer.
    (plant.configuration.tls, plant.configuration.sign_in) = (None, None);
    let plant = Arc::new(plant);
    let mut gateway = Gateway::start(&plant.configuration).await?;
    let telling = narrator.follow(Arc::clone(gateway.ledger()));
    let floor = Arc::new(open(&plant, &gateway, narrator, options.speed)?);

    println!(
        "Metrics: http://{0}/metrics   state: http://{0}/api/v1/stencils\n",
        gateway.address()
    );
    picture::show(&plant, &floor);
    println!("\n`help` lists what can go wrong here, `end` ends it.\n");

    let hand = Hand::new(Arc::clone(&floor), Arc::clone(&plant), options.by_hand);
    links_up(&floor).await;
    let work = if options.by_hand {
        for press in floor.presses.values() {
            press.switch_on().await;
        }
        JoinSet::new()
    } else {
        routine::begin(&floor)
    };
    tokio::select! {
        error = gateway.failed() => return Err(error),
        ended = over(&hand, options.length) => ended?,
    }
    close(&hand, work).await;
    catch_up(&floor).await;
    let unsaid = unsaid(&floor);
    telling.abort();
    let _ = telling.await;
    drop(hand);
    drop(floor);
    let left = gateway.stop(DRAIN).await?;
    anyhow::ensure!(
        left.links == 0 && left.unwritten == 0,
        "the gateway did not end in time: {left:?}"
    );
    let said = ledger_says(&plant.configuration).await?;
    let agree = compare(&plant.tally, &said);
    list("What the gateway could not make sense of:", &said.findings);
    list("Not rehearsed: wired, and never said:", &unsaid);
    Ok(agree)
}

/// Fits the configuration to a rehearsal; gives what that changes, in words.
fn prepare(configuration: &mut Configuration, speed: f64) -> Vec<String> {
    let mut notes = Vec::new();
    let faster = (speed - 1.0).abs() > f64::EPSILON;
    if faster {
        notes.push(format!(
            "Machines work {speed} times as fast, and the shortest time between two strokes of \
             each printer is taken to be so much shorter."
        ));
    }
    for machine in configuration.machines.iter_mut().filter(|_| faster) {
        if let Some(span) = &mut machine.fastest_cycle {
            *span = Span(span.0.div_f64(speed));
        }
    }
    let printers = configuration.machines.iter().filter(|machine| machine.kind == Kind::Printer);
    let wanting = printers.count().saturating_sub(configuration.stencils.len());
    let known: Vec<String> = configuration.stencils.iter().map(|s| s.code.clone()).collect();
    let codes = (1..).map(|n| format!("INVENTED-{n}")).filter(|code| !known.contains(code));
    let invented: Vec<StencilSettings> = codes.take(wanting).map(invented).collect();
    if !invented.is_empty() {
        let codes: Vec<&str> = invented.iter().map(|stencil| stencil.code.as_str()).collect();
        notes.push(format!("The file lists too few stencils; added: {}.", codes.join(", ")));
    }
    configuration.stencils.extend(invented);
    notes
}

fn invented(code: String) -> StencilSettings {
    StencilSettings {
        code,
        product: None,
        side: None,
        revision: None,
        rated_strokes: 100_000,
        rated_washes: None,
        wear: None,
        strokes_so_far: 0,
        clean: true,
        source: Some("invented for the rehearsal".to_owned()),
        price: None,
        lead_time: None,
    }
}

fn open(plant: &Plant, gateway: &Gateway, narrator: Narrator, speed: f64) -> anyhow::Result<Floor> {
    let mut actors = BTreeMap::new();
    for stand in plant.stands.iter().filter(|stand| !stand.here.is_empty()) {
        let (name, machine) = plant.machine(stand.machine.as_str())?;
        actors.insert(name.clone(), Arc::new(Actor::new(name, machine, narrator)));
    }
    Ok(Floor::open(Opening {
        plant: plant.configuration.plant(),
        actors,
        site: gateway.site().clone(),
        tally: Arc::clone(&plant.tally),
        narrator,
        pace: Pace { speed },
    }))
}

/// Waits until every link is up: a broker keeps nothing for a gateway it has never seen.
async fn links_up(floor: &Floor) {
    let speaking: Vec<_> = floor.actors.keys().cloned().collect();
    let all_up = floor.until(UP, move |site| {
        let link = |name| site.state().machines.get(name).map(|machine| &machine.link);
        speaking.iter().all(|name| link(name) == Some(&LinkState::Up))
    });
    if !all_up.await {
        floor.narrator.say("gateway", "goes on without the machines whose links are not up");
    }
}

/// Waits for the end, and carries out what is typed until then.
async fn over(hand: &Hand, length: Option<Duration>) -> anyhow::Result<()> {
    let mut terminate = signal(SignalKind::terminate()).context("no signals")?;
    let (tell, mut lines) = mpsc::channel(LINES);
    std::thread::spawn(move || read_lines(&tell));
    let end = async {
        match length {
            Some(length) => sleep(length).await,
            None => std::future::pending().await,
        }
    };
    let typed = async {
        while let Some(line) = lines.recv().await {
            if hand.carry_out(&line).await {
                return;
            }
        }
        // Nobody types any more: it goes on.
        std::future::pending().await
    };
    tokio::select! {
        () = end => {}
        () = typed => {}
        _ = terminate.recv() => {}
        _ = tokio::signal::ctrl_c() => {}
    }
    Ok(())
}

/// Reads standard input to its end. In a thread, since a read there cannot be given up.
fn read_lines(tell: &mpsc::Sender<String>) {
    let mut input = std::io::stdin().lock();
    loop {
        let mut line = Vec::new();
        let read = input.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut line);
        let text = String::from_utf8_lossy(&line).into_owned();
        if !matches!(read, Ok(1..)) || tell.blocking_send(text).is_err() {
            return;
        }
    }
}

/// Ends work and faults: what was only not read yet shall not look as if it were lost.
async fn close(hand: &Hand, mut work: JoinSet<()>) {
    let floor = &hand.floor;
    floor.narrator.say("rehearsal", "ends: every fault ends, and the gateway may catch up");
    floor.closing.cancel();
    for broker in hand.plant.brokers() {
        // Its port was ours until now; if it is lost, the comparison will tell.
        let _ = hand.plant.switch_broker(broker, true).await;
    }
    for machine in floor.actors.keys() {
        hand.heal(machine).await;
    }
    let ended = timeout(LAST_ACTS, async { while work.join_next().await.is_some() {} }).await;
    if ended.is_err() {
        floor.narrator.say("rehearsal", "somebody was still waiting for a machine");
    }
}

async fn catch_up(floor: &Floor) {
    // What was shown last is read in this time, whatever the sums say.
    floor.settle(&floor.actors.values().collect::<Vec<_>>()).await;
    let tally = Arc::clone(&floor.tally);
    floor.until(CATCH_UP, move |site| knows(site, &tally.count())).await;
}

/// What the wiring of each machine lets it say and was never said.
fn unsaid(floor: &Floor) -> Vec<String> {
    let unsaid = |actor: &Arc<Actor>| {
        let titles = actor.unsaid();
        let titles: Vec<String> =
            titles.into_iter().filter(|title| !tells_by_itself(title)).collect();
        (!titles.is_empty()).then(|| format!("{}: {}", actor.name, titles.join(", ")))
    };
    floor.actors.values().filter_map(unsaid).collect()
}

fn list(title: &str, lines: &[String]) {
    const MOST: usize = 30;
    if lines.is_empty() {
        return;
    }
    println!("\n{title}");
    lines.iter().take(MOST).for_each(|line| println!("  {line}"));
    if let Some(more) = lines.len().checked_sub(MOST).filter(|more| *more > 0) {
        println!("  and {more} more");
    }
}
