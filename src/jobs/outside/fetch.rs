//! Fetches one calendar file over https, within limits, and from public addresses only: whoever sets an address must not
//! be able to make this machine call itself or its neighbours.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use http_body_util::{BodyExt, Empty, Limited};
use hyper::body::Bytes;
use hyper::header::{ACCEPT, HOST, LOCATION, USER_AGENT};
use hyper::{Request, StatusCode, Uri};
use hyper_util::rt::TokioIo;
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::rustls::pki_types::ServerName;
use tokio_rustls::rustls::{ClientConfig, RootCertStore};

use super::public::is_public;
use crate::domain::outside::Address;
use crate::{t, tf};

/// How long everything may take.
const PATIENCE: Duration = Duration::from_secs(20);
/// The largest file, in bytes.
const LARGEST: usize = 4 * 1024 * 1024;
/// How many times in a row another address may be named.
const HOPS: usize = 3;

/// From where calendars may be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// From public addresses.
    Public,
    /// Also from this machine and its neighbours.
    Anywhere,
}

/// Why a calendar was not fetched.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotFetched {
    /// Its name leads nowhere.
    #[error("{}", t("Its host can’t be found."))]
    NoHost,
    /// Its name leads to a local network.
    #[error("{}", t("Its host is on a local network, from which nothing is read."))]
    Local,
    /// Nobody answers.
    #[error("{}", t("Its host does not answer."))]
    NoAnswer,
    /// The host can't prove who it is.
    #[error("{}", t("Its host can’t prove who it is."))]
    NotTrusted,
    /// It took too long.
    #[error("{}", t("It took too long to answer."))]
    TooSlow,
    /// The file is too large.
    #[error("{}", t("It is larger than what is read."))]
    TooLarge,
    /// Another answer than a file.
    #[error("{}", tf("Its host answered with {status} instead of a calendar.").with("status", .0))]
    Status(u16),
    /// It is no text.
    #[error("{}", t("It is not a calendar file."))]
    NotText,
    /// It leads on and on, or to an address that isn't https.
    #[error("{}", t("Its address leads elsewhere."))]
    Elsewhere,
}

/// Fetches it.
pub(super) async fn fetch(address: &Address, access: Access) -> Result<String, NotFetched> {
    let roots = webpki_roots::TLS_SERVER_ROOTS.iter().cloned().collect();
    fetch_trusting(address, access, roots).await
}

async fn fetch_trusting(address: &Address, access: Access, roots: RootCertStore) -> Result<String, NotFetched> {
    let trust = Arc::new(ClientConfig::builder().with_root_certificates(roots).with_no_client_auth());
    tokio::time::timeout(PATIENCE, follow(address, access, &trust)).await.map_err(|_| NotFetched::TooSlow)?
}

async fn follow(address: &Address, access: Access, trust: &Arc<ClientConfig>) -> Result<String, NotFetched> {
    let mut address = address.clone();
    for _ in 0..=HOPS {
        match get(&address, access, trust).await? {
            Answer::File(text) => return Ok(text),
            Answer::Elsewhere(next) => address = next,
        }
    }
    Err(NotFetched::Elsewhere)
}

enum Answer {
    File(String),
    Elsewhere(Address),
}

async fn get(address: &Address, access: Access, trust: &Arc<ClientConfig>) -> Result<Answer, NotFetched> {
    let uri: Uri = address.as_str().parse().map_err(|_| NotFetched::NoHost)?;
    let host = uri.host().ok_or(NotFetched::NoHost)?.trim_matches(['[', ']']).to_owned();
    // The address that was looked at is the one that is called: a second look-up could give another.
    let at = resolve(&host, uri.port_u16().unwrap_or(443), access).await?;
    let stream = TcpStream::connect(at).await.map_err(|_| NotFetched::NoAnswer)?;
    let name = ServerName::try_from(host).map_err(|_| NotFetched::NoHost)?;
    let stream = TlsConnector::from(trust.clone()).connect(name, stream).await.map_err(|_| NotFetched::NotTrusted)?;
    let (mut sender, connection) =
        hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(|_| NotFetched::NoAnswer)?;
    let running = tokio::spawn(connection);
    let path = uri.path_and_query().map_or("/", |path| path.as_str());
    let request = Request::get(path)
        .header(HOST, address.host())
        .header(USER_AGENT, "Palpebra")
        .header(ACCEPT, "text/calendar")
        .body(Empty::<Bytes>::new())
        .map_err(|_| NotFetched::NoHost)?;
    let answer = read(sender.send_request(request).await.map_err(|_| NotFetched::NoAnswer)?, address).await;
    running.abort();
    answer
}

async fn read(response: hyper::Response<hyper::body::Incoming>, address: &Address) -> Result<Answer, NotFetched> {
    match response.status() {
        StatusCode::OK => {}
        status if status.is_redirection() => {
            let next = response.headers().get(LOCATION).and_then(|next| next.to_str().ok()).unwrap_or_default();
            let next = if next.starts_with('/') && !next.starts_with("//") {
                Address::parse(&format!("https://{}{next}", address.host()))
            } else {
                Address::parse(next)
            };
            return next.map(Answer::Elsewhere).map_err(|_| NotFetched::Elsewhere);
        }
        status => return Err(NotFetched::Status(status.as_u16())),
    }
    let body = Limited::new(response.into_body(), LARGEST).collect().await;
    let body = body.map_err(|error| {
        let large = error.is::<http_body_util::LengthLimitError>();
        if large { NotFetched::TooLarge } else { NotFetched::NoAnswer }
    })?;
    String::from_utf8(body.to_bytes().to_vec()).map(Answer::File).map_err(|_| NotFetched::NotText)
}

async fn resolve(host: &str, port: u16, access: Access) -> Result<SocketAddr, NotFetched> {
    let found: Vec<SocketAddr> = match host.parse::<IpAddr>() {
        Ok(ip) => vec![SocketAddr::new(ip, port)],
        Err(_) => tokio::net::lookup_host((host, port)).await.map_err(|_| NotFetched::NoHost)?.collect(),
    };
    if access == Access::Public && found.iter().any(|at| !is_public(at.ip())) {
        return Err(NotFetched::Local);
    }
    found.into_iter().next().ok_or(NotFetched::NoHost)
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn of(url: &str, access: Access) -> NotFetched {
        fetch(&Address::parse(url).unwrap(), access).await.unwrap_err()
    }

    #[tokio::test]
    async fn nothing_is_read_from_this_machine_or_its_neighbours() {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        for host in ["127.0.0.1", "localhost", "[::1]", "[::ffff:127.0.0.1]", "10.0.0.1", "169.254.169.254"] {
            assert_eq!(of(&format!("https://{host}:{port}/a.ics"), Access::Public).await, NotFetched::Local, "{host}");
        }
        assert!(tokio::time::timeout(Duration::from_millis(1), listener.accept()).await.is_err(), "nobody called");
    }

    #[tokio::test]
    async fn a_host_that_does_not_speak_tls_is_not_trusted() {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        tokio::spawn(async move {
            use tokio::io::AsyncWriteExt;
            let (mut stream, _) = listener.accept().await.unwrap();
            stream.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\n\r\n").await.unwrap();
        });
        assert_eq!(of(&format!("https://127.0.0.1:{port}/"), Access::Anywhere).await, NotFetched::NotTrusted);
    }
    /// A host with a certificate of its own making, which answers by the path.
    async fn host() -> (u16, RootCertStore) {
        use tokio::io::{AsyncReadExt, AsyncWriteExt};
        use tokio_rustls::TlsAcceptor;
        use tokio_rustls::rustls::ServerConfig;
        use tokio_rustls::rustls::pki_types::pem::PemObject;
        use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
        let folder = tempfile::tempdir().unwrap();
        let made = std::process::Command::new("openssl")
            .current_dir(folder.path())
            .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"])
            .args(["-subj", "/CN=cal.example.org", "-addext", "subjectAltName=IP:127.0.0.1"])
            .args(["-addext", "basicConstraints=critical,CA:FALSE"])
            .args(["-keyout", "key.pem", "-out", "cert.pem"])
            .output()
            .expect("openssl, which tests/run installs");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        let cert = CertificateDer::from_pem_file(folder.path().join("cert.pem")).unwrap();
        let key = PrivateKeyDer::from_pem_file(folder.path().join("key.pem")).unwrap();
        let mut roots = RootCertStore::empty();
        roots.add(cert.clone()).unwrap();
        let config = ServerConfig::builder().with_no_client_auth().with_single_cert(vec![cert], key).unwrap();
        let acceptor = TlsAcceptor::from(Arc::new(config));
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        tokio::spawn(async move {
            loop {
                let (stream, _) = listener.accept().await.unwrap();
                let Ok(mut stream) = acceptor.accept(stream).await else { continue };
                let mut asked = [0; 2048];
                let size = stream.read(&mut asked).await.unwrap();
                let asked = String::from_utf8_lossy(&asked[..size]).into_owned();
                let elsewhere = |to: &str| format!("HTTP/1.1 302 Found\r\nlocation: {to}\r\ncontent-length: 0\r\n\r\n");
                let file = |body: &str| format!("HTTP/1.1 200 OK\r\ncontent-length: {}\r\n\r\n{body}", body.len());
                let answer = match asked.split(' ').nth(1).unwrap() {
                    "/a.ics?key=1" => {
                        "HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n5\r\nBEGIN\r\n0\r\n\r\n".to_owned()
                    }
                    "/moved" => elsewhere("/a.ics?key=1"),
                    "/round" => elsewhere("/round"),
                    "/plain" => elsewhere("http://127.0.0.1/a.ics"),
                    "/large" => file(&"x".repeat(LARGEST + 1)),
                    _ => "HTTP/1.1 404 Not Found\r\ncontent-length: 0\r\n\r\n".to_owned(),
                };
                let _ = stream.write_all(answer.as_bytes()).await;
                let _ = stream.shutdown().await;
            }
        });
        (port, roots)
    }

    #[tokio::test]
    async fn a_file_is_fetched_over_tls_within_its_limits() {
        let (port, roots) = host().await;
        let url = |path: &str| Address::parse(&format!("https://127.0.0.1:{port}{path}")).unwrap();
        let get = |path: &'static str| fetch_trusting_all(url(path), roots.clone());
        assert_eq!(get("/a.ics?key=1").await, Ok("BEGIN".to_owned()));
        assert_eq!(get("/moved").await, Ok("BEGIN".to_owned()));
        assert_eq!(get("/round").await, Err(NotFetched::Elsewhere));
        assert_eq!(get("/plain").await, Err(NotFetched::Elsewhere));
        assert_eq!(get("/large").await, Err(NotFetched::TooLarge));
        assert_eq!(get("/none").await, Err(NotFetched::Status(404)));
        assert_eq!(
            fetch(&url("/a.ics?key=1"), Access::Anywhere).await,
            Err(NotFetched::NotTrusted),
            "nobody vouches for it"
        );
        assert_eq!(fetch_trusting(&url("/a.ics?key=1"), Access::Public, roots).await, Err(NotFetched::Local));
    }

    async fn fetch_trusting_all(address: Address, roots: RootCertStore) -> Result<String, NotFetched> {
        fetch_trusting(&address, Access::Anywhere, roots).await
    }
}
