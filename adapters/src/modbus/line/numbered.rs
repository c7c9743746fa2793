//! Modbus TCP: an answer bears the number of its question (MODBUS Messaging on TCP/IP
//! Implementation Guide V1.0b, 3.1.3).
//!
//! The header is put on and taken off here rather than by the library, which keeps to the header
//! but not to the question: an answer of another length would pass, or be waited for.

use std::future::{Future, poll_fn};
use std::io;
use std::pin::{Pin, pin};
use std::task::Poll;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::{Instant, Sleep, sleep_until};

use super::Lapse;
use crate::modbus::rtu::{Question, Stream};

/// Number, protocol, length; the length counts the unit and what follows.
const HEADER: usize = 6;
/// Longest frame, header included.
const LONGEST: usize = 260;

/// A connection on which no question is open.
pub(super) struct Numbered {
    stream: Box<dyn Stream>,
    number: u16,
    timer: Timer,
    /// The last frame, kept for its room.
    frame: Vec<u8>,
}

impl Numbered {
    pub(super) fn new(stream: Box<dyn Stream>) -> Self {
        Self { stream, number: 0, timer: Timer::new(), frame: Vec::with_capacity(LONGEST) }
    }

    /// Asks one question, and gives the answer or exception without its unit. After a lapse the
    /// connection is of no more use: an answer may still come.
    pub(super) async fn ask(
        &mut self,
        question: &Question,
        limit: Duration,
    ) -> Result<Vec<u8>, Lapse> {
        let number = self.number;
        self.number = number.wrapping_add(1);
        let exchange = exchange(&mut *self.stream, &mut self.frame, number, question);
        let exchanged = self.timer.limit(limit, exchange).await;
        exchanged.unwrap_or(Err(Lapse::Silent { heard: None }))
    }
}

async fn exchange(
    stream: &mut dyn Stream,
    frame: &mut Vec<u8>,
    number: u16,
    question: &Question,
) -> Result<Vec<u8>, Lapse> {
    let asked = question.unsummed();
    let [high, low] = number.to_be_bytes();
    let [long, length] = (asked.len() as u16).to_be_bytes();
    frame.clear();
    frame.extend([high, low, 0, 0, long, length]);
    frame.extend(asked);
    stream.write_all(frame).await.map_err(Lapse::Broken)?;
    stream.flush().await.map_err(Lapse::Broken)?;
    frame.clear();
    loop {
        if stream.read_buf(frame).await.map_err(Lapse::Broken)? == 0 {
            return Err(Lapse::Broken(if frame.is_empty() {
                io::ErrorKind::NotConnected.into()
            } else {
                io::Error::other("it ended within an answer")
            }));
        }
        if let Some(answer) = answer(frame, number)? {
            if let Some(fault) = question.fault(answer) {
                return Err(Lapse::Garbled(fault.to_owned()));
            }
            return Ok(answer.get(1..).unwrap_or_default().to_vec());
        }
    }
}

/// The unit and what it says, once all of it is there. What follows is left out.
fn answer(frame: &[u8], number: u16) -> Result<Option<&[u8]>, Lapse> {
    let Some([high, low, protocol @ .., long, length]) = frame.first_chunk::<HEADER>() else {
        return Ok(None);
    };
    let length = usize::from(u16::from_be_bytes([*long, *length]));
    if *protocol != [0, 0] || !(2..=LONGEST - HEADER).contains(&length) {
        return Err(Lapse::Garbled("what is no Modbus answer".to_owned()));
    }
    if [*high, *low] != number.to_be_bytes() {
        return Err(Lapse::Garbled("an answer to another question".to_owned()));
    }
    Ok(frame.get(HEADER..HEADER + length))
}

/// A limit in time for one thing after another. The runtime's timer is set when it has run out,
/// not for each of them.
struct Timer(Pin<Box<Sleep>>);

impl Timer {
    fn new() -> Self {
        Self(Box::pin(sleep_until(Instant::now())))
    }

    /// The outcome; none when it was not there in time.
    async fn limit<T>(&mut self, limit: Duration, work: impl Future<Output = T>) -> Option<T> {
        let until = Instant::now() + limit;
        if self.0.deadline() > until {
            self.0.as_mut().reset(until);
        }
        let mut work = pin!(work);
        poll_fn(|context| {
            if let Poll::Ready(outcome) = work.as_mut().poll(context) {
                return Poll::Ready(Some(outcome));
            }
            while self.0.as_mut().poll(context).is_ready() {
                if self.0.deadline() >= until {
                    return Poll::Ready(None);
                }
                self.0.as_mut().reset(until);
            }
            Poll::Pending
        })
        .await
    }
}
