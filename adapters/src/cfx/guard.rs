//! What stands between the network and the AMQP library: frames whose values are nested too deeply
//! are not let through. The library reads values by recursion without a limit, so that one frame of
//! a few kilobytes could otherwise exhaust the stack and with it end the gateway.

mod frames;
mod values;

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use bytes::{Buf as _, BytesMut};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

use super::access::Stream;
use frames::Frames;

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
}

impl Guarded {
    pub(super) fn new(inner: Box<dyn Stream>) -> Self {
        let (raw, clean) = (BytesMut::new(), BytesMut::new());
        Self { inner, frames: Frames::default(), raw, clean }
    }
}

impl AsyncRead for Guarded {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let guarded = self.get_mut();
        while guarded.clean.is_empty() {
            let mut chunk = [0; CHUNK];
            let mut chunk = ReadBuf::new(&mut chunk);
            ready!(Pin::new(&mut guarded.inner).poll_read(context, &mut chunk))?;
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
