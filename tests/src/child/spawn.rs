//! Starting a program so that it cannot outlive the test program.

use std::os::unix::process::CommandExt;
use std::process::{Command, Stdio};
use std::sync::{OnceLock, mpsc};

use crate::missing;

type Job = (Command, mpsc::Sender<std::io::Result<std::process::Child>>);

/// Starts programs from one thread that lives as long as the test program, because the system
/// ends them when the thread that started them is gone.
pub(super) fn spawn(command: &Command) -> std::io::Result<std::process::Child> {
    static SPAWNER: OnceLock<mpsc::Sender<Job>> = OnceLock::new();
    let spawner = SPAWNER.get_or_init(|| {
        let (jobs, inbox) = mpsc::channel::<Job>();
        std::thread::spawn(move || {
            for (mut command, answer) in inbox {
                answer.send(command.spawn()).ok();
            }
        });
        jobs
    });
    let gone = || std::io::Error::other("the starting thread is gone");
    let (answer, started) = mpsc::channel();
    let job = (tied(command), answer);
    spawner.send(job).map_err(|_| gone())?;
    started.recv().map_err(|_| gone())?
}

/// The same command in a group of its own, with pipes, tied to the life of its starter.
fn tied(command: &Command) -> Command {
    let mut tied = match missing::on_path("setpriv") {
        Some(setpriv) => {
            let mut tied = Command::new(setpriv);
            tied.args(["--pdeathsig", "KILL", "--"]);
            tied.arg(command.get_program());
            tied
        }
        None => Command::new(command.get_program()),
    };
    tied.args(command.get_args());
    for (name, value) in command.get_envs() {
        match value {
            Some(value) => tied.env(name, value),
            None => tied.env_remove(name),
        };
    }
    if let Some(folder) = command.get_current_dir() {
        tied.current_dir(folder);
    }
    tied.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).process_group(0);
    tied
}
