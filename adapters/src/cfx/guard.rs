//! What stands between the network and the AMQP library: frames whose values are nested too deeply
//! are not let through. The library reads values by recursion without a limit, so that one frame of
//! a few kilobytes could otherwise exhaust the stack and with it end the gateway.
//!
//! And its patience: the acceptor ends a connection as soon as the time has passed within which it
//! told the other side to say something, where AMQP 1.0 (2.4.5) wants twice that. One empty frame in
//! between, which nobody sent, makes up for it.
//!
//! And the end of a connection: the library's tasks go on for as long as the other side does not
//! take leave, and without a link they spin. Here the stream ends under them.

mod frames;
mod values;

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use bytes::{Buf as _, BytesMut};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep};
use tokio_util::sync::{CancellationToken, DropGuard, WaitForCancellationFutureOwned};

use super::access::Stream;
use frames::Frames;

/// Bytes read at once.
const CHUNK: usize = 16 * 1024;
/// A frame that only says that somebody is there (AMQP 1.0, 2.4.5).
const EMPTY_FRAME: &[u8] = b"\x00\x00\x00\x08\x02\x00\x00\x00";

/// A stream that lets whole frames through, once they were looked at.
#[derive(Debug)]
pub(super) struct Guarded {
    inner: Box<dyn Stream>,
    frames: Frames,
    /// Came, and not looked at yet: less than a frame.
    raw: BytesMut,
    /// Looked at, and not read yet.
    clean: BytesMut,
    cut: Pin<Box<WaitForCancellationFutureOwned>>,
    patience: Option<Patience>,
}

/// A silence that is broken once.
#[derive(Debug)]
struct Patience {
    after: Duration,
    silence: Pin<Box<Sleep>>,
    spent: bool,
}

impl Guarded {
    /// A stream that ends when what it comes with is dropped.
    pub(super) fn new(inner: Box<dyn Stream>) -> (Self, DropGuard) {
        let (raw, clean) = (BytesMut::new(), BytesMut::new());
        let cut = CancellationToken::new();
        let ends = Box::pin(cut.clone().cancelled_owned());
        let frames = Frames::default();
        (Self { inner, frames, raw, clean, cut: ends, patience: None }, cut.drop_guard())
    }

    /// The same, with an empty frame after so long a silence.
    pub(super) fn patient(mut self, after: Duration) -> Self {
        let silence = Box::pin(tokio::time::sleep(after));
        self.patience = Some(Patience { after, silence, spent: false });
        self
    }

    /// True when the silence is to be broken now.
    fn bridges(&mut self, context: &mut Context<'_>) -> bool {
        let Some(patience) = self.patience.as_mut().filter(|_| self.frames.opened) else {
            return false;
        };
        let due = !patience.spent && patience.silence.as_mut().poll(context).is_ready();
        patience.spent |= due;
        due
    }

    fn heard(&mut self) {
        if let Some(patience) = &mut self.patience {
            patience.silence.as_mut().reset(Instant::now() + patience.after);
            patience.spent = false;
        }
    }
}

impl AsyncRead for Guarded {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let guarded = self.get_mut();
        if guarded.cut.as_mut().poll(context).is_ready() {
            return Poll::Ready(Ok(()));
        }
        while guarded.clean.is_empty() {
            let mut chunk = [0; CHUNK];
            let mut chunk = ReadBuf::new(&mut chunk);
            match Pin::new(&mut guarded.inner).poll_read(context, &mut chunk)? {
                Poll::Ready(()) => guarded.heard(),
                Poll::Pending if guarded.bridges(context) => {
                    guarded.clean.extend_from_slice(EMPTY_FRAME);
                    break;
                }
                Poll::Pending => return Poll::Pending,
            }
            if chunk.filled().is_empty() {
                return Poll::Ready(Ok(()));
            }
            guarded.raw.extend_from_slice(chunk.filled());
            let whole = guarded.frames.look(&guarded.raw).map_err(io::Error::other)?;
            guarded.clean.unsplit(guarded.raw.split_to(whole));
        }
        let length = guarded.clean.len().min(into.remaining());
        into.put_slice(&guarded.clean[..length]);
        guarded.clean.advance(length);
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Guarded {
    fn poll_write(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        from: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.get_mut().inner).poll_write(context, from)
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().inner).poll_flush(context)
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().inner).poll_shutdown(context)
    }
}
