//! The one way from the web to the site task.

use std::sync::Arc;

use stencilward_domain::asked::RequestKey;
use stencilward_domain::event::Position;
use stencilward_domain::site::{Correction, Reply, Request, Site};
use stencilward_domain::time::Timestamp;
use tokio::sync::{mpsc, oneshot};

/// A look at the site, run by the site task between two signals.
pub type Look = Box<dyn FnOnce(&Site, Timestamp) + Send>;

/// A look at the site from which a request may follow, before anything else happens there.
pub type LookAndAsk = Box<dyn FnOnce(&Site, Timestamp) -> Option<Request> + Send>;

/// What the web wants of the site task.
pub enum Visit {
    /// A person's request; the reply comes once what follows from it is durable.
    Ask {
        /// What is asked for.
        request: Request,
        /// The key that it bears.
        key: Option<RequestKey>,
        /// Where the reply goes.
        reply: oneshot::Sender<Reply>,
    },
    /// A look at the state.
    Look(Look),
    /// A look at the state, and the request that follows from it, if one does.
    AskAfter {
        /// The look.
        look: LookAndAsk,
        /// The key that the request bears.
        key: Option<RequestKey>,
        /// Where the reply goes; dropped when nothing is asked for.
        reply: oneshot::Sender<Reply>,
    },
    /// A person's correction of an event in the ledger.
    Correct {
        /// Which event.
        of: Position,
        /// What was wrong with it.
        correction: Correction,
        /// The key that the request bears.
        key: Option<RequestKey>,
        /// Where the reply goes.
        reply: oneshot::Sender<Reply>,
    },
}

/// The site task does not answer: the gateway is stopping, or its ledger takes no writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the gateway is stopping and answers no more")]
pub struct Unavailable;

/// A handle on the site task.
#[derive(Debug, Clone)]
pub struct SiteHandle {
    visits: mpsc::Sender<Visit>,
    key: Option<RequestKey>,
}

impl SiteHandle {
    /// A handle through which at most `capacity` visits wait, and its far end.
    #[must_use]
    pub fn bounded(capacity: usize) -> (Self, mpsc::Receiver<Visit>) {
        let (sender, receiver) = mpsc::channel(capacity);
        (Self { visits: sender, key: None }, receiver)
    }

    /// A handle through which all that is asked bears this key.
    #[must_use]
    pub fn bearing(&self, key: Option<RequestKey>) -> Self {
        Self { visits: self.visits.clone(), key }
    }

    /// Puts a request to the site.
    ///
    /// # Errors
    /// [`Unavailable`] when the site task is gone; the request may or may not have been carried
    /// out.
    pub async fn ask(&self, request: Request) -> Result<Reply, Unavailable> {
        let (reply, answer) = oneshot::channel();
        let key = self.key.clone();
        self.visits.send(Visit::Ask { request, key, reply }).await.map_err(|_| Unavailable)?;
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
        self.visits.send(Visit::Look(look)).await.map_err(|_| Unavailable)?;
        shown.await.map_err(|_| Unavailable)
    }

    /// Looks at the site and asks what follows from that, with nothing in between. Gives what was
    /// seen, and the reply where something was asked.
    ///
    /// # Errors
    /// [`Unavailable`] as for [`Self::ask`].
    pub async fn ask_after<T, F>(&self, look: F) -> Result<(T, Option<Reply>), Unavailable>
    where
        T: Send + 'static,
        F: FnOnce(&Site, Timestamp) -> (T, Option<Request>) + Send + 'static,
    {
        let (show, shown) = oneshot::channel();
        let (reply, answer) = oneshot::channel();
        let look: LookAndAsk = Box::new(move |site, now| {
            let (seen, request) = look(site, now);
            // The caller may have gone away meanwhile: then nothing is done for it.
            show.send((seen, request.is_some())).ok().and(request)
        });
        let key = self.key.clone();
        self.visits.send(Visit::AskAfter { look, key, reply }).await.map_err(|_| Unavailable)?;
        let (seen, asked) = shown.await.map_err(|_| Unavailable)?;
        let reply = if asked { Some(answer.await.map_err(|_| Unavailable)?) } else { None };
        Ok((seen, reply))
    }

    /// Puts a request to the site, unless one that bore this key was carried out before: then that
    /// one is answered again, with the last event that followed from it.
    ///
    /// # Errors
    /// [`Unavailable`] as for [`Self::ask`].
    pub async fn ask_once(&self, request: Request, key: RequestKey) -> Result<Reply, Unavailable> {
        let name = Arc::clone(&key.name);
        let once = move |site: &Site, _| {
            let before = site.state().asked.with(&name).map(|carried| Reply::Done(carried.event));
            let request = before.is_none().then_some(request);
            (before, request)
        };
        let (before, reply) = self.bearing(Some(key)).ask_after(once).await?;
        before.or(reply).ok_or(Unavailable)
    }

    /// Corrects an event.
    ///
    /// # Errors
    /// [`Unavailable`] as for [`Self::ask`].
    pub async fn correct(
        &self,
        of: Position,
        correction: Correction,
    ) -> Result<Reply, Unavailable> {
        let (reply, answer) = oneshot::channel();
        let visit = Visit::Correct { of, correction, key: self.key.clone(), reply };
        self.visits.send(visit).await.map_err(|_| Unavailable)?;
        answer.await.map_err(|_| Unavailable)
    }
}
