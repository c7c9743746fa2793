//! A block: some thousand events one behind the other, as the bytes that go into their hashes,
//! compressed with zlib (RFC 1950).
//!
//! The bytes are those of [`crate::chain`] without the previous hash. The hashes are not kept:
//! they follow from the one before the block, and the last one is compared.

use std::io::{self, Read, Write};

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;

use crate::chain::{Hash, Link};
use crate::contract::Row;

/// How a part is cut.
#[derive(Debug, Clone, Copy)]
pub(in crate::sqlite) struct Sizes {
    /// Events in a block at the most.
    pub(in crate::sqlite) block: usize,
    /// Events in a part at the most.
    pub(in crate::sqlite) part: u64,
}

impl Default for Sizes {
    fn default() -> Self {
        Self { block: 1_000, part: 1_000_000 }
    }
}

/// Bytes at which a block takes no further event.
const LARGE: usize = 1 << 20;

/// Bytes that a block can hold: more are a damage, and are not read.
const LARGEST: u64 = 1 << 28;

/// A block in the making.
#[derive(Debug, Default)]
pub(super) struct Filling {
    bytes: Vec<u8>,
    events: usize,
}

impl Filling {
    pub(super) fn is_full(&self, sizes: Sizes) -> bool {
        self.events >= sizes.block || self.bytes.len() >= LARGE
    }

    pub(super) fn is_empty(&self) -> bool {
        self.events == 0
    }

    pub(super) fn add(&mut self, link: &Link<'_>) {
        link.write(|part| self.bytes.extend_from_slice(part));
        self.events += 1;
    }

    /// What was filled in, compressed; empty again.
    pub(super) fn take(&mut self) -> io::Result<Vec<u8>> {
        let room = Vec::with_capacity(self.bytes.len() / 4);
        let mut encoder = ZlibEncoder::new(room, Compression::default());
        encoder.write_all(&self.bytes)?;
        self.bytes.clear();
        self.events = 0;
        encoder.finish()
    }
}

/// The events of a block that begins at `first` after the hash `before`; none when the bytes are
/// not those of a block.
pub(super) fn unpack(compressed: &[u8], first: u64, mut before: Hash) -> Option<Vec<Row>> {
    let mut bytes = Vec::with_capacity(compressed.len().saturating_mul(8));
    ZlibDecoder::new(compressed).take(LARGEST).read_to_end(&mut bytes).ok()?;
    let (mut left, mut rows) = (bytes.as_slice(), Vec::new());
    while !left.is_empty() {
        let link = Link::read(&mut left)?;
        if link.position != first.checked_add(rows.len() as u64)? {
            return None;
        }
        before = link.hash(&before);
        rows.push(Row {
            position: link.position,
            stream: link.stream.to_vec(),
            version: link.version,
            batch: link.batch.to_vec(),
            body: link.body.to_vec(),
            hash: before.to_vec(),
        });
    }
    Some(rows)
}
