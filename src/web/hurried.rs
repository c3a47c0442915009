//! A connection whose client must take what it asked for. Without it a client that sends requests and never reads an
//! answer would keep its connection for ever.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio::time::{Sleep, sleep};

/// The connection.
pub(super) struct Hurried {
    stream: TcpStream,
    patience: Duration,
    /// Runs while a write waits.
    waits: Option<Pin<Box<Sleep>>>,
}

impl Hurried {
    /// A client that may take so long for each further part.
    pub(super) fn new(stream: TcpStream, patience: Duration) -> Self {
        Self { stream, patience, waits: None }
    }

    /// Passes a write's outcome on, and ends it when it has waited too long.
    fn hurry<T>(&mut self, context: &mut Context<'_>, outcome: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if outcome.is_ready() {
            self.waits = None;
            return outcome;
        }
        let patience = self.patience;
        let waits = self.waits.get_or_insert_with(|| Box::pin(sleep(patience)));
        ready!(waits.as_mut().poll(context));
        Poll::Ready(Err(io::ErrorKind::TimedOut.into()))
    }
}

impl AsyncRead for Hurried {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buf)
    }
}

impl AsyncWrite for Hurried {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        let outcome = Pin::new(&mut self.stream).poll_write(cx, buf);
        self.hurry(cx, outcome)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let outcome = Pin::new(&mut self.stream).poll_write_vectored(cx, bufs);
        self.hurry(cx, outcome)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
