//! A master on a line of Modbus RTU: a serial port, or a converter that passes bytes on.
//!
//! The library's own RTU client takes the next frame for the answer to the last question. It
//! carries no number, so after a time-out that is the late answer to another one. Here a question
//! is asked into silence only, an answer must have its unit, function, length and check sum, and
//! whatever else comes is waited for until the line is silent again.

mod frame;
mod pace;

use std::fmt;
use std::io;
use std::time::{Duration, Instant};

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::time::timeout_at;

pub(crate) use frame::{Question, is_whole, sum};
pub(crate) use pace::{Pace, pause};

use frame::Seen;

/// Longest frame (MODBUS over Serial Line V1.02, 2.5.1), and as much again for what came late.
const LONGEST: usize = 512;
/// Silence after a question that got no proper answer, so that a late one is over before anybody
/// else is asked: the turnaround delay of MODBUS over Serial Line V1.02, 2.4.1, is 100 ms to
/// 200 ms (from memory).
pub(crate) const TURNAROUND: Duration = Duration::from_millis(100);
/// Longest wait for silence. A line that never falls silent carries something else.
const NEVER_SILENT: Duration = Duration::from_secs(2);

/// What carries the bytes.
pub(crate) trait Stream: AsyncRead + AsyncWrite + fmt::Debug + Send + Unpin {}

impl<S: AsyncRead + AsyncWrite + fmt::Debug + Send + Unpin> Stream for S {}

/// Why a question has no answer, on whatever carries it.
#[derive(Debug)]
pub(crate) enum Lapse {
    /// Nothing came in time. What other units said meanwhile is their own.
    Silent { heard: Option<u8> },
    /// What came is no answer.
    Garbled(String),
    /// The other side, or the system, ended the connection or the line.
    Broken(io::Error),
}

/// The only one who asks on its line.
#[derive(Debug)]
pub(crate) struct Master {
    stream: Box<dyn Stream>,
    pace: Pace,
    /// The line has been silent since then, as far as is known.
    silent_since: Instant,
    /// How long it must be silent before the next question.
    silence: Duration,
}

impl Master {
    /// Takes over a line, on which there may still be answers to somebody else's questions.
    pub(crate) fn new(stream: Box<dyn Stream>, pace: Pace) -> Self {
        let silence = TURNAROUND.max(pace.silence);
        Self { stream, pace, silent_since: Instant::now(), silence }
    }

    /// Asks one question, and gives the answer or exception without unit and check sum. `limit`
    /// is the unit's own time to answer; what the characters take comes on top.
    pub(crate) async fn ask(
        &mut self,
        question: &Question,
        limit: Duration,
    ) -> Result<Vec<u8>, Lapse> {
        self.fall_silent().await?;
        self.silence = TURNAROUND.max(self.pace.silence);
        let answered = self.exchange(question, limit).await;
        if answered.is_ok() {
            self.silence = self.pace.silence;
        } else {
            self.silent_since = Instant::now();
        }
        answered
    }

    /// Waits until the line was silent for long enough, and drops what comes until then.
    async fn fall_silent(&mut self) -> Result<(), Lapse> {
        let patience = Instant::now() + NEVER_SILENT.max(self.silence * 4);
        let mut dropped = [0; LONGEST];
        loop {
            let wait = (self.silent_since + self.silence).duration_since(Instant::now());
            tokio::select! {
                biased;
                read = self.stream.read(&mut dropped) => { some(read)?; }
                () = pause(wait) => return Ok(()),
            }
            self.silent_since = Instant::now();
            if self.silent_since > patience {
                return Err(Lapse::Garbled("bytes without end".to_owned()));
            }
        }
    }

    async fn exchange(&mut self, question: &Question, limit: Duration) -> Result<Vec<u8>, Lapse> {
        let on_the_way = question.frame.len() + question.answer_length();
        let until = Instant::now() + self.pace.characters(on_the_way) + limit;
        match timeout_at(until.into(), self.stream.write_all(&question.frame)).await {
            Err(_) => return Err(Lapse::Silent { heard: None }),
            Ok(written) => written.map_err(Lapse::Broken)?,
        }
        let mut bytes: Vec<u8> = Vec::with_capacity(LONGEST);
        let mut heard = None;
        while bytes.len() < LONGEST {
            match timeout_at(until.into(), self.stream.read_buf(&mut bytes)).await {
                Err(_) if bytes.is_empty() => return Err(Lapse::Silent { heard }),
                Err(_) => {
                    return Err(Lapse::Garbled(format!("{} bytes of an answer", bytes.len())));
                }
                Ok(read) => some(read)?,
            };
            self.silent_since = Instant::now();
            loop {
                match question.see(&bytes) {
                    Seen::Part => break,
                    Seen::Answer(answer) => return Ok(answer),
                    Seen::Stray { unit, length } => {
                        heard = Some(unit);
                        bytes.drain(..length);
                    }
                    Seen::Nonsense(what) => return Err(Lapse::Garbled(what.to_owned())),
                }
            }
        }
        Err(Lapse::Garbled("bytes without end".to_owned()))
    }
}

/// The bytes read; none at all means that the line is gone.
fn some(read: io::Result<usize>) -> Result<usize, Lapse> {
    match read {
        Ok(0) => Err(Lapse::Broken(io::ErrorKind::UnexpectedEof.into())),
        Ok(count) => Ok(count),
        Err(error) => Err(Lapse::Broken(error)),
    }
}

#[cfg(test)]
mod tests;
