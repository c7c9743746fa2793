//! A silence that is broken once.
//!
//! The library's acceptor ends a connection as soon as the time has passed within which it told the
//! other side to say something, where AMQP 1.0 (2.4.5) wants twice that. One empty frame in between,
//! which nobody sent, makes up for it.

use std::pin::Pin;
use std::task::Context;
use std::time::Duration;

use tokio::time::{Instant, Sleep};

/// A frame that only says that somebody is there (AMQP 1.0, 2.4.5).
pub(super) const EMPTY_FRAME: &[u8] = b"\x00\x00\x00\x08\x02\x00\x00\x00";

/// How long a silence may be before it is broken.
#[derive(Debug)]
pub(super) struct Patience {
    after: Duration,
    silence: Pin<Box<Sleep>>,
    spent: bool,
}

impl Patience {
    pub(super) fn new(after: Duration) -> Self {
        Self { after, silence: Box::pin(tokio::time::sleep(after)), spent: false }
    }

    /// Something came.
    pub(super) fn renew(&mut self) {
        self.silence.as_mut().reset(Instant::now() + self.after);
        self.spent = false;
    }

    /// True once in a silence, when it has lasted long enough.
    pub(super) fn ends(&mut self, context: &mut Context<'_>) -> bool {
        let due = !self.spent && self.silence.as_mut().poll(context).is_ready();
        self.spent |= due;
        due
    }
}
