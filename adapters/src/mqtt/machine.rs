//! The other side: a machine that speaks MQTT the way its settings say.

mod obeying;
mod wired;

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex as Slot, PoisonError};
use std::time::Duration;

use async_trait::async_trait;
use serde_json::Value;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Said;
use tokio::sync::{Mutex, mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::access::{Access, Memory};
use super::encode;
use super::outbox::{Keeping, Outbox, Woe};
use super::packets::{Arrived, Post};
use super::settings::{Broker, Message, Settings, Signal};
use crate::settings::Drive;
use crate::simulated::{Answered, CannotFail, CannotSay, Fault, Simulated, Wired};
use obeying::Lever;

/// Messages and answers that wait to be looked at.
const WAITING: usize = 1_024;

/// A message that means nothing to anybody.
const NOISE: &[u8] = b"\xff\xfe{ noise";

/// A simulated machine on MQTT. Its messages are kept until the broker has them, also across a
/// broker that goes away. It ends when dropped.
pub struct Machine {
    name: MachineName,
    broker: Broker,
    settings: Settings,
    /// The way out; none while it has no power.
    outbox: watch::Sender<Option<Outbox>>,
    outputs: BTreeMap<OutputName, watch::Receiver<bool>>,
    answers: Mutex<mpsc::Receiver<Answered>>,
    ears: Ears,
    manner: Arc<Manner>,
    /// It tells of its birth over each connection, where its settings map that.
    announces: bool,
    said_last: Slot<Option<Post>>,
    stop: CancellationToken,
    /// Its present connection; none while it has no power.
    line: Slot<Option<Line>>,
}

/// A connection: how it is ended, and when it has.
struct Line {
    power: CancellationToken,
    ended: JoinHandle<()>,
}

/// How it behaves.
#[derive(Debug, Default)]
struct Manner {
    disobeys: AtomicBool,
    silent: AtomicBool,
    late: Slot<Duration>,
}

impl Manner {
    fn late(&self) -> Duration {
        *lock(&self.late)
    }
}

fn lock<T>(slot: &Slot<T>) -> std::sync::MutexGuard<'_, T> {
    slot.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Machine {
    /// A machine of this name at the broker there.
    #[must_use]
    pub fn start(broker: SocketAddr, name: &MachineName, settings: Settings) -> Self {
        Self::begin(Broker::plain(broker), name, settings, false)
    }

    /// A machine of this name at a broker that is reached the way the gateway reaches it.
    #[must_use]
    pub fn at(broker: Broker, name: &MachineName, settings: Settings) -> Self {
        Self::begin(broker, name, settings, false)
    }

    /// One that tells by itself that it is there whenever it has connected, and that it is gone
    /// when it loses its power, where its settings map a `link`.
    #[must_use]
    pub fn start_announcing(broker: SocketAddr, name: &MachineName, settings: Settings) -> Self {
        Self::begin(Broker::plain(broker), name, settings, true)
    }

    fn begin(broker: Broker, name: &MachineName, settings: Settings, announces: bool) -> Self {
        let mut outputs = BTreeMap::new();
        let mut levers = Vec::new();
        for output in settings.outputs.iter().filter(|output| output.drive != Drive::Heartbeat) {
            if let Ok(name) = OutputName::new(&output.name) {
                let (lever, shown) = Lever::new(output);
                outputs.insert(name, shown);
                levers.push(lever);
            }
        }
        let (answer, answers) = mpsc::channel(WAITING);
        let manner = Arc::<Manner>::default();
        let answers_on = answer_topics(&settings);
        let ears =
            Ears { answers_on, answer, levers: Arc::new(levers), manner: Arc::clone(&manner) };
        let stop = CancellationToken::new();
        let machine = Self {
            name: name.clone(),
            broker,
            settings,
            outbox: watch::Sender::new(None),
            outputs,
            answers: Mutex::new(answers),
            ears,
            manner,
            announces,
            said_last: Slot::default(),
            line: Slot::default(),
            stop,
        };
        machine.connect();
        machine
    }

    fn connect(&self) {
        let power = self.stop.child_token();
        let (arrive, arrivals) = mpsc::channel(WAITING);
        let told = self.settings.outputs.iter().map(|output| output.topic.clone());
        let (outbox, ended) = Outbox::start(Keeping {
            access: Access::new(self.broker.clone()),
            client: format!("simulated-{}", self.name),
            memory: Memory::Kept,
            will: None,
            subscriptions: told.chain(self.ears.answers_on.iter().cloned()).collect(),
            arrivals: Some(arrive),
            stop: power.clone(),
            on_trouble: Box::new(|woe| match woe {
                Woe::Lost(lost) => tracing::debug!(?lost, "a simulated machine lost its broker"),
                Woe::Unwanted(topic, why) => tracing::debug!(topic, why, "it is not taken"),
            }),
        });
        tokio::spawn(self.ears.clone().listen(arrivals, outbox.clone()));
        if let Some(birth) = self.announcement(&Said::LinkUp { resumed: false }) {
            tokio::spawn(announce(birth, outbox.clone()));
        }
        *lock(&self.line) = Some(Line { power, ended });
        self.outbox.send_replace(Some(outbox));
    }

    /// Ends its connection. What nobody has confirmed is said again over the next one.
    async fn disconnect(&self) {
        let outbox = self.outbox.send_replace(None);
        let death = self.announcement(&Said::LinkLost { why: String::new() });
        if let (Some(outbox), Some(death)) = (outbox, death) {
            // A broker publishes the will of a client that is gone without leave.
            outbox.hand_over(death).await;
        }
        let line = lock(&self.line).take();
        if let Some(Line { power, ended }) = line {
            power.cancel();
            // Else its death could be told after its next birth. The outbox gives up by itself.
            let _ = ended.await;
        }
    }

    fn announcement(&self, said: &Said) -> Option<Post> {
        let entry = self.entry(None, said).ok().filter(|_| self.announces)?;
        Some(Post { retain: true, ..post(entry, None, said, None) })
    }

    /// From now on it ignores, or follows again, what its outputs are told.
    pub fn disobey(&self, disobeys: bool) {
        self.manner.disobeys.store(disobeys, Ordering::SeqCst);
    }

    /// The message by which it says this of itself, or of another machine.
    fn entry(&self, of: Option<&MachineName>, said: &Said) -> Result<&Message, CannotSay> {
        let messages = || {
            let messages = self.settings.messages.iter();
            messages.filter(|entry| of.is_none() || entry.machine.is_some())
        };
        let empty_seat =
            |entry: &&Message| *said == Said::Removed && entry.signal == Signal::StencilSeated;
        messages()
            .find(|entry| encode::says(entry, said) && measures(entry, said))
            .or_else(|| messages().find(empty_seat))
            .ok_or(CannotSay::NotMapped(said.kind()))
    }

    async fn send(&self, post: Post) -> Result<(), CannotSay> {
        tokio::time::sleep(self.manner.late()).await;
        if self.manner.silent.load(Ordering::SeqCst) {
            return Ok(());
        }
        let gone = || CannotSay::NoConnection("it was switched off".to_owned());
        let mut ways = self.outbox.subscribe();
        loop {
            let way = ways.wait_for(Option::is_some).await.map_err(|_| gone())?.clone();
            let Some(way) = way else { continue };
            if way.publish(post.clone()).await {
                *lock(&self.said_last) = Some(post);
                return Ok(());
            }
            if self.stop.is_cancelled() || ways.changed().await.is_err() {
                return Err(gone());
            }
        }
    }
}

/// True unless it is about a quantity that this message does not tell.
fn measures(entry: &Message, said: &Said) -> bool {
    match said {
        Said::Measured { measurement, .. } => {
            entry.quantity.as_deref() == Some(measurement.quantity.as_str())
        }
        _ => true,
    }
}

/// The message that says it, with the name of the machine it is about where it names one.
fn post(entry: &Message, of: Option<&MachineName>, said: &Said, identity: Option<&str>) -> Post {
    let of = of.map(MachineName::as_str);
    let (topic, payload) = encode::message(entry, of, said, identity);
    Post { topic, payload, retain: false, reply: None }
}

/// Tells over each new connection that it is there.
async fn announce(birth: Post, outbox: Outbox) {
    let mut connected = outbox.connected();
    while connected.wait_for(|number| *number > 0).await.is_ok() {
        outbox.hand_over(birth.clone()).await;
        let number = *connected.borrow_and_update();
        if connected.wait_for(|now| *now != number).await.is_err() {
            return;
        }
    }
}

impl Drop for Machine {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

#[async_trait]
impl Simulated for Machine {
    async fn say(&self, said: &Said, identity: Option<&str>) -> Result<(), CannotSay> {
        let entry = self.entry(None, said)?;
        self.send(post(entry, None, said, identity)).await
    }

    fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        self.outputs.get(name).cloned().ok_or(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        if self.ears.answers_on.is_empty() {
            return None;
        }
        self.answers.lock().await.recv().await
    }

    fn wired(&self) -> Wired {
        wired::wired(self.settings.messages.iter().filter(|entry| entry.machine.is_none()))
    }

    fn wired_for_others(&self) -> Wired {
        wired::wired(self.settings.messages.iter().filter(|entry| entry.machine.is_some()))
    }

    async fn say_of(
        &self,
        of: &MachineName,
        said: &Said,
        identity: Option<&str>,
    ) -> Result<(), CannotSay> {
        let entry = self.entry(Some(of), said)?;
        self.send(post(entry, Some(of), said, identity)).await
    }

    /// What it would have said while it is silent is lost. While it has no power it waits.
    async fn suffer(&self, fault: Fault) -> Result<(), CannotFail> {
        match fault {
            Fault::Off(true) => self.disconnect().await,
            Fault::Off(false) if self.outbox.borrow().is_none() => self.connect(),
            Fault::Off(false) => {}
            Fault::Silent(silent) => self.manner.silent.store(silent, Ordering::SeqCst),
            Fault::Late(by) => *lock(&self.manner.late) = by,
            Fault::Refusing(_) => {
                return Err(CannotFail("it is never asked, so it cannot answer with an error"));
            }
            Fault::Cut if self.outbox.borrow().is_none() => {
                return Err(CannotFail("it has no power, and so no connection"));
            }
            Fault::Cut => {
                self.disconnect().await;
                self.connect();
            }
            Fault::Disobeying(disobeying) => self.disobey(disobeying),
            Fault::Repeating(times) => {
                let last = lock(&self.said_last).clone();
                let last = last.ok_or(CannotFail("it has said nothing yet"))?;
                self.hand_over_often(&last, times).await?;
            }
            Fault::Flooding(times) => {
                let entry = self.settings.messages.first();
                let entry = entry.ok_or(CannotFail("the file maps no message of it"))?;
                let topic = entry.topic.replace(['+', '#'], "any");
                let noise = Post { topic, payload: NOISE.to_vec(), retain: false, reply: None };
                self.hand_over_often(&noise, times).await?;
            }
        }
        Ok(())
    }
}

impl Machine {
    async fn hand_over_often(&self, post: &Post, times: u32) -> Result<(), CannotFail> {
        let way = self.outbox.borrow().clone();
        let way = way.ok_or(CannotFail("it has no power, and so no connection"))?;
        for _ in 0..times {
            way.hand_over(post.clone()).await;
        }
        Ok(())
    }
}

fn answer_topics(settings: &Settings) -> Vec<String> {
    let mut topics: Vec<String> =
        settings.messages.iter().filter_map(|entry| entry.answer.clone()).collect();
    topics.sort();
    topics.dedup();
    topics
}

/// Hears what the gateway publishes for the machine.
#[derive(Clone)]
struct Ears {
    answers_on: Vec<String>,
    answer: mpsc::Sender<Answered>,
    levers: Arc<Vec<Lever>>,
    manner: Arc<Manner>,
}

impl Ears {
    async fn listen(self, mut arrivals: mpsc::Receiver<Arrived>, outbox: Outbox) {
        while let Some(publish) = arrivals.recv().await {
            if self.answers_on.contains(&publish.topic) {
                if let Some(answer) = read_answer(&publish.payload)
                    && self.answer.try_send(answer).is_err()
                {
                    tracing::debug!("nobody waits for the answers of a simulated machine");
                }
            } else {
                for lever in self.levers.iter() {
                    lever.hear(&publish, &self.manner, &outbox).await;
                }
            }
        }
    }
}

fn read_answer(payload: &[u8]) -> Option<Answered> {
    let json: Value = serde_json::from_slice(payload).ok()?;
    let reasons = json.get("reasons")?.as_array()?;
    Some(Answered {
        request: json.get("request").and_then(Value::as_str).map(str::to_owned),
        permitted: json.get("permitted")?.as_bool()?,
        reasons: reasons
            .iter()
            .filter_map(|reason| reason.get("code")?.as_str().map(str::to_owned))
            .collect(),
    })
}
