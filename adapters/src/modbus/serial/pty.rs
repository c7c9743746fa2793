//! A pair of pseudo-terminals: a serial line without hardware, for rehearsals and tests.

use std::io;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::task::{Context, Poll};

use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

use super::Port;

/// One end of a line. The other is a serial port that a program may open by its path. Dropped, it
/// is as if the port were unplugged.
#[derive(Debug)]
pub struct Pty {
    end: Port,
    port: PathBuf,
    /// The other end, held open: else this end would break whenever a program closes it.
    _held: OwnedFd,
}

impl Pty {
    /// A new line.
    ///
    /// # Errors
    /// When the system has no more of them.
    pub fn open() -> io::Result<Self> {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let end = openpt(flags)?;
        grantpt(&end)?;
        unlockpt(&end)?;
        let name = ptsname(&end, Vec::new())?;
        let port = PathBuf::from(String::from_utf8_lossy(name.as_bytes()).into_owned());
        // Bytes go through as they are even before somebody opens the port.
        let mut modes = tcgetattr(&end)?;
        modes.make_raw();
        tcsetattr(&end, OptionalActions::Now, &modes)?;
        let status = rustix::fs::fcntl_getfl(&end)?;
        rustix::fs::fcntl_setfl(&end, status | OFlags::NONBLOCK)?;
        let reading = OFlags::RDONLY | OFlags::NOCTTY | OFlags::CLOEXEC;
        let held = rustix::fs::open(&port, reading, Mode::empty())?;
        Ok(Self { end: Port::of(end)?, port, _held: held })
    }

    /// The path of the serial port at the other end.
    #[must_use]
    pub fn port(&self) -> &Path {
        &self.port
    }
}

impl AsyncRead for Pty {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.end).poll_read(cx, buf)
    }
}

impl AsyncWrite for Pty {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.end).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.end).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.end).poll_shutdown(cx)
    }
}
