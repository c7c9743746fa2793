//! The hash chain that makes an edit visible.
//!
//! The hash of an event is SHA-256 (FIPS 180-4) over these bytes, one after the other:
//!
//! ```text
//! previous hash        32 bytes; 32 zero bytes before the first event
//! position             8 bytes, big-endian
//! length of stream     8 bytes, big-endian, in bytes; then the stream's name in UTF-8
//! version              8 bytes, big-endian
//! batch                16 bytes
//! length of body       8 bytes, big-endian, in bytes; then the body in UTF-8, as stored
//! ```
//!
//! Every part has a fixed length or its length before it, so that no two different events give
//! the same bytes. Whoever can write the file can also recompute every hash after an edit, or cut
//! off the end: only a position and hash noted elsewhere, in a report or with an auditor, show
//! that.

use sha2::{Digest, Sha256};

/// A SHA-256 hash.
pub type Hash = [u8; 32];

/// What stands before the first event.
pub const GENESIS: Hash = [0; 32];

/// What of an event goes into its hash, as bytes that need not make sense.
#[derive(Debug, Clone, Copy)]
pub struct Link<'a> {
    /// Its place.
    pub position: u64,
    /// Its stream, as text.
    pub stream: &'a [u8],
    /// The stream's version after it.
    pub version: u64,
    /// The batch it came in.
    pub batch: &'a [u8],
    /// Its body, as stored.
    pub body: &'a [u8],
}

impl Link<'_> {
    /// The hash of this event after one of hash `previous`.
    #[must_use]
    pub fn hash(&self, previous: &Hash) -> Hash {
        let mut hasher = Sha256::new();
        hasher.update(previous);
        self.write(|part| hasher.update(part));
        hasher.finalize().into()
    }

    /// Gives the bytes that go into the hash after the previous one, part by part.
    pub(crate) fn write(&self, mut to: impl FnMut(&[u8])) {
        let length = |part: &[u8]| (part.len() as u64).to_be_bytes();
        to(&self.position.to_be_bytes());
        to(&length(self.stream));
        to(self.stream);
        to(&self.version.to_be_bytes());
        to(self.batch);
        to(&length(self.body));
        to(self.body);
    }
}

impl<'a> Link<'a> {
    /// Takes one event from the front of `bytes`, which [`Self::write`] gave; none when they do
    /// not hold one.
    pub(crate) fn read(bytes: &mut &'a [u8]) -> Option<Self> {
        Some(Self {
            position: number(bytes)?,
            stream: text(bytes)?,
            version: number(bytes)?,
            batch: bytes.split_off(..BATCH)?,
            body: text(bytes)?,
        })
    }
}

/// Bytes of a batch's name.
const BATCH: usize = 16;

fn number(bytes: &mut &[u8]) -> Option<u64> {
    let taken = bytes.split_off(..size_of::<u64>())?;
    Some(u64::from_be_bytes(taken.try_into().ok()?))
}

fn text<'a>(bytes: &mut &'a [u8]) -> Option<&'a [u8]> {
    let length = usize::try_from(number(bytes)?).ok()?;
    bytes.split_off(..length)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: Link<'_> =
        Link { position: 1, stream: b"site", version: 1, batch: &[7; 16], body: b"{}" };

    fn hex(bytes: &[u8]) -> String {
        bytes.iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// FIPS 180-4, SHA-256, its example of the one-block message "abc" (NIST, Cryptographic
    /// Standards and Guidelines, Examples with Intermediate Values, SHA256).
    #[test]
    fn sha256_of_abc() {
        assert_eq!(
            hex(&Sha256::digest("abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn the_bytes_are_those_of_the_module_doc() {
        let mut bytes = vec![0; 32];
        bytes.extend([0, 0, 0, 0, 0, 0, 0, 1]);
        bytes.extend([0, 0, 0, 0, 0, 0, 0, 4]);
        bytes.extend(b"site");
        bytes.extend([0, 0, 0, 0, 0, 0, 0, 1]);
        bytes.extend([7; 16]);
        bytes.extend([0, 0, 0, 0, 0, 0, 0, 2]);
        bytes.extend(b"{}");
        assert_eq!(hex(&ONE.hash(&GENESIS)), hex(&Sha256::digest(bytes)));
    }

    #[test]
    fn what_is_written_reads_back_and_what_is_cut_does_not() {
        let mut bytes = Vec::new();
        ONE.write(|part| bytes.extend_from_slice(part));
        let mut left = bytes.as_slice();
        let read = Link::read(&mut left).unwrap();
        assert_eq!((read.hash(&GENESIS), left), (ONE.hash(&GENESIS), &[][..]));
        for length in 0..bytes.len() {
            assert!(Link::read(&mut &bytes[..length]).is_none(), "{length} bytes");
        }
        bytes[8..16].fill(0xff);
        assert!(Link::read(&mut bytes.as_slice()).is_none(), "a length beyond all bytes");
    }

    #[test]
    fn every_part_counts() {
        let others = [
            ONE.hash(&[1; 32]),
            Link { position: 2, ..ONE }.hash(&GENESIS),
            Link { version: 2, ..ONE }.hash(&GENESIS),
            Link { batch: &[8; 16], ..ONE }.hash(&GENESIS),
            Link { body: b"{ }", ..ONE }.hash(&GENESIS),
            Link { stream: b"sit", body: b"e{}", ..ONE }.hash(&GENESIS),
        ];
        assert!(others.iter().all(|other| *other != ONE.hash(&GENESIS)));
    }
}
