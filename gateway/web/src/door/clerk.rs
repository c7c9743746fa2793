//! Tells the ledger of people: what was noted, what was changed while nobody listened, and how
//! often signing in was refused.

use std::time::{Duration, Instant};

use stencilward_domain::event::PeopleEvent;
use stencilward_domain::site::Request;
use tokio::time::MissedTickBehavior;

use super::Door;
use crate::handle::{SiteHandle, Unavailable};

/// Time between two looks at the file and at who has gone.
const LOOK: Duration = Duration::from_secs(1);
/// Refusals are told together for so long, so that guessing floods no ledger.
const TOGETHER: Duration = Duration::from_secs(60);

impl Door {
    /// Works until `stop`, then tells what is left to tell. Only one works at a time.
    pub async fn keep(&self, site: SiteHandle, stop: impl Future<Output = ()> + Send) {
        let watch = async {
            let mut look = tokio::time::interval(LOOK);
            look.set_missed_tick_behavior(MissedTickBehavior::Skip);
            loop {
                look.tick().await;
                self.look_after();
            }
        };
        let noted = self.noted.lock().unwrap_or_else(std::sync::PoisonError::into_inner).take();
        let Some(mut notes) = noted else { return };
        let mut stop = std::pin::pin!(stop);
        // What was taken out of the queue is told before anything else is looked at.
        let tell = async {
            let mut look = tokio::time::interval(LOOK);
            look.set_missed_tick_behavior(MissedTickBehavior::Skip);
            loop {
                let told = tokio::select! {
                    () = &mut stop => break,
                    Some(event) = notes.recv() => site.ask(Request::Note(event)).await.map(drop),
                    _ = look.tick() => self.tell_changes(&site).await,
                };
                if told.is_err() {
                    break;
                }
            }
        };
        tokio::select! {
            () = watch => {}
            () = tell => {}
        }
        self.tell_refused(Duration::ZERO);
        while let Ok(event) = notes.try_recv() {
            if site.ask(Request::Note(event)).await.is_err() {
                return;
            }
        }
        self.refresh();
        // What is not told now is told at the next start.
        let _ = self.tell_changes(&site).await;
    }

    fn look_after(&self) {
        self.refresh();
        let gone = {
            let mut inside = self.inside();
            let inside = &mut *inside;
            inside.sessions.sweep(&inside.people, Instant::now())
        };
        self.note_gone(gone);
        self.tell_refused(TOGETHER);
    }

    fn tell_refused(&self, after: Duration) {
        let refused = {
            let mut inside = self.inside();
            if inside.refused_since.is_none_or(|since| since.elapsed() < after) {
                return;
            }
            inside.refused_since = None;
            std::mem::take(&mut inside.refused)
        };
        for (name, count) in refused {
            self.note(PeopleEvent::Refused { name, count });
        }
    }

    /// Tells what the file says the ledger does not know yet. After a crash in between it is told
    /// twice, rather than not at all.
    async fn tell_changes(&self, site: &SiteHandle) -> Result<(), Unavailable> {
        let Some(file) = &self.file else { return Ok(()) };
        let untold = self.inside().people.untold.clone();
        if untold.is_empty() {
            return Ok(());
        }
        let told = untold.len();
        for event in untold {
            site.ask(Request::Note(event)).await?;
        }
        let file = file.clone();
        let struck = tokio::task::spawn_blocking(move || {
            file.change(|people| {
                people.untold.drain(..told.min(people.untold.len()));
                Ok(())
            })
        });
        match struck.await {
            Ok(Ok(())) => self.refresh(),
            Ok(Err(error)) => tracing::error!("people: {error}"),
            Err(_) => tracing::error!("people: the change of the file broke"),
        }
        Ok(())
    }
}
