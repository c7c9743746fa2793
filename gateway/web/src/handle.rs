//! The one way from the web to the site task.

use stencilward_domain::site::{Reply, Request, Site};
use stencilward_domain::time::Timestamp;
use tokio::sync::{mpsc, oneshot};

/// A look at the site, run by the site task between two signals.
pub type Look = Box<dyn FnOnce(&Site, Timestamp) + Send>;

/// What the web wants of the site task.
pub enum Visit {
    /// A person's request; the reply comes once what follows from it is durable.
    Ask {
        /// What is asked for.
        request: Request,
        /// Where the reply goes.
        reply: oneshot::Sender<Reply>,
    },
    /// A look at the state.
    Look(Look),
}

/// The site task does not answer: the gateway is stopping, or its ledger takes no writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the gateway is stopping and answers no more")]
pub struct Unavailable;

/// A handle on the site task.
#[derive(Debug, Clone)]
pub struct SiteHandle(mpsc::Sender<Visit>);

impl SiteHandle {
    /// A handle through which at most `capacity` visits wait, and its far end.
    #[must_use]
    pub fn bounded(capacity: usize) -> (Self, mpsc::Receiver<Visit>) {
        let (sender, receiver) = mpsc::channel(capacity);
        (Self(sender), receiver)
    }

    /// Puts a request to the site.
    ///
    /// # Errors
    /// [`Unavailable`] when the site task is gone; the request may or may not have been carried
    /// out.
    pub async fn ask(&self, request: Request) -> Result<Reply, Unavailable> {
        let (reply, answer) = oneshot::channel();
        self.0.send(Visit::Ask { request, reply }).await.map_err(|_| Unavailable)?;
        answer.await.map_err(|_| Unavailable)
    }

    /// Looks at the site as it is.
    ///
    /// # Errors
    /// [`Unavailable`] when the site task is gone.
    pub async fn look<T, F>(&self, look: F) -> Result<T, Unavailable>
    where
        T: Send + 'static,
        F: FnOnce(&Site, Timestamp) -> T + Send + 'static,
    {
        let (show, shown) = oneshot::channel();
        let look: Look = Box::new(move |site, now| {
            // The caller may have gone away meanwhile: then nobody needs what was seen.
            let _ = show.send(look(site, now));
        });
        self.0.send(Visit::Look(look)).await.map_err(|_| Unavailable)?;
        shown.await.map_err(|_| Unavailable)
    }
}
