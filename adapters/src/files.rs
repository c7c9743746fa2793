//! Orders by file drop: a folder whose CSV and JSON lines files release orders.
//!
//! A file is taken in whole or not at all. It lies where it was dropped until its orders are
//! durable, and only then is it moved; its name, its time and its content identify it, so that a
//! crash in between changes nothing.

mod decode;
mod folder;
mod link;
mod machine;
mod record;
mod settings;
mod watch;

pub use folder::LARGEST_FILE;
pub use link::Link;
pub use machine::Machine;
pub use record::Dropped;
pub(crate) use record::again;
pub use settings::Settings;
