//! The accept loop. axum's own sets no limit on how long a client may take to send its headers, nor on how many
//! connect at once.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use hyper::body::Incoming;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tower::ServiceExt;

/// How long a client may take to send its headers.
const HEADERS: Duration = Duration::from_secs(10);
/// How many may be connected at once.
const CONNECTIONS: usize = 1024;

/// Serves until `stop` ends, then lets requests that are under way end within `last`.
pub async fn serve(listener: TcpListener, router: Router, stop: impl Future<Output = ()>, last: Duration) {
    let graceful = GracefulShutdown::new();
    let room = Arc::new(Semaphore::new(CONNECTIONS));
    let mut stop = std::pin::pin!(stop);
    loop {
        let permit = tokio::select! {
            permit = room.clone().acquire_owned() => permit,
            () = &mut stop => break,
        };
        let Ok(permit) = permit else { break };
        let (stream, from) = tokio::select! {
            accepted = listener.accept() => match accepted {
                Ok(accepted) => accepted,
                Err(error) => {
                    // Out of file handles, most likely: some will be free again in a moment.
                    tracing::warn!(%error, "can't accept");
                    tokio::time::sleep(Duration::from_millis(100)).await;
                    continue;
                }
            },
            () = &mut stop => break,
        };
        let router = router.clone();
        let service =
            hyper::service::service_fn(move |request: hyper::Request<Incoming>| answer(router.clone(), request, from));
        let connection = hyper::server::conn::http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEADERS)
            .max_headers(100)
            .serve_connection(TokioIo::new(stream), service);
        let watched = graceful.watch(connection);
        tokio::spawn(async move {
            // A client that hangs up or talks nonsense is no event.
            let _ = watched.await;
            drop(permit);
        });
    }
    drop(listener);
    if tokio::time::timeout(last, graceful.shutdown()).await.is_err() {
        tracing::warn!("some requests were cut off");
    }
}

async fn answer(
    router: Router,
    request: hyper::Request<Incoming>,
    from: SocketAddr,
) -> Result<axum::response::Response, Infallible> {
    let mut request = request.map(Body::new);
    request.extensions_mut().insert(ConnectInfo(from));
    router.oneshot(request).await
}
