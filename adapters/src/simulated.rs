//! The other side of a link: a machine made of the same settings, for rehearsal and tests.

use async_trait::async_trait;
use stencilward_domain::names::OutputName;
use stencilward_domain::signal::Said;
use tokio::sync::watch;

/// What a simulated machine could not do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CannotSay {
    /// The settings map no such signal, so a real machine wired like this could not say it.
    #[error("the settings of this machine map no {0}")]
    NotMapped(&'static str),
    /// The protocol's peer is gone.
    #[error("the simulated machine has no connection: {0}")]
    NoConnection(String),
}

/// An answer to a store or take that the machine asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered {
    /// The identity the machine gave its question.
    pub request: Option<String>,
    /// True when it may go ahead.
    pub permitted: bool,
    /// The codes of the reasons against it.
    pub reasons: Vec<String>,
}

/// A machine that says what it is told to say, over its real protocol, and shows its outputs.
#[async_trait]
pub trait Simulated: Send + Sync {
    /// Says it the way the settings describe: sets registers, or publishes messages.
    ///
    /// # Errors
    /// [`CannotSay`] when the settings do not map it or the connection is gone.
    async fn say(&self, said: &Said, identity: Option<&str>) -> Result<(), CannotSay>;

    /// The present state of an output, as the machine sees it; false until first written.
    ///
    /// # Errors
    /// [`CannotSay::NotMapped`] when the settings name no such output.
    fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay>;

    /// The next answer from the gateway; none when this machine never asks.
    async fn answered(&self) -> Option<Answered>;
}
