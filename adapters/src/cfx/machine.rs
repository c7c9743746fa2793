//! The other side: a machine that speaks CFX to the gateway's listener the way its settings say,
//! and listens itself where it can be locked.

mod asker;
mod line;
mod station;
mod wired;

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex as Slot, PoisonError};
use std::time::Duration;

use async_trait::async_trait;
use serde_json::json;
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::signal::Said;
use tokio::sync::{Mutex, mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::encode::{self, Told};
use super::envelope::Envelope;
use super::settings::{AtBroker, Endpoint, Settings};
use crate::simulated::{Answered, CannotFail, CannotSay, Fault, Simulated, Wired};
use asker::{Asker, Question};
use line::{Line, Post};
use station::Station;

/// Messages and answers that wait.
const WAITING: usize = 1_024;

/// A simulated machine on CFX. What the gateway has not accepted it says again, over its next
/// connection. It ends when dropped.
pub struct Machine {
    name: MachineName,
    settings: Settings,
    gateway: String,
    posts: mpsc::Sender<Post>,
    questions: mpsc::Sender<Question>,
    answers: Mutex<mpsc::Receiver<Answered>>,
    outputs: BTreeMap<OutputName, watch::Receiver<bool>>,
    power: watch::Sender<Power>,
    manner: Arc<Manner>,
    seat: Slot<Option<StencilCode>>,
    wash: Slot<Option<String>>,
    said_last: Slot<Vec<Envelope>>,
    stop: CancellationToken,
}

/// How it behaves.
#[derive(Debug, Default)]
struct Manner {
    silent: AtomicBool,
    disobeys: AtomicBool,
    late: Slot<Duration>,
}

/// Whether it has power, and how often its connection was cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Power {
    on: bool,
    cuts: u32,
}

fn lock<T>(slot: &Slot<T>) -> std::sync::MutexGuard<'_, T> {
    slot.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Machine {
    /// A machine of this name that sends to a listener there, whose handle is `gateway`.
    #[must_use]
    pub fn start(to: SocketAddr, gateway: &str, name: &MachineName, settings: Settings) -> Self {
        let at = json!({ "address": to.to_string(), "sources": [] });
        // A section that is written here can be read.
        let at = serde_json::from_value(at).unwrap_or_else(|_| unreachable!());
        Self::at(at, gateway, name, settings)
    }

    /// The same at a listener that is reached the way a broker is.
    #[must_use]
    pub fn at(at: AtBroker, gateway: &str, name: &MachineName, settings: Settings) -> Self {
        let me = json!({ "name": "me", "handle": settings.handle });
        let me: Endpoint = serde_json::from_value(me).unwrap_or_else(|_| unreachable!());
        let stop = CancellationToken::new();
        let (power, powered) = watch::channel(Power { on: true, cuts: 0 });
        let manner = Arc::<Manner>::default();
        let (posts, waiting) = mpsc::channel(WAITING);
        let (questions, asked) = mpsc::channel(WAITING);
        let (answer, answers) = mpsc::channel(WAITING);
        let mut outputs = BTreeMap::new();
        let mut lever = |name| {
            let (lever, shown) = watch::channel(false);
            outputs.insert(name, shown);
            lever
        };
        let levers = settings.next_panel().map(&mut lever).into_iter().collect();
        let locks = settings.locks().map(|(name, output)| (output.clone(), lever(name))).collect();
        let requests = settings.requests.as_ref();
        if let Some(address) = requests.and_then(|requests| requests.address.parse().ok()) {
            let station = Station {
                address,
                handle: settings.handle.clone(),
                locks: Arc::new(locks),
                power: powered.clone(),
                manner: Arc::clone(&manner),
            };
            tokio::spawn(stop.clone().run_until_cancelled_owned(station.run()));
        }
        let line = Line {
            at: at.clone(),
            me: me.clone(),
            gateway: gateway.to_owned(),
            settings: settings.clone(),
            posts: waiting,
            power: powered.clone(),
            manner: Arc::clone(&manner),
        };
        tokio::spawn(stop.clone().run_until_cancelled_owned(line.run()));
        let asker = Asker {
            at,
            me,
            gateway: gateway.to_owned(),
            questions: asked,
            answer,
            levers,
            power: powered,
            manner: Arc::clone(&manner),
        };
        tokio::spawn(stop.clone().run_until_cancelled_owned(asker.run()));
        Self {
            name: name.clone(),
            settings,
            gateway: gateway.to_owned(),
            posts,
            questions,
            answers: Mutex::new(answers),
            outputs,
            power,
            manner,
            seat: Slot::default(),
            wash: Slot::default(),
            said_last: Slot::default(),
            stop,
        }
    }

    /// Sends a body as it is, whatever it is.
    pub async fn send_raw(&self, body: Vec<u8>) {
        let _ = self.posts.send(Post::Raw(body)).await;
    }

    fn envelope(&self, (name, body): Told, identity: Option<&str>) -> Envelope {
        let said = Envelope::said(&self.settings.handle, name, body);
        let unique_id = identity.map(str::to_owned).or(said.unique_id);
        Envelope { unique_id, ..said }
    }

    /// The id of the wash that is under way, or of a new one.
    fn work(&self, said: &Said) -> String {
        match said {
            Said::WashBegan { .. } => lock(&self.wash).insert(super::unique_id()).clone(),
            Said::WashEnded { .. } => lock(&self.wash).take().unwrap_or_else(super::unique_id),
            _ => super::unique_id(),
        }
    }
}

fn request_id() -> String {
    format!("REQUEST-{}", super::unique_id())
}

impl Drop for Machine {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

#[async_trait]
impl Simulated for Machine {
    async fn say(&self, said: &Said, identity: Option<&str>) -> Result<(), CannotSay> {
        let gone = || CannotSay::NoConnection(format!("{} was switched off", self.name));
        let late = *lock(&self.manner.late);
        tokio::time::sleep(late).await;
        if let Some(asked) = encode::asked(&self.settings, said) {
            let id = identity.map_or_else(request_id, str::to_owned);
            let question = self.envelope(asked, identity).asked_of(&self.gateway, id);
            return self.questions.send(Question(question)).await.map_err(|_| gone());
        }
        let seat = lock(&self.seat).clone();
        let told = encode::told(&self.settings, said, seat.as_ref(), &self.work(said));
        let told = told.ok_or(CannotSay::NotMapped(said.kind()))?;
        match said {
            Said::Seated { code } => *lock(&self.seat) = Some(code.clone()),
            Said::Removed => *lock(&self.seat) = None,
            _ => {}
        }
        let single = told.len() == 1;
        let envelopes: Vec<Envelope> =
            told.into_iter().map(|told| self.envelope(told, identity.filter(|_| single))).collect();
        if self.manner.silent.load(Ordering::SeqCst) {
            return Ok(());
        }
        for envelope in &envelopes {
            let post = Post::Envelope(Box::new(envelope.clone()));
            self.posts.send(post).await.map_err(|_| gone())?;
        }
        *lock(&self.said_last) = envelopes;
        Ok(())
    }

    fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        self.outputs.get(name).cloned().ok_or(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        self.settings.tool_check?;
        self.answers.lock().await.recv().await
    }

    fn wired(&self) -> Wired {
        wired::wired(&self.settings)
    }

    /// What it would have said while it is silent is lost. While it has no power it waits.
    async fn suffer(&self, fault: Fault) -> Result<(), CannotFail> {
        match fault {
            Fault::Off(off) => self.power.send_modify(|power| power.on = !off),
            Fault::Cut => self.power.send_modify(|power| power.cuts += 1),
            Fault::Silent(silent) => self.manner.silent.store(silent, Ordering::SeqCst),
            Fault::Late(by) => *lock(&self.manner.late) = by,
            Fault::Disobeying(disobeys) => self.manner.disobeys.store(disobeys, Ordering::SeqCst),
            Fault::Refusing(_) => {
                return Err(CannotFail(
                    "it has no error by number; where it can be locked it can disobey or be silent",
                ));
            }
            Fault::Repeating(times) => {
                let last = lock(&self.said_last).clone();
                if last.is_empty() {
                    return Err(CannotFail("it has said nothing yet"));
                }
                for _ in 0..times {
                    for envelope in &last {
                        let _ = self.posts.send(Post::Envelope(Box::new(envelope.clone()))).await;
                    }
                }
            }
            Fault::Flooding(times) => {
                for _ in 0..times {
                    self.send_raw(b"\xff\xfe{ noise".to_vec()).await;
                }
            }
        }
        Ok(())
    }
}
