//! Frames of Modbus RTU: what is sent, and whether what came is the answer to it.
//!
//! An answer carries nothing that ties it to its question, so all that it does carry is compared:
//! unit, function, length and check sum.

use crc::{CRC_16_MODBUS, Crc};
use tokio_modbus::Request;

const SUM: Crc<u16> = Crc::<u16>::new(&CRC_16_MODBUS);
/// Bytes of the check sum, which is sent low byte first.
const SUM_LENGTH: usize = 2;
/// Function of device identification, and the kind of it that is read.
const ENCAPSULATED: u8 = 0x2B;
const IDENTIFICATION: u8 = 0x0E;
/// Bytes of an exception answer.
const EXCEPTION_LENGTH: usize = 5;

/// A request to one unit as it goes over the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Question {
    pub(crate) frame: Vec<u8>,
    /// Bytes of a proper answer; none where only the answer tells.
    answer: Option<usize>,
}

/// What the bytes so far amount to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Seen {
    /// Not a whole frame yet.
    Part,
    /// The answer, or an exception, without unit and check sum.
    Answer(Vec<u8>),
    /// A whole frame of another unit, of so many bytes.
    Stray { unit: u8, length: usize },
    /// No answer to the question.
    Nonsense(&'static str),
}

impl Question {
    /// The frame that asks; none for requests that the gateway never makes.
    pub(crate) fn new(unit: u8, request: &Request<'_>) -> Option<Self> {
        let words = |function: u8, one: u16, other: u16| {
            let ([a, b], [c, d]) = (one.to_be_bytes(), other.to_be_bytes());
            let mut frame = Vec::with_capacity(6 + SUM_LENGTH);
            frame.extend([unit, function, a, b, c, d]);
            frame
        };
        let registers = |count: &u16| 3 + usize::from(*count) * 2 + SUM_LENGTH;
        let bits = |count: &u16| 3 + usize::from(*count).div_ceil(8) + SUM_LENGTH;
        let (mut frame, answer) = match request {
            Request::ReadCoils(at, count) => (words(1, *at, *count), Some(bits(count))),
            Request::ReadDiscreteInputs(at, count) => (words(2, *at, *count), Some(bits(count))),
            Request::ReadHoldingRegisters(at, count) => {
                (words(3, *at, *count), Some(registers(count)))
            }
            Request::ReadInputRegisters(at, count) => {
                (words(4, *at, *count), Some(registers(count)))
            }
            Request::WriteSingleCoil(at, on) => {
                (words(5, *at, if *on { 0xFF00 } else { 0 }), Some(8))
            }
            Request::WriteSingleRegister(at, word) => (words(6, *at, *word), Some(8)),
            Request::ReadDeviceIdentification(code, object) => {
                (vec![unit, ENCAPSULATED, IDENTIFICATION, code.value(), *object], None)
            }
            _ => return None,
        };
        frame.extend(sum(&frame));
        Some(Self { frame, answer })
    }

    fn unit(&self) -> u8 {
        self.frame.first().copied().unwrap_or_default()
    }

    fn function(&self) -> u8 {
        self.frame.get(1).copied().unwrap_or_default()
    }

    /// Bytes of a proper answer, as far as they are known before.
    pub(crate) fn answer_length(&self) -> usize {
        self.answer.unwrap_or_default()
    }

    /// True when an answer to this question could be taken for one to the other. An answer to a
    /// write cannot: it repeats what was written.
    pub(crate) fn is_answered_like(&self, other: &Self) -> bool {
        let reads = matches!(self.function(), 1..=4 | ENCAPSULATED);
        reads && self.function() == other.function() && self.answer == other.answer
    }

    /// The same without its check sum: the unit, and what it is asked.
    pub(crate) fn unsummed(&self) -> &[u8] {
        self.frame.get(..self.frame.len() - SUM_LENGTH).unwrap_or_default()
    }

    /// What is wrong with an answer whose end is known and which bears no check sum.
    pub(crate) fn fault(&self, answer: &[u8]) -> Option<&'static str> {
        let [unit, function, ..] = *answer else { return Some("an answer without a function") };
        let whole = answer.len() + SUM_LENGTH;
        if unit != self.unit() {
            Some("an answer of another unit")
        } else if function & 0x7F != self.function() {
            Some("an answer to another function")
        } else if length(answer) != Some(whole) {
            Some("a malformed answer")
        } else if function < 0x80 && self.answer.is_some_and(|expected| expected != whole) {
            Some("an answer of another length")
        } else {
            None
        }
    }

    /// Makes something of what came back. What follows an answer is left alone: lines that change
    /// direction may add a byte.
    pub(crate) fn see(&self, bytes: &[u8]) -> Seen {
        let [unit, function, ..] = *bytes else { return Seen::Part };
        if unit != self.unit() {
            return stray(unit, bytes);
        }
        if function != self.function() && function != self.function() | 0x80 {
            return Seen::Nonsense("an answer to another function");
        }
        let Some(length) = length(bytes) else { return Seen::Part };
        if function < 0x80 && self.answer.is_some_and(|expected| expected != length) {
            return Seen::Nonsense("an answer of another length");
        }
        let Some(frame) = bytes.get(..length) else { return Seen::Part };
        if !is_whole(frame) {
            return Seen::Nonsense("an answer whose check sum is wrong");
        }
        Seen::Answer(frame.get(1..length - SUM_LENGTH).unwrap_or_default().to_vec())
    }
}

/// What another unit says may be an answer that is late. It is no answer to this question.
fn stray(unit: u8, bytes: &[u8]) -> Seen {
    let Some(length) = length(bytes) else { return Seen::Part };
    match bytes.get(..length) {
        None => Seen::Part,
        Some(frame) if is_whole(frame) => Seen::Stray { unit, length },
        Some(_) => Seen::Nonsense("bytes that are no frame"),
    }
}

/// The check sum as it is sent.
pub(crate) fn sum(bytes: &[u8]) -> [u8; SUM_LENGTH] {
    SUM.checksum(bytes).to_le_bytes()
}

/// True when the bytes end with their check sum.
pub(crate) fn is_whole(frame: &[u8]) -> bool {
    frame.split_last_chunk().is_some_and(|(content, last)| sum(content) == *last)
}

/// The length of the answer that begins like this; none while that cannot be told. A function
/// that nobody knows ends where an exception would.
fn length(bytes: &[u8]) -> Option<usize> {
    let byte = |at: usize| bytes.get(at).map(|byte| usize::from(*byte));
    match *bytes.get(1)? {
        1..=4 => Some(3 + byte(2)? + SUM_LENGTH),
        5 | 6 | 0x0F | 0x10 => Some(8),
        ENCAPSULATED => {
            // Unit, function, kind, code, conformity, more, next, and how many objects follow.
            let mut end = 8;
            for _ in 0..byte(7)? {
                end += 2 + byte(end + 1)?;
            }
            Some(end + SUM_LENGTH)
        }
        _ => Some(EXCEPTION_LENGTH),
    }
}

#[cfg(test)]
mod tests;
