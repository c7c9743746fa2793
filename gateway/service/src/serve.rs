//! HTTP as it is served: plain or over TLS, with limits to what one connection may take in time
//! and size, so that slow or greedy ones hold up nobody.

use std::collections::HashMap;
use std::convert::Infallible;
use std::net::IpAddr;
use std::path::PathBuf;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::http::Request;
use axum::response::Response;
use hyper::body::{Frame, Incoming, SizeHint};
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use stencilward_adapters::tls::serving;
use stencilward_web::Peer;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::task::JoinSet;
use tokio::time::{Sleep, sleep, timeout};
use tokio_rustls::TlsAcceptor;
use tokio_util::sync::CancellationToken;
use tower::Service as _;

/// Connections at a time.
const CONNECTIONS: usize = 512;
/// Connections of one address at a time; loopback is not counted.
const OF_ONE_ADDRESS: usize = 64;
/// Time for a TLS handshake.
const HANDSHAKE: Duration = Duration::from_secs(10);
/// Time until a request's head has come, from the one before or the connection's begin.
const HEAD: Duration = Duration::from_secs(15);
/// Time until a request's body has come.
const BODY: Duration = Duration::from_secs(30);
/// Header lines of a request.
const HEADERS: usize = 64;
/// Bytes of a request's head.
const HEAD_BYTES: usize = 16 * 1024;
/// Wait after the system gave no connection, such as for want of file handles.
const PAUSE: Duration = Duration::from_millis(100);

/// The gateway's certificate, which can be renewed while it is used.
pub(crate) struct Certificate {
    files: (PathBuf, PathBuf),
    acceptor: RwLock<TlsAcceptor>,
}

impl Certificate {
    /// Reads it.
    pub(crate) fn read(certificate: PathBuf, key: PathBuf) -> Result<Self, String> {
        let acceptor = RwLock::new(acceptor(&certificate, &key)?);
        Ok(Self { files: (certificate, key), acceptor })
    }

    /// Reads it anew; what cannot be read changes nothing.
    pub(crate) fn renew(&self) -> Result<(), String> {
        let new = acceptor(&self.files.0, &self.files.1)?;
        *self.acceptor.write().unwrap_or_else(PoisonError::into_inner) = new;
        Ok(())
    }

    fn acceptor(&self) -> TlsAcceptor {
        self.acceptor.read().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

fn acceptor(certificate: &std::path::Path, key: &std::path::Path) -> Result<TlsAcceptor, String> {
    let mut configuration = serving(certificate, key)?;
    configuration.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(TlsAcceptor::from(Arc::new(configuration)))
}

/// How many connections each address has.
#[derive(Default)]
struct Guests(Mutex<HashMap<IpAddr, usize>>);

/// One connection of an address, while it lasts.
struct Guest {
    guests: Arc<Guests>,
    from: IpAddr,
}

impl Guests {
    fn welcome(self: &Arc<Self>, from: IpAddr) -> Option<Guest> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let count = all.entry(from).or_default();
        if *count >= OF_ONE_ADDRESS && !from.is_loopback() {
            return None;
        }
        *count += 1;
        Some(Guest { guests: Arc::clone(self), from })
    }
}

impl Drop for Guest {
    fn drop(&mut self) {
        let mut all = self.guests.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = all.get_mut(&self.from) {
            *count -= 1;
            if *count == 0 {
                all.remove(&self.from);
            }
        }
    }
}

/// Serves until `stop`, then lets each connection finish what it is at. Given up, all end with it:
/// a connection kept open would go on to speak for a gateway that is gone.
pub(crate) async fn serve(
    listener: TcpListener,
    router: Router,
    certificate: Option<Arc<Certificate>>,
    stop: CancellationToken,
) {
    let (mut talks, guests) = (JoinSet::new(), Arc::new(Guests::default()));
    let room = Arc::new(Semaphore::new(CONNECTIONS));
    while let Some(Ok(seat)) = stop.run_until_cancelled(Arc::clone(&room).acquire_owned()).await {
        let (stream, from) = match stop.run_until_cancelled(listener.accept()).await {
            Some(Ok((stream, from))) => (stream, from.ip().to_canonical()),
            Some(Err(error)) => {
                tracing::debug!("no connection: {error}");
                sleep(PAUSE).await;
                continue;
            }
            None => break,
        };
        let Some(guest) = guests.welcome(from) else { continue };
        let (router, stop) = (router.clone(), stop.clone());
        let acceptor = certificate.as_deref().map(Certificate::acceptor);
        while talks.try_join_next().is_some() {}
        talks.spawn(async move {
            connection(stream, from, acceptor, router, stop).await;
            drop((seat, guest));
        });
    }
    while talks.join_next().await.is_some() {}
}

async fn connection(
    stream: TcpStream,
    from: IpAddr,
    acceptor: Option<TlsAcceptor>,
    router: Router,
    stop: CancellationToken,
) {
    let _ = stream.set_nodelay(true);
    let Some(acceptor) = acceptor else {
        return Box::pin(talk(stream, from, router, stop)).await;
    };
    let shaken = stop.run_until_cancelled(timeout(HANDSHAKE, acceptor.accept(stream))).await;
    match shaken {
        Some(Ok(Ok(stream))) => Box::pin(talk(stream, from, router, stop)).await,
        Some(Ok(Err(error))) => tracing::debug!(%from, "no TLS: {error}"),
        Some(Err(_)) | None => {}
    }
}

async fn talk<S>(stream: S, from: IpAddr, router: Router, stop: CancellationToken)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let service =
        service_fn(move |request: Request<Incoming>| answer(router.clone(), from, request));
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_headers(HEADERS)
        .max_buf_size(HEAD_BYTES);
    let connection = http.serve_connection(TokioIo::new(stream), service);
    let mut connection = std::pin::pin!(connection);
    // What breaks a connection is the other side's affair.
    let _ = tokio::select! {
        ended = &mut connection => ended,
        () = stop.cancelled() => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
}

async fn answer(
    mut router: Router,
    from: IpAddr,
    request: Request<Incoming>,
) -> Result<Response, Infallible> {
    let late = Box::pin(sleep(BODY));
    let mut request = request.map(|body| Body::new(Timed { body, late }));
    request.extensions_mut().insert(Peer(from));
    router.call(request).await
}

/// A body that comes in time, or breaks off.
struct Timed {
    body: Incoming,
    late: Pin<Box<Sleep>>,
}

impl hyper::body::Body for Timed {
    type Data = Bytes;
    type Error = Box<dyn std::error::Error + Send + Sync>;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Self::Error>>> {
        if let Poll::Ready(frame) = Pin::new(&mut self.body).poll_frame(context) {
            return Poll::Ready(frame.map(|frame| frame.map_err(Into::into)));
        }
        let late = self.late.as_mut().poll(context);
        late.map(|()| Some(Err("the body did not come in time".into())))
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}
