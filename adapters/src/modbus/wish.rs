//! What the outputs of a machine shall be, as it was last told.

use std::sync::Arc;

use stencilward_domain::outputs::Wanted;
use tokio::sync::watch;

/// What is wanted, kept until it changes: most rounds ask and find it unchanged.
pub(crate) struct Wish {
    told: watch::Receiver<Arc<Wanted>>,
    now: Arc<Wanted>,
    /// Nobody is left to want anything.
    orphaned: bool,
}

impl Wish {
    pub(crate) fn new(mut told: watch::Receiver<Arc<Wanted>>) -> Self {
        let now = Arc::clone(&told.borrow_and_update());
        Self { told, now, orphaned: false }
    }

    /// What is wanted now. When nobody is left to want anything, every permission is taken back.
    pub(crate) fn now(&mut self) -> &Wanted {
        match self.told.has_changed() {
            Ok(false) => {}
            Ok(true) => self.listen(),
            Err(_) => self.refuse(),
        }
        &self.now
    }

    /// Returns when something else is wanted.
    pub(crate) async fn changed(&mut self) {
        match self.told.changed().await {
            Ok(()) => self.listen(),
            Err(_) if self.orphaned => std::future::pending().await,
            Err(_) => self.refuse(),
        }
    }

    fn listen(&mut self) {
        self.now = Arc::clone(&self.told.borrow_and_update());
    }

    fn refuse(&mut self) {
        if !self.orphaned {
            self.orphaned = true;
            let mut refusing = Wanted::clone(&self.told.borrow_and_update());
            refusing.refuse_all();
            self.now = Arc::new(refusing);
        }
    }
}
