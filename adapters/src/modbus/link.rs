//! The link: connects, reads in rounds, writes outputs, and begins again when that fails.

use std::sync::Arc;
use std::time::{Duration, Instant};

use async_trait::async_trait;
use futures::future::join_all;
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};
use tokio::task::yield_now;
use tokio::time::{sleep, timeout};

use super::check::time_outs;
use super::client::{Client, Failure};
use super::courier::{Courier, Room};
use super::decode::Decoder;
use super::line::Line;
use super::news::News;
use super::outputs::Outputs;
use super::pace::Pace;
use super::plan::Rounds;
use super::record;
use super::settings::Settings;
use super::wiring::Wiring;
use super::wish::Wish;
use crate::link::{BackOff, Floor, Trouble, all_heard, heard};
use crate::record::Tape;

/// Rounds in a row that a machine may be too busy to answer before its link counts as lost.
const BUSY_ROUNDS: u32 = 10;

/// A connection to the machines at one place: an address or a serial port.
#[derive(Debug, Clone)]
pub struct Link {
    machines: Vec<(MachineName, Settings)>,
}

impl Link {
    /// A link with settings in which [`Settings::check`] finds no fault; points and outputs whose
    /// names are no names are left out.
    #[must_use]
    pub fn new(machine: MachineName, settings: Settings) -> Self {
        Self::shared(vec![(machine, settings)])
    }

    /// A link to machines that are all at the same [`Settings::place`], and in whose settings
    /// [`crate::modbus::check_shared`] finds no fault. One question is asked at a time.
    #[must_use]
    pub fn shared(machines: Vec<(MachineName, Settings)>) -> Self {
        Self { machines }
    }
}

#[async_trait]
impl crate::link::Link for Link {
    fn machines(&self) -> Vec<MachineName> {
        self.machines.iter().map(|(machine, _)| machine.clone()).collect()
    }

    async fn run(self: Box<Self>, mut floor: Floor) {
        // Asked in every round, and so not shared with other links.
        floor.stop = floor.stop.child_token();
        let endpoint = self.machines.iter().find_map(|(_, settings)| settings.endpoint());
        let Some(endpoint) = endpoint else { return };
        let line = Arc::new(Line::new(endpoint, self.machines.len() > 1));
        let all: Vec<&Settings> = self.machines.iter().map(|(_, settings)| settings).collect();
        let limits = time_outs(&all);
        let works = self.machines.into_iter().zip(limits).map(|((machine, settings), limit)| {
            let client = Client::new(Arc::clone(&line), settings.unit, limit, floor.stop.clone());
            Box::pin(Work::new(machine, &settings, floor.clone()).run(client))
        });
        // In one task: only one of them speaks at a time.
        join_all(works).await;
    }
}

/// A link at work.
struct Work {
    machine: MachineName,
    poll: Duration,
    reads: Rounds,
    decoder: Decoder,
    outputs: Outputs,
    courier: Courier,
    news: News,
    back_off: BackOff,
    state: State,
    /// That the link is lost, while there was no room to say so.
    unsent: Option<Signal>,
    busy_rounds: u32,
    floor: Floor,
}

/// What was last said about the link.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Untold,
    Up,
    Lost,
}

impl Work {
    fn new(machine: MachineName, settings: &Settings, floor: Floor) -> Self {
        let wiring = Arc::new(Wiring::of(settings));
        let observer = Arc::clone(&floor.observer);
        Self {
            reads: Rounds::of(&wiring),
            decoder: Decoder::new(Arc::clone(&wiring)),
            outputs: Outputs::new(machine.clone(), observer, wiring),
            courier: Courier::new(floor.intake.clone()),
            news: News::default(),
            back_off: BackOff::for_machines(),
            state: State::Untold,
            unsent: None,
            busy_rounds: 0,
            machine,
            poll: settings.poll.0,
            floor,
        }
    }

    async fn run(mut self, mut client: Client) {
        let Floor { stop, intake, .. } = self.floor.clone();
        loop {
            let failure = self.attempt(&mut client).await;
            if failure == Failure::Stopped {
                return;
            }
            self.note(failure);
            let wait = self.back_off.wait();
            // With a full intake the link does not wait to be heard: its outputs come first.
            let told = timeout(wait, self.courier.hand_over(&mut self.unsent));
            tokio::select! {
                () = stop.cancelled() => return,
                () = intake.closed() => return,
                _ = async { tokio::join!(sleep(wait), told) } => {}
            }
        }
    }

    /// From the first question until no answer is to be had.
    async fn attempt(&mut self, client: &mut Client) -> Failure {
        client.begin();
        self.reads.start_anew();
        self.outputs.start_anew();
        self.busy_rounds = 0;
        let failure = self.serve(client).await;
        if failure == Failure::Stopped && client.answers() {
            client.begin();
            client.say_last_words();
            // The machine that cannot be told any more locks by its heartbeat.
            let _ = self.outputs.refuse(client).await;
        }
        client.rest();
        failure
    }

    /// Works on a connection until that fails.
    async fn serve(&mut self, client: &mut Client) -> Failure {
        match self.rounds(client).await {
            Ok(never) => match never {},
            Err(failure) => failure,
        }
    }

    async fn rounds(&mut self, client: &mut Client) -> Result<std::convert::Infallible, Failure> {
        let Floor { stop, intake, .. } = self.floor.clone();
        let mut wish = Wish::new(self.floor.wanted.clone());
        let mut pace = Pace::new(self.poll);
        self.outputs.settle(client, wish.now()).await?;
        client.rest();
        loop {
            if let Some(due) = pace.take() {
                self.round(client, due.into_std()).await?;
            } else {
                tokio::select! {
                    biased;
                    () = stop.cancelled() => return Err(Failure::Stopped),
                    () = intake.closed() => return Err(Failure::Stopped),
                    () = pace.due() => continue,
                    () = wish.changed() => {}
                }
            }
            if self.outputs.are_wired() {
                self.outputs.settle(client, wish.now()).await?;
            }
            client.rest();
        }
    }

    /// Reads everything once and hands over what is new. While the intake is full nothing is
    /// read.
    async fn round(&mut self, client: &mut Client, began: Instant) -> Result<(), Failure> {
        let room = match self.courier.room() {
            Room::Free(room) => room,
            // Whoever takes the rounds handed over is let in before the next one.
            Room::Full => {
                yield_now().await;
                return Ok(());
            }
            Room::Closed => return Err(Failure::Stopped),
        };
        if let Some(signal) = self.unsent.take() {
            room.send(vec![signal]);
            return Ok(());
        }
        let bank = match client.read(self.reads.due()).await {
            Ok(bank) => bank,
            Err(Failure::Exception { busy: true, why }) if self.busy_rounds < BUSY_ROUNDS => {
                self.busy_rounds += 1;
                let observer = &self.floor.observer;
                observer.trouble(&self.machine, Trouble::Exception, &why);
                return Ok(());
            }
            Err(failure) => return Err(failure),
        };
        self.reads.done();
        self.busy_rounds = 0;
        self.back_off.reset();
        self.state = State::Up;
        let round = self.decoder.round(&bank);
        if let Some(tape) = tape(&self.floor, &self.machine) {
            record::round(tape, &bank, &round);
        }
        for (kind, detail) in &round.troubles {
            self.floor.observer.trouble(&self.machine, *kind, detail);
        }
        if self.news.are_in(&round.said, began) {
            room.send(all_heard(&self.machine, round.said));
        }
        self.floor.observer.round(&self.machine, began.elapsed());
        Ok(())
    }

    /// Notes a failure. That the link is lost is to be told, unless it was told already.
    fn note(&mut self, failure: Failure) {
        let (kind, why) = match failure {
            Failure::Gone { kind, why } => (kind, why),
            Failure::Exception { why, .. } => (Trouble::Exception, why),
            Failure::Stopped => return,
        };
        self.floor.observer.trouble(&self.machine, kind, &why);
        if self.state == State::Lost {
            return;
        }
        self.state = State::Lost;
        self.decoder.lost();
        if let Some(tape) = tape(&self.floor, &self.machine) {
            record::lost(tape, &why);
        }
        self.unsent = Some(heard(&self.machine, Said::LinkLost { why }));
    }
}

/// Where a machine is recorded, if it is.
fn tape<'f>(floor: &'f Floor, machine: &MachineName) -> Option<&'f Tape> {
    floor.observer.tapes()?.get(machine)
}
