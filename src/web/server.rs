//! The accept loop. axum's own sets no limit on how long a client may take to send its headers, nor on how many
//! connect at once.

use std::collections::HashMap;
use std::convert::Infallible;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
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

use super::hurried::Hurried;
use super::limits::neighbourhood;

/// The most bytes of a request that are read ahead, and so the longest head.
const LONGEST_HEAD: usize = 64 * 1024;

/// How many may be connected at once.
const CONNECTIONS: usize = 1024;
/// How many of them from one household or office. A reverse proxy brings everybody, so it has no such limit, nor has this
/// computer itself.
const CONNECTIONS_EACH: usize = 64;

/// How long the server waits for its clients.
#[derive(Debug, Clone, Copy)]
pub struct Patience {
    /// For the headers of a request, which also ends a connection that rests between two requests.
    pub headers: Duration,
    /// For a form to arrive, and for the answer to it.
    pub form: Duration,
    /// For a photo or a letter to arrive over a slow line, and for the answer to it.
    pub upload: Duration,
    /// For a package to arrive over a slow line, and for the answer to it.
    pub file: Duration,
    /// For a client to take a further part of what it asked for.
    pub taking: Duration,
}

impl Patience {
    /// Of a real server.
    pub const USUAL: Self = Self {
        headers: Duration::from_secs(10),
        form: Duration::from_secs(30),
        upload: Duration::from_secs(5 * 60),
        file: Duration::from_secs(15 * 60),
        taking: Duration::from_secs(30),
    };

    /// For load tests, where a hundred clients share the processor with the server and are slow for no fault of theirs.
    pub const LONG: Self = {
        let long = Duration::from_secs(15 * 60);
        Self { headers: long, form: long, upload: long, file: long, taking: long }
    };
}

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
        // An IPv4 client of a socket that listens for both is written as IPv6.
        let peer = SocketAddr::new(peer.ip().to_canonical(), peer.port());
        if !self.0.contains(&peer.ip()) {
            return peer;
        }
        let headers = request.headers().get_all("x-forwarded-for").iter().filter_map(|value| value.to_str().ok());
        let hops: Vec<&str> = headers.flat_map(|line| line.split(',')).map(str::trim).collect();
        for hop in hops.iter().rev() {
            match hop.parse::<IpAddr>().map(|address| address.to_canonical()) {
                Ok(address) if self.0.contains(&address) => {}
                Ok(address) => return SocketAddr::new(address, 0),
                Err(_) => return peer,
            }
        }
        peer
    }
}

/// Who is connected how often.
#[derive(Clone, Default)]
struct Crowd(Arc<Mutex<HashMap<String, usize>>>);

/// A place in the crowd, given back when it is dropped.
struct Place(Crowd, String);

impl Crowd {
    /// A place for a client of this neighbourhood, unless it has all that it may have.
    fn enter(&self, neighbourhood: String) -> Option<Place> {
        let mut counts = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let count = counts.entry(neighbourhood.clone()).or_default();
        if *count >= CONNECTIONS_EACH {
            return None;
        }
        *count += 1;
        Some(Place(self.clone(), neighbourhood))
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut counts = self.0.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = counts.get_mut(&self.1) {
            *count -= 1;
            if *count == 0 {
                counts.remove(&self.1);
            }
        }
    }
}

/// Serves until `stop` ends, then lets requests that are under way end within `last`.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    proxies: Proxies,
    patience: Patience,
    stop: impl Future<Output = ()>,
    last: Duration,
) {
    let crowd = Crowd::default();
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
        let from_ip = from.ip().to_canonical();
        let place = if from_ip.is_loopback() || proxies.0.contains(&from_ip) {
            None
        } else {
            match crowd.enter(neighbourhood(from_ip)) {
                Some(place) => Some(place),
                None => continue,
            }
        };
        let (router, proxies) = (router.clone(), proxies.clone());
        let service = hyper::service::service_fn(move |request: hyper::Request<Incoming>| {
            let origin = proxies.origin(from, &request);
            answer(router.clone(), request, origin)
        });
        let connection = hyper::server::conn::http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(patience.headers)
            .max_headers(100)
            .max_buf_size(LONGEST_HEAD)
            .serve_connection(TokioIo::new(Hurried::new(stream, patience.taking)), service);
        let watched = graceful.watch(connection);
        tokio::spawn(async move {
            // A client that hangs up or talks nonsense is no event.
            let _ = watched.await;
            drop((permit, place));
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

    #[test]
    fn one_household_has_so_many_places_and_gets_them_back() {
        let crowd = Crowd::default();
        let mut places: Vec<_> = (0..CONNECTIONS_EACH).map(|_| crowd.enter("a".to_owned()).unwrap()).collect();
        assert!(crowd.enter("a".to_owned()).is_none());
        assert!(crowd.enter("b".to_owned()).is_some(), "another is not held back");
        places.pop();
        assert!(crowd.enter("a".to_owned()).is_some());
        drop(places);
        assert!(crowd.0.lock().unwrap().is_empty(), "nothing is kept of who has gone");
    }

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
        assert_eq!(origin("::ffff:127.0.0.1", "::ffff:203.0.113.9"), "203.0.113.9", "an address written as IPv6");
    }
}
