//! The accept loop. axum's own sets no limit on how long a client may take to send its headers, nor on how many
//! connect at once.

use std::convert::Infallible;
use std::net::{IpAddr, SocketAddr};
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

/// Reverse proxies whose word on where a request comes from is taken.
#[derive(Debug, Clone, Default)]
pub struct Proxies(Arc<[IpAddr]>);

impl Proxies {
    /// These addresses.
    pub fn new(addresses: Vec<IpAddr>) -> Self {
        Self(addresses.into())
    }

    /// Where a request comes from: the peer, or, behind a proxy of ours, the last address in `X-Forwarded-For` that is
    /// none. Whatever stands before that anybody could have written.
    fn origin<B>(&self, peer: SocketAddr, request: &hyper::Request<B>) -> SocketAddr {
        if !self.0.contains(&peer.ip()) {
            return peer;
        }
        let headers = request.headers().get_all("x-forwarded-for").iter().filter_map(|value| value.to_str().ok());
        let hops: Vec<&str> = headers.flat_map(|line| line.split(',')).map(str::trim).collect();
        for hop in hops.iter().rev() {
            match hop.parse::<IpAddr>() {
                Ok(address) if self.0.contains(&address) => {}
                Ok(address) => return SocketAddr::new(address, 0),
                Err(_) => return peer,
            }
        }
        peer
    }
}

/// Serves until `stop` ends, then lets requests that are under way end within `last`.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    proxies: Proxies,
    stop: impl Future<Output = ()>,
    last: Duration,
) {
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
        let (router, proxies) = (router.clone(), proxies.clone());
        let service = hyper::service::service_fn(move |request: hyper::Request<Incoming>| {
            let origin = proxies.origin(from, &request);
            answer(router.clone(), request, origin)
        });
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

#[cfg(test)]
mod tests {
    use super::*;

    fn origin(peer: &str, forwarded: &str) -> String {
        let proxies = Proxies::new(vec!["127.0.0.1".parse().unwrap(), "10.0.0.2".parse().unwrap()]);
        let mut request = hyper::Request::new(());
        request.headers_mut().insert("x-forwarded-for", forwarded.parse().unwrap());
        proxies.origin(SocketAddr::new(peer.parse().unwrap(), 1), &request).ip().to_string()
    }

    #[test]
    fn only_a_known_proxy_is_believed_and_only_its_last_word() {
        assert_eq!(origin("203.0.113.9", "198.51.100.1"), "203.0.113.9", "a stranger can't name another");
        assert_eq!(
            origin("127.0.0.1", "198.51.100.1, 203.0.113.9"),
            "203.0.113.9",
            "what comes before is the client's own"
        );
        assert_eq!(origin("127.0.0.1", "203.0.113.9, 10.0.0.2"), "203.0.113.9", "through two proxies");
        for odd in ["", "unknown", "203.0.113.9, nonsense", "10.0.0.2"] {
            assert_eq!(origin("127.0.0.1", odd), "127.0.0.1", "{odd}");
        }
        assert_eq!(origin("127.0.0.1", "2001:db8::1"), "2001:db8::1");
    }
}
