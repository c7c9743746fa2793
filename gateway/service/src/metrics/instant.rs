//! What is looked up at each scrape: the clock, the process, and the ledger's disk.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::SystemTime;

use procfs::process::Process;
use stencilward_web::Readiness;

use super::families::Families;

/// Where to look.
pub(crate) struct Look {
    pub(crate) readiness: Arc<Readiness>,
    /// The ledger's file.
    pub(crate) ledger: PathBuf,
}

impl Look {
    #[allow(clippy::cast_precision_loss)]
    pub(super) fn show(&self, families: &Families) {
        families.time.set(seconds(SystemTime::now()));
        families.ready.set(i64::from(self.readiness.trouble().is_none()));
        if let Some(size) = self.size() {
            families.ledger_size.set(size);
        }
        if let Some(free) = self.free() {
            families.ledger_free.set(free);
        }
        // Where the system tells nothing of processes they stay at zero.
        if let Ok(process) = Process::myself() {
            if let Ok(memory) = process.statm() {
                let bytes = memory.resident.saturating_mul(procfs::page_size());
                families.process_memory.set(bytes as f64);
            }
            if let Ok(files) = process.fd_count() {
                families.process_files.set(files as f64);
            }
        }
    }

    /// The ledger's files together: the engine keeps what is fresh in one beside it.
    fn size(&self) -> Option<i64> {
        let beside = |end: &str| {
            let mut name = self.ledger.clone().into_os_string();
            name.push(end);
            std::fs::metadata(name).map_or(0, |file| file.len())
        };
        let own = std::fs::metadata(&self.ledger).ok()?.len();
        i64::try_from(own + beside("-wal")).ok()
    }

    fn free(&self) -> Option<i64> {
        let folder = self.ledger.parent().filter(|folder| !folder.as_os_str().is_empty());
        let disk = rustix::fs::statvfs(folder.unwrap_or(".".as_ref())).ok()?;
        i64::try_from(disk.f_bavail.saturating_mul(disk.f_frsize)).ok()
    }
}

/// Seconds since 1970.
pub(super) fn seconds(at: SystemTime) -> f64 {
    at.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default().as_secs_f64()
}
