//! Sparkplug B 3.0 (ISO/IEC 20237) over MQTT: edge nodes and their devices as machines, and the
//! gateway as an edge node that shows its stencils.
//!
//! `host` keeps what edge nodes say in order and asks for what is missing; `decode` makes signals
//! of it; `link` is their connection. `edge` makes the messages of an edge node; `own_node` is the
//! gateway's connection as one.

mod check;
mod connection;
mod decode;
mod edge;
mod encode;
mod host;
mod link;
mod machine;
mod outputs;
mod own_node;
mod payload;
mod settings;
mod topic;
mod value;

pub use link::Link;
pub use machine::Machine;
pub use own_node::OwnNodeLink;
pub use payload::{
    MOST_METRICS, Metric as SentMetric, NoPayload, Payload, PropertySet, PropertyValue, Value,
    datatype,
};
pub use settings::{
    AtBroker, Fault, Measured, Metric, Named, Output, OwnNode, Phase, Settings, Slot, State, Total,
    Wash,
};

/// The metric by which a death is matched with its birth (Sparkplug 3.0.0, 6.4.19, 6.4.25).
const BD_SEQ: &str = "bdSeq";
/// The metric by which a birth is asked for (5.17).
const REBIRTH: &str = "Node Control/Rebirth";

/// Now, in milliseconds since 1970.
fn millis() -> u64 {
    u64::try_from(crate::link::now().0).unwrap_or_default()
}
