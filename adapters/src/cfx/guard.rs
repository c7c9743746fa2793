//! What stands between the network and the AMQP library: frames whose values are nested too deeply
//! are not let through. The library reads values by recursion without a limit, so that one frame of
//! a few kilobytes could otherwise exhaust the stack and with it end the gateway.
//!
//! And the end of a connection: the library's tasks go on for as long as the other side does not
//! take leave, and without a link they spin. Here the stream ends under them.

mod frames;
mod patience;
mod values;

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use bytes::{Buf as _, BytesMut};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio_util::sync::{CancellationToken, DropGuard, WaitForCancellationFutureOwned};

use super::access::Stream;
use frames::Frames;
use patience::{EMPTY_FRAME, Patience};

/// Bytes read at once.
const CHUNK: usize = 16 * 1024;

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
        self.patience = Some(Patience::new(after));
        self
    }

    /// True when the silence is to be broken now: not before it is clear who may come in.
    fn bridges(&mut self, context: &mut Context<'_>) -> bool {
        let patience = self.patience.as_mut().filter(|_| self.frames.opened);
        patience.is_some_and(|patience| patience.ends(context))
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
                Poll::Ready(()) => guarded.patience.iter_mut().for_each(Patience::renew),
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
