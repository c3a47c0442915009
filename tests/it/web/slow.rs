//! Clients on a real socket that are slow, greedy or talk nonsense: each ends in its stated way, and others go on.

use std::time::Duration;

use palpebra::web::server::Patience;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::support::TestApp;
use crate::support::app::Made;

/// A server that waits a fraction of a second where a real one waits half a minute.
async fn hurried() -> TestApp {
    let short = Duration::from_millis(300);
    let patience = Patience { headers: short, form: short, upload: short, file: short, taking: short };
    TestApp::made_with_owner(Made { patience, ..Made::default() }).await
}

async fn connect(app: &TestApp) -> TcpStream {
    TcpStream::connect(app.url.trim_start_matches("http://")).await.unwrap()
}

/// Whatever comes until the server hangs up.
async fn until_closed(stream: &mut TcpStream) -> String {
    let mut bytes = Vec::new();
    let read = tokio::time::timeout(Duration::from_secs(20), stream.read_to_end(&mut bytes)).await;
    let _ = read.expect("the server hangs up");
    String::from_utf8_lossy(&bytes).into_owned()
}

/// What is answered to these bytes, on a connection of their own.
async fn says(app: &TestApp, bytes: &[u8]) -> String {
    let mut stream = connect(app).await;
    let _ = stream.write_all(bytes).await;
    until_closed(&mut stream).await
}

#[tokio::test]
async fn headers_that_don_t_come_end_the_connection() {
    let app = hurried().await;
    let mut waiting: Vec<TcpStream> = Vec::new();
    for beginning in ["", "G", "GET / HTTP/1.1\r\n", "GET / HTTP/1.1\r\nHost: x\r\nX-Slow: a"] {
        let mut stream = connect(&app).await;
        stream.write_all(beginning.as_bytes()).await.unwrap();
        waiting.push(stream);
    }
    assert_eq!(app.visitor().get("/").await.status, 200, "others are served meanwhile");
    for mut stream in waiting {
        let answer = until_closed(&mut stream).await;
        assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 4"), "{answer}");
    }
}

#[tokio::test]
async fn a_connection_that_rests_after_a_request_is_ended() {
    let app = hurried().await;
    let mut stream = connect(&app).await;
    stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n").await.unwrap();
    assert!(until_closed(&mut stream).await.starts_with("HTTP/1.1 200"));
}

#[tokio::test]
async fn a_body_that_trickles_in_is_cut_off_at_its_deadline_however_often_a_byte_comes() {
    let app = hurried().await;
    let mut stream = connect(&app).await;
    let head = "POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 60000\r\n\r\n";
    stream.write_all(head.as_bytes()).await.unwrap();
    let (mut read, mut write) = stream.into_split();
    // A byte whenever the server's clock has gone on a little: it never rests, but the whole takes too long.
    let trickle = tokio::spawn(async move {
        let mut beat = tokio::time::interval(Duration::from_millis(20));
        while write.write_all(b"a").await.is_ok() {
            beat.tick().await;
        }
    });
    let mut bytes = Vec::new();
    let ended = tokio::time::timeout(Duration::from_secs(20), read.read_to_end(&mut bytes)).await;
    let answer = String::from_utf8_lossy(&bytes).into_owned();
    assert!(ended.is_ok(), "it is cut off: {answer}");
    assert!(answer.starts_with("HTTP/1.1 4") || answer.starts_with("HTTP/1.1 503"), "{answer}");
    trickle.abort();
}

#[tokio::test]
async fn a_client_that_never_reads_is_let_go() {
    let app = hurried().await;
    let stream = connect(&app).await;
    let (mut read, mut write) = stream.into_split();
    let ask = tokio::spawn(async move {
        // Answers of many megabytes in all, more than any buffer between here and there.
        while write.write_all(b"GET /static/app.css HTTP/1.1\r\nHost: x\r\n\r\n").await.is_ok() {}
    });
    // Without having read a byte, one learns of the end by not being able to write any more.
    let ended = tokio::time::timeout(Duration::from_secs(30), ask).await;
    assert!(ended.is_ok(), "the server keeps a connection that nobody reads from");
    let mut rest = Vec::new();
    let _ = read.read_to_end(&mut rest).await;
    assert_eq!(app.visitor().get("/").await.status, 200);
}

#[tokio::test]
async fn nonsense_is_refused_and_ends_the_connection() {
    let app = hurried().await;
    let post = "POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-www-form-urlencoded\r\n";
    let long = "x".repeat(500_000);
    let many = "X-A: b\r\n".repeat(200);
    for (what, bytes) in [
        ("no HTTP", "hello there\r\n\r\n".to_owned()),
        ("two lengths", format!("{post}Content-Length: 3\r\nContent-Length: 4\r\n\r\na=b")),
        ("a length that is none", format!("{post}Content-Length: -1\r\n\r\na=b")),
        ("a chunk that is none", format!("{post}Transfer-Encoding: chunked\r\n\r\nzz\r\na=b\r\n0\r\n\r\n")),
        ("an unknown coding", format!("{post}Transfer-Encoding: gzip\r\n\r\na=b")),
        ("a folded header", "GET / HTTP/1.1\r\nHost: x\r\nX-A: b\r\n c\r\n\r\n".to_owned()),
        ("a space before the colon", "GET / HTTP/1.1\r\nHost : x\r\n\r\n".to_owned()),
        ("a nought in a header", "GET / HTTP/1.1\r\nHost: x\r\nX-A: b\0c\r\n\r\n".to_owned()),
        ("a header of half a megabyte", format!("GET / HTTP/1.1\r\nHost: x\r\nX-A: {long}\r\n\r\n")),
        ("two hundred headers", format!("GET / HTTP/1.1\r\nHost: x\r\n{many}\r\n")),
        ("an address of half a megabyte", format!("GET /{long} HTTP/1.1\r\nHost: x\r\n\r\n")),
    ] {
        let answer = says(&app, bytes.as_bytes()).await;
        assert!(
            answer.is_empty() || answer.starts_with("HTTP/1.1 4") || answer.starts_with("HTTP/1.1 501"),
            "{what}: {answer}"
        );
        assert_eq!(
            answer.matches("HTTP/1.1 ").count().min(2),
            usize::from(!answer.is_empty()),
            "{what}: one answer: {answer}"
        );
    }
    assert_eq!(app.visitor().get("/").await.status, 200);
}

/// RFC 9112, 6.3: a length beside a transfer coding is either refused or counts for nothing, and no second request may be
/// hidden in what is left.
#[tokio::test]
async fn no_request_hides_behind_a_length_that_is_not_meant() {
    let app = hurried().await;
    let hidden = "POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /team/sign-in HTTP/1.1\r\nHost: x\r\n\r\n";
    let answer = says(&app, hidden.as_bytes()).await;
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 4"), "{answer}");
    assert!(!answer.contains("Sign in as practitioner or owner"), "the hidden one was answered: {answer}");
}

#[tokio::test]
async fn a_real_server_waits_as_long_as_the_papers_say() {
    let Patience { headers, form, upload, file, taking } = Patience::USUAL;
    assert_eq!([headers, form, taking].map(|it| it.as_secs()), [10, 30, 30]);
    assert_eq!([upload, file].map(|it| it.as_secs()), [5 * 60, 15 * 60]);
}

#[tokio::test(flavor = "multi_thread")]
async fn when_all_places_are_taken_the_next_client_is_served_as_soon_as_one_is_free() {
    let app = hurried().await;
    let idle: Vec<TcpStream> = futures_of(1100, &app).await;
    // More than the server takes at once; those that say nothing are let go, and then it is her turn.
    let page = tokio::time::timeout(Duration::from_secs(20), app.visitor().get("/healthz")).await;
    assert_eq!(page.expect("an answer").status, 200);
    drop(idle);
}

async fn futures_of(count: usize, app: &TestApp) -> Vec<TcpStream> {
    let mut streams = Vec::new();
    for _ in 0..count {
        streams.push(connect(app).await);
    }
    streams
}
