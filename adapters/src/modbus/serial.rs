//! A serial port of this computer.

mod pty;

use std::io;
use std::os::fd::OwnedFd;
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use rustix::fs::{FlockOperation, Mode, OFlags};
use rustix::termios::{ControlModes, OptionalActions, QueueSelector, Termios};
use tokio::io::unix::AsyncFd;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

use super::settings::{Frame, Serial};

pub use pty::Pty;

/// Major numbers of the device files of pseudo-terminals: the list of devices of the Linux
/// kernel, "Unix98 PTY slaves".
const PTY_MAJORS: std::ops::RangeInclusive<u32> = 136..=143;

/// An open port: bytes go through as they are, and nobody else has it open.
#[derive(Debug)]
pub(crate) struct Port(AsyncFd<OwnedFd>);

impl Port {
    /// Opens a port and sets its speed and frame.
    ///
    /// # Errors
    /// As the system has it; [`io::ErrorKind::ResourceBusy`] when another program has it open,
    /// [`io::ErrorKind::Unsupported`] when it cannot do the speed or frame.
    pub(crate) fn open(serial: &Serial) -> io::Result<Self> {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let fd = rustix::fs::open(&serial.port, flags, Mode::empty())?;
        claim(&fd)?;
        let mut modes = rustix::termios::tcgetattr(&fd)?;
        modes.make_raw();
        modes.control_modes = control_modes(&modes, serial.frame);
        modes.set_speed(serial.baud)?;
        rustix::termios::tcsetattr(&fd, OptionalActions::Now, &modes)?;
        let is = rustix::termios::tcgetattr(&fd)?;
        if !is_pty(&fd)? && !is_set(&is, &modes) {
            return Err(io::ErrorKind::Unsupported.into());
        }
        rustix::termios::tcflush(&fd, QueueSelector::IOFlush)?;
        Self::of(fd)
    }

    /// Takes a descriptor that does not block.
    // What replaces it is unsafe for the sake of types that do not own what they wrap; this one
    // does.
    #[expect(deprecated)]
    fn of(fd: OwnedFd) -> io::Result<Self> {
        AsyncFd::new(fd).map(Self)
    }
}

/// Keeps others out: programs of other users by the port's own mark, those that look for the
/// customary lock by that.
fn claim(fd: &OwnedFd) -> io::Result<()> {
    rustix::termios::ioctl_tiocexcl(fd)?;
    match rustix::fs::flock(fd, FlockOperation::NonBlockingLockExclusive) {
        Err(rustix::io::Errno::WOULDBLOCK) => Err(io::ErrorKind::ResourceBusy.into()),
        other => other.map_err(Into::into),
    }
}

fn control_modes(modes: &Termios, frame: Frame) -> ControlModes {
    let of_frame = ControlModes::CSIZE
        | ControlModes::PARENB
        | ControlModes::PARODD
        | ControlModes::CMSPAR
        | ControlModes::CSTOPB
        | ControlModes::CRTSCTS;
    let always = ControlModes::CS8 | ControlModes::CREAD | ControlModes::CLOCAL;
    let chosen = match frame {
        Frame::Even => ControlModes::PARENB,
        Frame::Odd => ControlModes::PARENB | ControlModes::PARODD,
        Frame::TwoStops => ControlModes::CSTOPB,
        Frame::OneStop => ControlModes::empty(),
    };
    (modes.control_modes - of_frame) | always | chosen
}

/// Drivers leave out in silence what their port cannot do.
fn is_set(is: &Termios, asked: &Termios) -> bool {
    is.control_modes == asked.control_modes && is.output_speed() == asked.output_speed()
}

/// True for a pseudo-terminal, which carries whole bytes and knows no parity.
fn is_pty(fd: &OwnedFd) -> io::Result<bool> {
    let device = rustix::fs::fstat(fd)?.st_rdev;
    Ok(PTY_MAJORS.contains(&rustix::fs::major(device)))
}

impl Drop for Port {
    /// Takes the mark off again, which otherwise stays for as long as anybody holds the port.
    fn drop(&mut self) {
        let _ = rustix::termios::ioctl_tiocnxcl(self.0.get_ref());
    }
}

impl AsyncRead for Port {
    fn poll_read(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        loop {
            let mut ready = ready!(self.0.poll_read_ready(cx))?;
            let space = buf.initialize_unfilled();
            match ready.try_io(|fd| Ok(rustix::io::read(fd, &mut *space)?)) {
                Ok(read) => return Poll::Ready(read.map(|count| buf.advance(count))),
                Err(_would_block) => {}
            }
        }
    }
}

impl AsyncWrite for Port {
    fn poll_write(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        loop {
            let mut ready = ready!(self.0.poll_write_ready(cx))?;
            match ready.try_io(|fd| Ok(rustix::io::write(fd, bytes)?)) {
                Ok(written) => return Poll::Ready(written),
                Err(_would_block) => {}
            }
        }
    }

    /// Nothing is held back here; what the port has yet to send it sends by itself.
    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}
