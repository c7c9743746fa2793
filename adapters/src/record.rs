//! Recordings: everything that a machine says goes to a file, and can be decoded again.
//!
//! A link hands each raw thing to its machine's [`Tape`] together with what the decoder made of
//! it, and never waits. A [`Writer`] brings it into the file. A [`Player`] puts what was recorded
//! through the decoder of present settings, without a connection and a clock.

mod bytes;
mod line;
mod pen;
mod player;
mod reader;
mod settings;
mod tape;
mod writer;

pub use bytes::Bytes;
pub use line::{Entry, Given, Header, Heard, Line, Raw, Told};
pub use player::{Decodes, Difference, Happened, Player};
pub use reader::{LONGEST_LINE, Read, Reader};
pub use settings::{Settings, Size};
pub use tape::{Recorder, Tape, Tapes};
pub use writer::{About, Writer};

pub(crate) use player::Again;
