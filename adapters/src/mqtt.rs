//! MQTT 3.1.1 through a broker.
//!
//! Two connections, because acknowledgements wait while the publishing window is full: `consume`
//! takes in, with a persistent session and acknowledgement after durability; `outbox` publishes.

mod acknowledge;
mod check;
mod consume;
mod decode;
mod encode;
mod link;
mod listen;
mod machine;
mod notices;
mod order;
mod outbox;
mod outputs;
mod own_links;
mod payload;
mod record;
mod router;
mod settings;
mod topic;
mod words;

pub use link::Link;
pub use machine::Machine;
pub use record::Received;
pub(crate) use record::again;
pub use router::{Reading, Router};
pub use settings::{Broker, Measures, Message, Output, Publish, Settings, Signal};
