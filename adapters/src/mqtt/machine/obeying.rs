//! How a simulated machine follows its outputs: a state as often as it is told, a command once.

use std::sync::Mutex as Slot;
use std::sync::atomic::Ordering;

use tokio::sync::watch;

use super::{Manner, lock};
use crate::mqtt::encode;
use crate::mqtt::outbox::Outbox;
use crate::mqtt::packets::{Arrived, Post, Reply};
use crate::mqtt::payload::Text;
use crate::mqtt::settings::{Answer, Output};

/// An output, and what it moves.
pub(super) struct Lever {
    output: Output,
    moved: watch::Sender<bool>,
    /// The last command carried out, by which a repeat is known.
    done: Slot<Option<u64>>,
}

impl Lever {
    pub(super) fn new(output: &Output) -> (Self, watch::Receiver<bool>) {
        let (moved, shown) = watch::channel(false);
        (Self { output: output.clone(), moved, done: Slot::default() }, shown)
    }

    /// Hears what is published on the output's topic.
    pub(super) async fn hear(&self, publish: &Arrived, manner: &Manner, outbox: &Outbox) {
        if self.output.topic != publish.topic {
            return;
        }
        let disobeys = manner.disobeys.load(Ordering::SeqCst);
        match &self.output.answer {
            Some(answer) => self.obey(answer, publish, manner, outbox).await,
            None if disobeys => {}
            None => self.follow(&publish.payload, outbox).await,
        }
    }

    async fn follow(&self, word: &[u8], outbox: &Outbox) {
        let permits = self.output.word(true).as_bytes() == word;
        self.moved.send_replace(permits);
        self.show(permits, outbox).await;
    }

    /// A command is carried out once, and answered as often as it comes.
    async fn obey(&self, answer: &Answer, publish: &Arrived, manner: &Manner, outbox: &Outbox) {
        let Some(number) = number(&self.output, publish) else { return };
        let is = |permits| encode::command(&self.output, permits, number) == publish.payload;
        let Some(permits) = [true, false].into_iter().find(|permits| is(*permits)) else { return };
        let known = *lock(&self.done) == Some(number);
        let obeys = known || !manner.disobeys.load(Ordering::SeqCst);
        if obeys && !known {
            *lock(&self.done) = Some(number);
            self.moved.send_replace(permits);
            self.show(permits, outbox).await;
        }
        let words = if obeys { &answer.done } else { &answer.refused };
        let Some(word) = words.first().filter(|_| !manner.silent.load(Ordering::SeqCst)) else {
            return;
        };
        tokio::time::sleep(manner.late()).await;
        let pointers = (answer.value.as_deref(), answer.number.as_deref());
        let reply = publish.correlation.clone();
        let post = Post {
            topic: answer.topic.clone(),
            payload: encode::answered(pointers, word, number),
            retain: false,
            reply: reply.map(|correlation| Reply { topic: None, correlation, expiry: None }),
        };
        outbox.hand_over(post).await;
    }

    async fn show(&self, permits: bool, outbox: &Outbox) {
        let Some(topic) = &self.output.read_back else { return };
        let word = self.output.shown_word(permits);
        let payload = match &self.output.value {
            None => word.as_bytes().to_vec(),
            Some(pointer) => encode::pointed(pointer, word),
        };
        let post = Post { topic: topic.clone(), payload, retain: true, reply: None };
        outbox.hand_over(post).await;
    }
}

/// The number of a command: in its payload, or in what came with it.
fn number(output: &Output, publish: &Arrived) -> Option<u64> {
    match &output.number {
        Some(pointer) => Text::new(&publish.payload).number(Some(pointer)).ok(),
        None => std::str::from_utf8(publish.correlation.as_deref()?).ok()?.parse().ok(),
    }
}
