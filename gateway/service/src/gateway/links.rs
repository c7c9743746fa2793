//! The links that run: each by itself, so that one can end or begin without the others.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use stencilward_adapters::link::Floor;
use stencilward_adapters::shown::View;
use stencilward_config::Wire;
use stencilward_domain::names::MachineName;
use stencilward_web::LinksAfter;
use tokio::task::{JoinHandle, spawn_blocking};
use tokio_util::sync::CancellationToken;
use tokio_util::task::{AbortOnDropHandle, TaskTracker};

/// Time given to a link to refuse its outputs and end, when it begins anew or is taken out.
const ENDING: Duration = Duration::from_secs(5);

/// The links that run, and what new ones are given to work with.
pub(super) struct Links {
    floor: Floor,
    view: View,
    tasks: TaskTracker,
    running: Vec<Running>,
}

struct Running {
    wire: Wire,
    stop: CancellationToken,
    task: AbortOnDropHandle<()>,
    /// What writes its recordings; each ends after the link, once all is written.
    writers: Vec<JoinHandle<()>>,
}

impl Links {
    /// One for each of these wires. Each that begins is also one of `tasks`.
    pub(super) fn of(wires: Vec<Wire>, floor: Floor, view: View, tasks: TaskTracker) -> Self {
        let mut links = Self { floor, view, tasks, running: Vec::new() };
        links.begin(wires);
        links
    }

    pub(super) fn begin(&mut self, wires: impl IntoIterator<Item = Wire>) {
        for wire in wires {
            let stop = self.floor.stop.child_token();
            let (observer, writers) = wire.recorder(Arc::clone(&self.floor.observer));
            let floor = Floor { stop: stop.clone(), observer, ..self.floor.clone() };
            let task = self.tasks.spawn(wire.clone().link(&self.view).run(floor));
            let task = AbortOnDropHandle::new(task);
            let writers = writers.into_iter().map(|writer| spawn_blocking(|| writer.run()));
            self.running.push(Running { wire, stop, task, writers: writers.collect() });
        }
    }

    /// Those of these wires that have no link yet.
    pub(super) fn missing(&self, wires: &[Wire]) -> Vec<Wire> {
        let runs = |wire: &&Wire| self.running.iter().any(|running| running.wire == **wire);
        wires.iter().filter(|wire| !runs(wire)).cloned().collect()
    }

    /// What becomes of the links when these wires shall have one each.
    pub(super) fn outlook(&self, wires: &[Wire]) -> LinksAfter {
        let names = |wires: Vec<Wire>| {
            let mut names: Vec<String> = wires.iter().map(Wire::name).collect();
            names.sort();
            names
        };
        let running = self.running.iter().map(|running| running.wire.clone());
        let (kept, ended) = running.partition(|wire| wires.contains(wire));
        LinksAfter { kept: names(kept), begun: names(self.missing(wires)), ended: names(ended) }
    }

    /// Ends every link but those of these wires, and gives the machines they were to.
    pub(super) async fn end_all_but(&mut self, wires: &[Wire]) -> BTreeSet<MachineName> {
        let all = std::mem::take(&mut self.running);
        let (kept, ended): (Vec<_>, Vec<_>) =
            all.into_iter().partition(|running| wires.contains(&running.wire));
        self.running = kept;
        ended.iter().for_each(|running| running.stop.cancel());
        let deadline = tokio::time::Instant::now() + ENDING;
        let mut machines = BTreeSet::new();
        for Running { wire, task, writers, .. } in ended {
            machines.extend(wire.machines());
            // Dropped at the deadline, it is aborted; its machine locks by the heartbeat.
            if tokio::time::timeout_at(deadline, task).await.is_err() {
                tracing::warn!(link = wire.name(), "did not end in time: its outputs may permit");
            }
            for writer in writers {
                if tokio::time::timeout_at(deadline, writer).await.is_err() {
                    tracing::warn!(link = wire.name(), "its recording is still being written");
                }
            }
        }
        machines
    }

    /// Waits until all have ended.
    pub(super) async fn ended(self) {
        for running in self.running {
            // One that broke has ended, too.
            let _ = running.task.await;
            for writer in running.writers {
                let _ = writer.await;
            }
        }
    }
}
