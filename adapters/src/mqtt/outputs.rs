//! Outputs over MQTT: publish what is wanted, compare with what the machine tells, publish again.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use tokio::sync::Notify;
use tokio::time::Instant;

use super::outbox::Outbox;
use super::packets::Post;
use super::settings::{Output, Settings};
use crate::link::{Floor, Trouble};
use crate::settings::Drive;

/// A machine that tells another state than was published has this long to follow.
const FOLLOWING: Duration = Duration::from_secs(2);

/// Between two comparisons while nothing changes.
const PACE: Duration = Duration::from_secs(1);

/// What the machines tell of their outputs.
#[derive(Debug, Default)]
pub(super) struct ReadBacks {
    outputs: HashMap<String, Vec<Output>>,
    shown: Mutex<HashMap<String, bool>>,
    changed: Notify,
}

impl ReadBacks {
    pub(super) fn new(machines: &[(MachineName, Settings)]) -> Self {
        let mut outputs: HashMap<String, Vec<Output>> = HashMap::new();
        for output in machines.iter().flat_map(|(_, settings)| &settings.outputs) {
            if let Some(topic) = &output.read_back {
                outputs.entry(topic.clone()).or_default().push(output.clone());
            }
        }
        Self { outputs, ..Self::default() }
    }

    pub(super) fn topics(&self) -> impl Iterator<Item = &String> {
        self.outputs.keys()
    }

    /// Takes in a message; false when it is no read-back.
    pub(super) fn hear(&self, topic: &str, payload: &[u8]) -> bool {
        let Some(outputs) = self.outputs.get(topic) else {
            return false;
        };
        for output in outputs {
            if let Some(permits) = read(output, payload) {
                self.lock().insert(key(topic, output), permits);
                self.changed.notify_one();
            }
        }
        true
    }

    /// The broker is lost: what a machine shows now is not known.
    pub(super) fn forget(&self) {
        self.lock().clear();
        self.changed.notify_one();
    }

    fn shown(&self, output: &Output) -> Option<bool> {
        self.lock().get(&key(output.read_back.as_deref()?, output)).copied()
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, HashMap<String, bool>> {
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn key(topic: &str, output: &Output) -> String {
    let value = output.value.as_deref().unwrap_or_default();
    format!("{topic}\n{value}\n{}", output.name)
}

/// What a read-back says: permits, refuses, or neither.
fn read(output: &Output, payload: &[u8]) -> Option<bool> {
    let word = match &output.value {
        None => std::str::from_utf8(payload).ok()?.trim().to_owned(),
        Some(pointer) => {
            let json: serde_json::Value = serde_json::from_slice(payload).ok()?;
            match json.pointer(pointer)? {
                serde_json::Value::String(text) => text.clone(),
                other => other.to_string(),
            }
        }
    };
    if output.permit.as_deref() == Some(word.as_str()) {
        Some(true)
    } else if output.refuse.as_deref() == Some(word.as_str()) {
        Some(false)
    } else {
        None
    }
}

/// One output and what was last done about it.
struct Driven {
    machine: MachineName,
    name: OutputName,
    output: Output,
    published: Option<bool>,
    since: Instant,
}

/// Drives the outputs of all machines of a broker.
pub(super) struct Outputs {
    driven: Vec<Driven>,
    heartbeats: Vec<Output>,
    read_backs: Arc<ReadBacks>,
    outbox: Outbox,
    floor: Floor,
    beat: Option<u64>,
}

impl Outputs {
    pub(super) fn new(
        machines: &[(MachineName, Settings)],
        read_backs: Arc<ReadBacks>,
        outbox: Outbox,
        floor: Floor,
    ) -> Self {
        let mut driven = Vec::new();
        let mut heartbeats = Vec::new();
        for (machine, settings) in machines {
            for output in &settings.outputs {
                match OutputName::new(&output.name) {
                    _ if output.drive == Drive::Heartbeat => heartbeats.push(output.clone()),
                    Ok(name) => driven.push(Driven {
                        machine: machine.clone(),
                        name,
                        output: output.clone(),
                        published: None,
                        since: Instant::now(),
                    }),
                    Err(_) => {}
                }
            }
        }
        Self { driven, heartbeats, read_backs, outbox, floor, beat: None }
    }

    /// Keeps outputs as wanted until told to stop, then refuses them all.
    pub(super) async fn run(mut self) {
        let mut wanted = self.floor.wanted.clone();
        let mut connected = self.outbox.connected();
        let read_backs = Arc::clone(&self.read_backs);
        let stop = self.floor.stop.clone();
        loop {
            let now = Arc::clone(&wanted.borrow_and_update());
            if *connected.borrow_and_update() != 0 {
                tokio::select! {
                    () = stop.cancelled() => break,
                    () = self.compare(&now) => {}
                }
            } else {
                self.show(&now);
            }
            tokio::select! {
                () = stop.cancelled() => break,
                changed = wanted.changed() => if changed.is_err() { break },
                changed = connected.changed() => match changed {
                    // A new connection: the broker may have forgotten what it kept.
                    Ok(()) => self.forget(),
                    Err(_) => return,
                },
                () = read_backs.changed.notified() => {}
                () = tokio::time::sleep(PACE) => {}
            }
        }
        // The outbox may be full while the broker is away.
        let nothing = Wanted::default();
        let _ = tokio::time::timeout(FOLLOWING, self.compare(&nothing)).await;
    }

    fn forget(&mut self) {
        self.beat = None;
        for driven in &mut self.driven {
            driven.published = None;
        }
    }

    /// Tells what is wanted and shown while nothing can be done about it.
    fn show(&self, wanted: &Wanted) {
        for driven in &self.driven {
            let permits = wanted.permits(&driven.machine, &driven.name);
            let shown = self.read_backs.shown(&driven.output);
            self.floor.observer.output(&driven.machine, &driven.name, permits, shown);
        }
    }

    async fn compare(&mut self, wanted: &Wanted) {
        for driven in &mut self.driven {
            let permits = wanted.permits(&driven.machine, &driven.name);
            let shown = self.read_backs.shown(&driven.output);
            self.floor.observer.output(&driven.machine, &driven.name, permits, shown);
            let fresh = driven.published != Some(permits);
            let disobeyed = !fresh
                && driven.output.read_back.is_some()
                && shown != Some(permits)
                && driven.since.elapsed() >= FOLLOWING;
            if disobeyed {
                let why = format!(
                    "{} was told {} and does not show it; published again",
                    driven.output.topic,
                    if permits { "to permit" } else { "to refuse" },
                );
                self.floor.observer.trouble(&driven.machine, Trouble::Disobeyed, &why);
            }
            if fresh || disobeyed {
                let word = if permits { &driven.output.permit } else { &driven.output.refuse };
                let post = Post {
                    topic: driven.output.topic.clone(),
                    payload: word.clone().unwrap_or_default().into_bytes(),
                    retain: driven.output.retain,
                };
                self.outbox.hand_over(post).await;
                (driven.published, driven.since) = (Some(permits), Instant::now());
            }
        }
        if wanted.beat != 0 && self.beat != Some(wanted.beat) {
            self.beat = Some(wanted.beat);
            for heartbeat in &self.heartbeats {
                let payload = wanted.beat.to_string().into_bytes();
                let (topic, retain) = (heartbeat.topic.clone(), heartbeat.retain);
                self.outbox.hand_over(Post { topic, payload, retain }).await;
            }
        }
    }
}
