//! The ledger's events as a list, to look at elsewhere.

use std::io::{self, Write};

use serde::Serialize;
use stencilward_domain::event::Position;

use crate::Form;

/// An event as the ledger keeps it: all that goes into its hash, beside the hash before it.
#[derive(Debug, Clone, Copy)]
pub struct Kept<'e> {
    /// Its place.
    pub position: Position,
    /// Its stream.
    pub stream: &'e str,
    /// The stream's version after it.
    pub version: u64,
    /// The batch it came in.
    pub batch: &'e [u8],
    /// Its hash.
    pub hash: &'e [u8],
    /// Its body, as stored.
    pub body: &'e str,
}

/// Writes events one by one.
pub struct Writer<W: Write>(Way<W>);

enum Way<W: Write> {
    Csv(Box<csv::Writer<W>>),
    Lines(W),
}

#[derive(Serialize)]
struct Before<'e> {
    position: Position,
    stream: &'e str,
    version: u64,
    batch: &'e str,
    hash: &'e str,
}

impl<W: Write> Writer<W> {
    /// Begins a list; one of CSV names its columns.
    ///
    /// # Errors
    /// As `out` has them.
    pub fn begin(form: Form, out: W) -> io::Result<Self> {
        Ok(Self(match form {
            Form::JsonLines => Way::Lines(out),
            Form::Csv => {
                let mut builder = csv::WriterBuilder::new();
                let mut writer = builder.terminator(csv::Terminator::CRLF).from_writer(out);
                writer.write_record(["position", "stream", "version", "batch", "hash", "body"])?;
                Way::Csv(Box::new(writer))
            }
        }))
    }

    /// Adds an event. In JSON lines its body follows under `fact`, byte by byte as it is stored.
    ///
    /// # Errors
    /// As the output has them.
    pub fn add(&mut self, kept: &Kept<'_>) -> io::Result<()> {
        let (batch, hash) = (hex(kept.batch), hex(kept.hash));
        let (position, stream, version) = (kept.position, kept.stream, kept.version);
        match &mut self.0 {
            Way::Csv(writer) => {
                let (position, version) = (position.0.to_string(), version.to_string());
                let record = [&position, stream, &version, &batch, &hash, kept.body];
                Ok(writer.write_record(record)?)
            }
            Way::Lines(out) => {
                let before = Before { position, stream, version, batch: &batch, hash: &hash };
                let before = serde_json::to_string(&before)?;
                writeln!(out, "{},\"fact\":{}}}", before.trim_end_matches('}'), kept.body)
            }
        }
    }

    /// Hands over what is still held back.
    ///
    /// # Errors
    /// As the output has them.
    pub fn end(self) -> io::Result<()> {
        match self.0 {
            Way::Csv(mut writer) => writer.flush(),
            Way::Lines(mut out) => out.flush(),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
