//! Outputs over MQTT: publish what is wanted, compare with what the machine tells, publish again.
//! A command is published until the machine answers that it is done.

mod answers;
mod driven;
mod read_backs;

use std::sync::Arc;
use std::time::Duration;

use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use tokio::time::{Instant, sleep_until};

use super::outbox::Outbox;
use super::packets::{Arrived, Post};
use super::settings::{Output, Settings};
use crate::command::FOLLOWING;
use crate::link::{Floor, Observer};
use crate::settings::Drive;
pub(super) use answers::Answers;
use driven::Driven;
pub(super) use read_backs::ReadBacks;

/// Between two comparisons while nothing changes.
const PACE: Duration = Duration::from_secs(1);

/// Drives the outputs of all machines of a broker.
pub(super) struct Outputs {
    driven: Vec<Driven>,
    heartbeats: Vec<Output>,
    heard: Heard,
    outbox: Outbox,
    floor: Floor,
    beat: Option<u64>,
    /// Of the last command.
    number: u64,
}

/// What machines tell of their outputs.
#[derive(Clone)]
pub(super) struct Heard {
    pub(super) read_backs: Arc<ReadBacks>,
    pub(super) answers: Arc<Answers>,
}

impl Heard {
    /// Takes in a message; false when it tells of no output.
    pub(super) fn hear(&self, arrived: &Arrived, observer: &dyn Observer) -> bool {
        let shown = self.read_backs.hear(&arrived.topic, &arrived.payload);
        self.answers.hear(arrived, observer) || shown
    }

    /// The broker is lost: what machines show or do now is not known.
    pub(super) fn forget(&self) {
        self.read_backs.forget();
        self.answers.forget();
    }
}

impl Outputs {
    pub(super) fn new(
        machines: &[(MachineName, Settings)],
        heard: Heard,
        outbox: Outbox,
        floor: Floor,
    ) -> Self {
        let mut driven = Vec::new();
        let mut heartbeats = Vec::new();
        for (machine, settings) in machines {
            for output in &settings.outputs {
                match OutputName::new(&output.name) {
                    _ if output.drive == Drive::Heartbeat => heartbeats.push(output.clone()),
                    Ok(name) => driven.push(Driven::new(machine, name, output)),
                    Err(_) => {}
                }
            }
        }
        Self { driven, heartbeats, heard, outbox, floor, beat: None, number: 0 }
    }

    /// Keeps outputs as wanted until told to stop, then refuses them all.
    pub(super) async fn run(mut self) {
        let mut wanted = self.floor.wanted.clone();
        let mut connected = self.outbox.connected();
        let Heard { read_backs, answers } = self.heard.clone();
        let stop = self.floor.stop.clone();
        let mut connection = 0;
        loop {
            let now = Arc::clone(&wanted.borrow_and_update());
            let before = std::mem::replace(&mut connection, *connected.borrow_and_update());
            if connection != before {
                // The broker may have forgotten what it kept.
                self.forget();
            }
            if connection != 0 {
                tokio::select! {
                    () = stop.cancelled() => {
                        // What was under way may not have been handed over.
                        self.forget();
                        break;
                    }
                    () = self.compare(&now) => {}
                }
            } else {
                self.show(&now);
            }
            let due = if connection == 0 { Instant::now() + PACE } else { self.due() };
            tokio::select! {
                () = stop.cancelled() => break,
                changed = wanted.changed() => if changed.is_err() { break },
                changed = connected.changed() => if changed.is_err() { return },
                () = read_backs.changed.notified() => {}
                () = answers.changed.notified() => {}
                () = sleep_until(due) => {}
            }
        }
        // The outbox may be full while the broker is away.
        let nothing = Wanted::default();
        let _ = tokio::time::timeout(FOLLOWING, self.compare(&nothing)).await;
    }

    fn forget(&mut self) {
        self.beat = None;
        self.driven.iter_mut().for_each(Driven::forget);
    }

    /// When to look again although nothing happens.
    fn due(&self) -> Instant {
        let pace = Instant::now() + PACE;
        self.driven.iter().filter_map(Driven::due).fold(pace, Instant::min)
    }

    /// Tells what is wanted and shown while nothing can be done about it.
    fn show(&self, wanted: &Wanted) {
        for driven in &self.driven {
            let permits = wanted.permits(&driven.machine, &driven.name);
            let shown = driven.shown(&self.heard);
            self.floor.observer.output(&driven.machine, &driven.name, permits, shown);
        }
    }

    async fn compare(&mut self, wanted: &Wanted) {
        for driven in &mut self.driven {
            let permits = wanted.permits(&driven.machine, &driven.name);
            let (post, failing) = driven.turn(permits, &self.heard, &mut self.number);
            let shown = driven.shown(&self.heard);
            self.floor.observer.output(&driven.machine, &driven.name, permits, shown);
            if let Some(failing) = failing {
                let (kind, why) = driven.in_words(permits, &failing);
                self.floor.observer.trouble(&driven.machine, kind, &why);
            }
            if let Some(post) = post {
                self.outbox.hand_over(post).await;
            }
        }
        if wanted.beat != 0 && self.beat != Some(wanted.beat) {
            self.beat = Some(wanted.beat);
            for heartbeat in &self.heartbeats {
                let payload = wanted.beat.to_string().into_bytes();
                let (topic, retain) = (heartbeat.topic.clone(), heartbeat.retained());
                self.outbox.hand_over(Post { topic, payload, retain, reply: None }).await;
            }
        }
    }
}
