//! A simulated machine as the rehearsal works it: what it is made to say goes out in order, as
//! fast as its protocol takes it, while the machine works on.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use stencilward_adapters::simulated::{Answered, CannotFail, CannotSay, Fault, Simulated, Wired};
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::signal::Said;
use tokio::sync::{mpsc, watch};
use tokio::time::timeout;
use tokio_util::task::AbortOnDropHandle;

use super::covered::tells;
use crate::narrator::Narrator;

/// Words that wait to be said; a machine with more of them waits.
const WAITING: usize = 4_096;

/// One simulated machine.
pub(super) struct Actor {
    pub(super) name: MachineName,
    pub(super) wired: Wired,
    pub(super) for_others: Wired,
    machine: Arc<dyn Simulated>,
    power: watch::Sender<bool>,
    /// It names every stencil wrongly.
    garbles: AtomicBool,
    words: mpsc::Sender<Word>,
    told: AtomicU64,
    covered: Arc<Mutex<BTreeSet<String>>>,
    _mouth: AbortOnDropHandle<()>,
}

/// Something to say.
struct Word {
    of: Option<MachineName>,
    said: Said,
    identity: String,
    /// When it is too late to be said.
    within: Option<Duration>,
}

impl Actor {
    pub(super) fn new(name: MachineName, machine: Arc<dyn Simulated>, narrator: Narrator) -> Self {
        let (words, waiting) = mpsc::channel(WAITING);
        let (power, has_power) = watch::channel(true);
        let covered = Arc::<Mutex<BTreeSet<String>>>::default();
        let (wired, for_others) = (machine.wired(), machine.wired_for_others());
        let mouth = Mouth {
            name: name.clone(),
            machine: Arc::clone(&machine),
            titles: wired.says.iter().chain(&for_others.says).cloned().collect(),
            power: has_power,
            covered: Arc::clone(&covered),
            narrator,
        };
        let mouth = AbortOnDropHandle::new(tokio::spawn(mouth.speak(waiting)));
        Self {
            name,
            wired,
            for_others,
            machine,
            power,
            garbles: AtomicBool::new(false),
            words,
            told: AtomicU64::new(0),
            covered,
            _mouth: mouth,
        }
    }

    /// Says it, of itself; gives the identity of what is said.
    pub(super) async fn say(&self, said: Said) -> String {
        self.put(None, said, None).await
    }

    /// Says it, of itself, unless that takes longer: then it has gone unheard.
    pub(super) async fn say_within(&self, said: Said, within: Duration) {
        self.put(None, said, Some(within)).await;
    }

    /// Says it of another machine.
    pub(super) async fn say_of(&self, of: &MachineName, said: Said) {
        self.put(Some(of.clone()), said, None).await;
    }

    async fn put(&self, of: Option<MachineName>, said: Said, within: Option<Duration>) -> String {
        let identity = self.told.fetch_add(1, Ordering::SeqCst).to_string();
        let said = match said {
            Said::Seated { code } if self.garbles.load(Ordering::SeqCst) => {
                Said::Seated { code: garbled(&code) }
            }
            said => said,
        };
        let word = Word { of, said, identity: identity.clone(), within };
        // The mouth ends with the rehearsal only; then nobody listens any more.
        let _ = self.words.send(word).await;
        identity
    }

    /// An output as the machine sees it.
    pub(super) fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        self.machine.output(name)
    }

    /// The answer to the question of this identity.
    pub(super) async fn answer_to(&self, identity: &str) -> Option<Answered> {
        loop {
            let answer = self.machine.answered().await?;
            if answer.request.as_deref().is_none_or(|request| request == identity) {
                return Some(answer);
            }
        }
    }

    /// Waits until it has power.
    pub(super) async fn powered(&self) {
        let mut power = self.power.subscribe();
        // It cannot end: the sender is this actor's own.
        let _ = power.wait_for(|on| *on).await;
    }

    /// Has a fault, or no longer.
    pub(super) async fn suffer(&self, fault: Fault) -> Result<(), CannotFail> {
        self.machine.suffer(fault).await?;
        if let Fault::Off(off) = fault {
            self.power.send_replace(!off);
        }
        Ok(())
    }

    pub(super) fn has_power(&self) -> bool {
        *self.power.borrow()
    }

    /// Names stencils wrongly from now on, or rightly again; tells whether it did so before.
    pub(super) fn garble(&self, garbles: bool) -> bool {
        self.garbles.swap(garbles, Ordering::SeqCst)
    }

    /// What its wiring lets it say and was never said.
    pub(super) fn unsaid(&self) -> Vec<String> {
        let covered = self.covered.lock().unwrap_or_else(PoisonError::into_inner);
        let titles = self.wired.says.iter().chain(&self.for_others.says);
        titles.filter(|title| !covered.contains(*title)).cloned().collect()
    }
}

/// A code as a dirty label is read: its last character is another one.
fn garbled(code: &StencilCode) -> StencilCode {
    let mut text: Vec<char> = code.as_str().chars().collect();
    if let Some(last) = text.last_mut() {
        *last = if *last == '7' { '1' } else { '7' };
    }
    StencilCode::new(&text.into_iter().collect::<String>()).unwrap_or_else(|_| code.clone())
}

/// Says what waits to be said.
struct Mouth {
    name: MachineName,
    machine: Arc<dyn Simulated>,
    titles: Vec<String>,
    power: watch::Receiver<bool>,
    covered: Arc<Mutex<BTreeSet<String>>>,
    narrator: Narrator,
}

impl Mouth {
    async fn speak(mut self, mut waiting: mpsc::Receiver<Word>) {
        let mut complained = BTreeSet::new();
        while let Some(word) = waiting.recv().await {
            if self.power.wait_for(|on| *on).await.is_err() {
                return;
            }
            let identity = Some(word.identity.as_str());
            let saying = async {
                match &word.of {
                    None => self.machine.say(&word.said, identity).await,
                    Some(of) => self.machine.say_of(of, &word.said, identity).await,
                }
            };
            let said = match word.within {
                // What is not heard in time is missed, as on a real contact.
                Some(within) => timeout(within, saying).await.unwrap_or(Ok(())),
                None => saying.await,
            };
            match said {
                Ok(()) => self.cover(&word.said),
                Err(why) if complained.insert(word.said.kind()) => {
                    let kind = word.said.kind();
                    self.narrator.say(self.name.as_str(), &format!("cannot say {kind}: {why}"));
                }
                Err(_) => {}
            }
        }
    }

    fn cover(&self, said: &Said) {
        let mut covered = self.covered.lock().unwrap_or_else(PoisonError::into_inner);
        covered.extend(self.titles.iter().filter(|title| tells(title, said)).cloned());
    }
}
