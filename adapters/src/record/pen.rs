//! Writes whole lines into one file, and never more than it may hold.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, BufRead as _, BufReader, Read as _, Seek as _, SeekFrom, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use stencilward_domain::names::MachineName;

use super::line::{FORMAT, Line};

/// How long a writer that was told to end may still hold the file.
const PATIENCE: Duration = Duration::from_secs(5);

/// Room kept for the line that says why the recording ends.
const LAST_WORDS: u64 = 256;

/// Longest header, in bytes.
const LONGEST_HEADER: u64 = 64 << 10;

/// What lines are written to.
pub(super) trait Paper: Write + Send {
    /// Takes away what stands beyond `length` bytes.
    fn cut(&mut self, length: u64) -> io::Result<()>;
}

impl Paper for File {
    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.set_len(length)
    }
}

/// A file that takes lines.
pub(super) struct Pen<P> {
    paper: P,
    length: u64,
    at_most: u64,
}

/// Why a line was not written.
#[derive(Debug)]
pub(super) enum Unwritten {
    /// The recording is as large as it may become.
    Full,
    /// The file takes no more.
    Failed(io::Error),
}

impl Pen<File> {
    /// Opens the file of a machine's recording, which is made where there is none.
    pub(super) fn open(to: &Path, machine: &MachineName, at_most: u64) -> Result<Self, String> {
        let failed = |error: io::Error| {
            format!(
                "it cannot be opened ({error}): see that its folder is there and may be written to"
            )
        };
        if to.metadata().is_ok_and(|known| !known.is_file()) {
            return Err("it is no file: name another one".to_owned());
        }
        let mut file =
            OpenOptions::new().read(true).append(true).create(true).open(to).map_err(failed)?;
        lock(&file)?;
        let length = file.metadata().map_err(failed)?.len();
        let mut pen = Self { paper: file, length, at_most };
        if length > 0 {
            own(&pen.paper, machine)?;
            file = pen.paper.try_clone().map_err(failed)?;
            if !ends_a_line(&mut file).map_err(failed)? {
                // Half a line of a process that was killed.
                pen.write(b"\n").map_err(|_| "it is full: name another file".to_owned())?;
            }
        }
        Ok(pen)
    }
}

impl<P: Paper> Pen<P> {
    #[cfg(test)]
    pub(super) fn on(paper: P, at_most: u64) -> Self {
        Self { paper, length: 0, at_most }
    }

    /// Writes a line, or nothing of it.
    pub(super) fn write(&mut self, line: &[u8]) -> Result<(), Unwritten> {
        if self.length + line.len() as u64 + LAST_WORDS > self.at_most {
            return Err(Unwritten::Full);
        }
        self.put(line).map_err(Unwritten::Failed)
    }

    /// Writes the line that ends the recording, for which room was kept.
    pub(super) fn end(&mut self, line: &[u8]) {
        if line.len() as u64 <= LAST_WORDS {
            // Where even that cannot be written, the log has told it.
            let _ = self.put(line);
        }
    }

    fn put(&mut self, line: &[u8]) -> io::Result<()> {
        if let Err(error) = self.paper.write_all(line) {
            // Half a line that cannot be taken away is told by the reader.
            let _ = self.paper.cut(self.length);
            return Err(error);
        }
        self.length += line.len() as u64;
        Ok(())
    }
}

/// Makes sure that nobody else writes into the file.
fn lock(file: &File) -> Result<(), String> {
    let begun = Instant::now();
    loop {
        match file.try_lock() {
            Err(TryLockError::WouldBlock) if begun.elapsed() < PATIENCE => {
                std::thread::sleep(Duration::from_millis(20));
            }
            Err(TryLockError::WouldBlock) => {
                return Err("another program writes to it: name another file".to_owned());
            }
            // Where files cannot be locked, nobody else can be kept out.
            Ok(()) | Err(TryLockError::Error(_)) => return Ok(()),
        }
    }
}

/// Refuses a file that is no recording of this machine.
fn own(file: &File, machine: &MachineName) -> Result<(), String> {
    let mut first = Vec::new();
    let read = BufReader::new(file.take(LONGEST_HEADER)).read_until(b'\n', &mut first);
    read.map_err(|error| format!("it cannot be read ({error})"))?;
    match Line::read(&first) {
        Ok(Line::Header(header)) if header.format > FORMAT => {
            Err("a newer version of this program wrote it: name another file".to_owned())
        }
        Ok(Line::Header(header)) if header.machine != *machine => {
            let other = header.machine;
            Err(format!("it is a recording of the machine {other}: name another file"))
        }
        Ok(Line::Header(_)) => Ok(()),
        _ => Err("it is there and is no recording: name another file".to_owned()),
    }
}

fn ends_a_line(file: &mut File) -> io::Result<bool> {
    let mut last = [0];
    file.seek(SeekFrom::End(-1))?;
    file.read_exact(&mut last)?;
    Ok(last == *b"\n")
}
