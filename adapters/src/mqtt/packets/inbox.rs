//! From bytes to packets. A message that is too large is read past, not into memory: its topic
//! and its id are kept, so that it can be told and acknowledged like any other.

use bytes::{Buf as _, Bytes, BytesMut};

use super::super::settings::Version;
use super::{Arrived, Incoming, Malformed, Token};

/// Longest packet that is no message; the longest are the answers to subscriptions.
const LONGEST_OTHER: usize = 1 << 20;

/// Room for what is read at once, in bytes.
const READ: usize = 64 * 1024;

/// What has arrived and is not read yet.
#[derive(Debug)]
pub(in crate::mqtt) struct Inbox {
    version: Version,
    /// Largest packet taken, in bytes after its length.
    largest: usize,
    bytes: BytesMut,
    /// What is left of a message that is too large.
    passing: usize,
}

impl Inbox {
    pub(in crate::mqtt) fn new(version: Version, largest: usize) -> Self {
        Self { version, largest, bytes: BytesMut::new(), passing: 0 }
    }

    /// Where bytes from the network go.
    pub(in crate::mqtt) fn buffer(&mut self) -> &mut BytesMut {
        // What was read before may hold the buffer still: a new one for each message would be too
        // much of it.
        if self.bytes.capacity() - self.bytes.len() < READ / 8 {
            self.bytes.reserve(READ);
        }
        &mut self.bytes
    }

    /// The next packet; none while more bytes are needed.
    pub(in crate::mqtt) fn next(&mut self) -> Result<Option<Incoming>, Malformed> {
        let passed = self.passing.min(self.bytes.len());
        self.bytes.advance(passed);
        self.passing -= passed;
        if self.passing > 0 {
            return Ok(None);
        }
        let Some(header) = Header::read(&self.bytes)? else {
            return Ok(None);
        };
        if header.length > self.largest && header.is_message() {
            return self.pass(header);
        }
        if header.length > LONGEST_OTHER.max(self.largest) {
            return Err(Malformed(format!("a packet of {} bytes", header.length)));
        }
        if self.bytes.len() < header.whole() {
            return Ok(None);
        }
        let frame = self.bytes.split_to(header.whole());
        self.version.read(frame).map(Some)
    }

    /// Keeps the beginning of a message, and throws the rest away as it comes.
    fn pass(&mut self, header: Header) -> Result<Option<Incoming>, Malformed> {
        let Some(rest) = self.bytes.get(header.size..) else {
            return Ok(None);
        };
        let [high, low, ..] = rest else {
            return Ok(None);
        };
        let topic = usize::from(u16::from_be_bytes([*high, *low]));
        let qos = (header.first >> 1) & 3;
        let begins = 2 + topic + if qos == 0 { 0 } else { 2 };
        if begins > header.length || qos == 3 {
            return Err(Malformed("a message that ends within its topic".to_owned()));
        }
        let Some(begin) = rest.get(..begins) else {
            return Ok(None);
        };
        let name = begin.get(2..2 + topic).unwrap_or_default();
        let topic = std::str::from_utf8(name)
            .map_err(|_| Malformed("a topic that is no UTF-8".to_owned()))?
            .to_owned();
        let id = match begin.get(2 + name.len()..) {
            Some([high, low]) => u16::from_be_bytes([*high, *low]),
            _ => 0,
        };
        if qos > 0 && id == 0 {
            return Err(Malformed("a packet id of zero".to_owned()));
        }
        self.bytes.advance(header.size + begins);
        self.passing = header.length - begins;
        Ok(Some(Incoming::Message(Arrived {
            topic,
            payload: Bytes::new(),
            stored: header.first & 1 == 1,
            again: header.first & 8 == 8,
            token: Token { qos, id },
            correlation: None,
            too_large: Some(header.whole()),
        })))
    }
}

/// MQTT 3.1.1 and 5.0, 2.1.1 and 2.2: the first byte, and the length of what follows in up to
/// four more.
#[derive(Clone, Copy)]
struct Header {
    first: u8,
    size: usize,
    length: usize,
}

impl Header {
    fn read(bytes: &[u8]) -> Result<Option<Self>, Malformed> {
        let Some((first, rest)) = bytes.split_first() else {
            return Ok(None);
        };
        let mut length = 0;
        for (at, byte) in rest.iter().take(4).enumerate() {
            length |= usize::from(byte & 0x7f) << (7 * at);
            if byte & 0x80 == 0 {
                return Ok(Some(Self { first: *first, size: at + 2, length }));
            }
        }
        if rest.len() >= 4 {
            return Err(Malformed("a length of more than four bytes".to_owned()));
        }
        Ok(None)
    }

    fn is_message(self) -> bool {
        self.first >> 4 == 3
    }

    fn whole(self) -> usize {
        self.size + self.length
    }
}
