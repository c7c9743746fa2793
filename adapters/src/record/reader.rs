//! Reads a recording line by line, whatever its bytes.

use std::io::{self, BufRead};

use super::line::{Line, is_header};

/// Longest line that is read, in bytes: more than the largest thing takes when each of its bytes
/// has to be escaped.
pub const LONGEST_LINE: usize = 64 << 20;

/// What a line is.
#[derive(Debug, Clone, PartialEq)]
pub enum Read {
    /// As it should be.
    Line(Line),
    /// Cut off in the middle, as the last one of a process that was killed is.
    Torn,
    /// Not what was written there, and why.
    Damaged(String),
}

/// The lines of a recording, each with its number.
#[derive(Debug)]
pub struct Reader<R> {
    from: R,
    number: usize,
    /// A line that was looked at before its turn.
    next: Option<Raw>,
}

#[derive(Debug)]
enum Raw {
    /// Without its end; true when it had one.
    Whole(Vec<u8>, bool),
    TooLong,
    End,
}

impl<R: BufRead> Reader<R> {
    /// Reads from the beginning.
    pub fn new(from: R) -> Self {
        Self { from, number: 0, next: None }
    }

    fn raw(&mut self) -> io::Result<Raw> {
        let mut line = Vec::new();
        let mut long = false;
        loop {
            let some = match self.from.fill_buf() {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                some => some?,
            };
            if some.is_empty() {
                let nothing = line.is_empty() && !long;
                return Ok(if nothing { Raw::End } else { whole(line, long, false) });
            }
            let end = some.iter().position(|byte| *byte == b'\n');
            let part = some.get(..end.unwrap_or(some.len())).unwrap_or_default();
            let taken = part.len() + usize::from(end.is_some());
            long |= line.len() + part.len() > LONGEST_LINE;
            if !long {
                line.extend_from_slice(part);
            }
            self.from.consume(taken);
            if end.is_some() {
                return Ok(whole(line, long, true));
            }
        }
    }

    fn read(&mut self) -> io::Result<Option<(usize, Read)>> {
        let raw = match self.next.take() {
            Some(raw) => raw,
            None => self.raw()?,
        };
        self.number += 1;
        let read = match raw {
            Raw::End => return Ok(None),
            Raw::TooLong => Read::Damaged(format!("longer than {} MiB", LONGEST_LINE >> 20)),
            Raw::Whole(line, ended) => match Line::read(&line) {
                Ok(line) => Read::Line(line),
                Err(why) => self.torn_or_damaged(ended, why)?,
            },
        };
        Ok(Some((self.number, read)))
    }

    /// A process that was killed leaves half a line: at the end, or before the next part.
    fn torn_or_damaged(&mut self, ended: bool, why: String) -> io::Result<Read> {
        let next = self.raw()?;
        let torn = match &next {
            Raw::End => !ended,
            Raw::Whole(line, _) => is_header(line),
            Raw::TooLong => false,
        };
        self.next = Some(next);
        Ok(if torn { Read::Torn } else { Read::Damaged(why) })
    }
}

impl<R: BufRead> Iterator for Reader<R> {
    type Item = io::Result<(usize, Read)>;

    fn next(&mut self) -> Option<Self::Item> {
        self.read().transpose()
    }
}

fn whole(line: Vec<u8>, long: bool, ended: bool) -> Raw {
    if long { Raw::TooLong } else { Raw::Whole(line, ended) }
}

#[cfg(test)]
mod tests;
