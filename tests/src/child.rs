//! A program under test or a peer: started, listened to, and surely ended.
//!
//! It runs in a process group of its own, ends with its [`Child`], and also when the test program
//! is killed, where the system has `setpriv` (Debian package util-linux).

mod spawn;

use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Command, ExitStatus};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

pub use rustix::process::Signal;
use rustix::process::{Pid, WaitId, WaitIdOptions, kill_process_group, waitid};
use spawn::spawn;

use crate::wait::eventually;

/// How long a program may take to end by itself once asked.
const GRACE: Duration = Duration::from_secs(5);

/// A running program. Dropping it ends it.
#[derive(Debug)]
pub struct Child {
    name: String,
    process: std::process::Child,
    group: Pid,
    said: Arc<Mutex<Vec<String>>>,
    read: usize,
    readers: Vec<JoinHandle<()>>,
    status: Option<ExitStatus>,
}

impl Child {
    /// Starts it and keeps each line it writes, to either output.
    ///
    /// Of `command` the program, arguments, folder and added variables count.
    ///
    /// # Panics
    /// When it cannot be started.
    #[must_use]
    pub fn start(command: &Command) -> Self {
        let name = command.get_program().to_string_lossy().into_owned();
        let mut process =
            spawn(command).unwrap_or_else(|why| panic!("{name} cannot be started: {why}"));
        let said = Arc::new(Mutex::new(Vec::new()));
        let readers =
            [collect(process.stdout.take(), &said), collect(process.stderr.take(), &said)];
        let readers = readers.into_iter().flatten().collect();
        let group = Pid::from_child(&process);
        Self { name, group, process, said, read: 0, readers, status: None }
    }

    /// Its process id.
    #[must_use]
    pub fn id(&self) -> u32 {
        self.process.id()
    }

    /// Writes one line to its input.
    ///
    /// # Panics
    /// When it no longer reads.
    pub fn tell(&mut self, line: &str) {
        let Some(input) = self.process.stdin.as_mut() else {
            panic!("the input of {} is closed", self.name);
        };
        let written = writeln!(input, "{line}").and_then(|()| input.flush());
        if let Err(why) = written {
            panic!("{} does not read: {why}\n{}", self.name, self.transcript());
        }
    }

    /// Ends its input.
    pub fn close_input(&mut self) {
        self.process.stdin = None;
    }

    /// The first line, after those already returned by this function, of which `pick` makes
    /// something.
    ///
    /// # Panics
    /// When `limit` passes, or the program ends, without such a line.
    pub async fn line<T>(
        &mut self,
        what: &str,
        limit: Duration,
        mut pick: impl FnMut(&str) -> Option<T>,
    ) -> T {
        let what = format!("{} says {what}", self.name);
        eventually(&what, limit, async || {
            let over = self.ended() && self.all_read();
            match self.next(&mut pick) {
                Some(value) => Ok(value),
                None if over => panic!("it ended before {what}\n{}", self.transcript()),
                None => Err(format!("\n{}", self.transcript())),
            }
        })
        .await
    }

    fn next<T>(&mut self, mut pick: impl FnMut(&str) -> Option<T>) -> Option<T> {
        let said = self.said.lock().unwrap_or_else(PoisonError::into_inner);
        let fresh = said.iter().enumerate().skip(self.read);
        let (at, value) = fresh.filter_map(|(at, line)| Some((at, pick(line)?))).next()?;
        self.read = at + 1;
        Some(value)
    }

    /// All it wrote until now.
    #[must_use]
    pub fn transcript(&self) -> String {
        let said = self.said.lock().unwrap_or_else(PoisonError::into_inner);
        said.join("\n")
    }

    /// Sends a signal to it and what it started: `TERM` asks it to end, `STOP` freezes it,
    /// `CONT` lets it go on.
    ///
    /// # Panics
    /// When it has ended.
    pub fn signal(&self, signal: Signal) {
        assert!(self.status.is_none(), "{} has ended", self.name);
        if let Err(why) = kill_process_group(self.group, signal) {
            panic!("{} takes no signal: {why}", self.name);
        }
    }

    /// Kills it and what it started without a warning, as a power cut would.
    pub fn kill(&mut self) -> ExitStatus {
        self.finish(Duration::ZERO)
    }

    /// Asks it to end, and kills it when it does not within a few seconds.
    pub fn stop(&mut self) -> ExitStatus {
        if self.status.is_none() {
            kill_process_group(self.group, Signal::TERM).ok();
            // A frozen one can only end once it goes on.
            kill_process_group(self.group, Signal::CONT).ok();
        }
        self.finish(GRACE)
    }

    /// Waits until it ends by itself.
    ///
    /// # Panics
    /// When it does not within `limit`.
    pub async fn exit(&mut self, limit: Duration) -> ExitStatus {
        let what = format!("{} ends", self.name);
        eventually(&what, limit, async || {
            if self.ended() { Ok(()) } else { Err(format!("\n{}", self.transcript())) }
        })
        .await;
        self.finish(Duration::ZERO)
    }

    /// True once it has ended by itself or was ended.
    #[must_use]
    pub fn ended(&self) -> bool {
        // Not reaped here: while it is not, its group cannot become another program's.
        let look = WaitIdOptions::EXITED | WaitIdOptions::NOHANG | WaitIdOptions::NOWAIT;
        self.status.is_some() || !matches!(waitid(WaitId::Pid(self.group), look), Ok(None))
    }

    /// True once all that it wrote is in the transcript. Who outlives it with its outputs keeps
    /// this from becoming true.
    fn all_read(&self) -> bool {
        self.readers.iter().all(JoinHandle::is_finished)
    }

    /// Waits up to `grace` for its end, then kills what is left of its group.
    fn finish(&mut self, grace: Duration) -> ExitStatus {
        if let Some(status) = self.status {
            return status;
        }
        let start = Instant::now();
        while !self.ended() && start.elapsed() < grace {
            std::thread::sleep(Duration::from_millis(5));
        }
        kill_process_group(self.group, Signal::KILL).ok();
        match self.process.wait() {
            Ok(status) => {
                let start = Instant::now();
                while !self.all_read() && start.elapsed() < GRACE {
                    std::thread::sleep(Duration::from_millis(1));
                }
                *self.status.insert(status)
            }
            Err(why) => panic!("{} cannot be waited for: {why}", self.name),
        }
    }
}

impl Drop for Child {
    fn drop(&mut self) {
        if self.status.is_none() {
            self.stop();
        }
    }
}

fn collect(
    output: Option<impl Read + Send + 'static>,
    said: &Arc<Mutex<Vec<String>>>,
) -> Option<JoinHandle<()>> {
    let (output, said) = (output?, Arc::clone(said));
    Some(std::thread::spawn(move || {
        for line in BufReader::new(output).split(b'\n').map_while(Result::ok) {
            let line = String::from_utf8_lossy(&line).into_owned();
            said.lock().unwrap_or_else(PoisonError::into_inner).push(line);
        }
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: Duration = Duration::from_secs(10);

    fn shell(script: &str) -> Child {
        let mut command = Command::new("sh");
        command.args(["-c", script]);
        Child::start(&command)
    }

    #[tokio::test]
    async fn is_told_and_heard() {
        let mut cat = Child::start(&Command::new("cat"));
        cat.tell("one");
        cat.tell("two");
        let heard = cat.line("two", LIMIT, |line| (line == "two").then_some(line.len()));
        assert_eq!(heard.await, 3);
        assert_eq!(cat.transcript(), "one\ntwo");
        cat.close_input();
        assert!(cat.exit(LIMIT).await.success());
    }

    #[tokio::test]
    async fn what_it_started_ends_with_it() {
        let mut parent = shell("sleep 600 & echo $!; wait");
        let grandchild: u32 = parent.line("a number", LIMIT, |line| line.parse().ok()).await;
        let folder = std::path::PathBuf::from(format!("/proc/{grandchild}/cwd"));
        assert!(folder.exists(), "the grandchild runs");
        parent.kill();
        eventually("the grandchild is gone", LIMIT, async || {
            if folder.read_link().is_err() { Ok(()) } else { Err("running") }
        })
        .await;
    }

    #[tokio::test]
    async fn one_that_will_not_end_is_killed() {
        let mut stubborn = shell("trap '' TERM; echo ready; while :; do sleep 0.1; done");
        stubborn.line("ready", LIMIT, |line| (line == "ready").then_some(())).await;
        assert!(!stubborn.stop().success());
        assert!(stubborn.ended());
    }

    #[tokio::test]
    #[should_panic(expected = "it ended before")]
    async fn one_that_ends_early_is_not_waited_for() {
        shell("echo sorry").line("hello", LIMIT, |line| (line == "hello").then_some(())).await;
    }
}
