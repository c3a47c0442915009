//! The seal: the ZIP's comment ends with the SHA-256 of every byte before that hash.
//!
//! Hashes of files say nothing of the bytes around them: names, sizes and dates in the ZIP's own tables, and spare
//! bits at the end of a compressed stream. The seal covers these.

use std::io::{self, Write};

use sha2::{Digest as _, Sha256};

/// What the comment says in front of the hash.
pub(in crate::documents) const PREFIX: &str = "Palpebra records; SHA-256 of all bytes before this hash: ";
/// Length of the hash in hex.
pub(in crate::documents) const SEAL_LENGTH: usize = 64;

/// A comment that [`Sealed::finish`] can turn into a seal.
pub(super) fn placeholder() -> Box<[u8]> {
    format!("{PREFIX}{}", "0".repeat(SEAL_LENGTH)).into_bytes().into()
}

/// Passes on and hashes what is written, and keeps the last bytes back, which are to become the seal.
pub(super) struct Sealed<W> {
    out: W,
    hash: Sha256,
    kept: Vec<u8>,
}

impl<W: Write> Sealed<W> {
    pub(super) fn new(out: W) -> Self {
        Self { out, hash: Sha256::new(), kept: Vec::new() }
    }

    /// Writes the seal in place of what was kept back.
    pub(super) fn finish(mut self) -> io::Result<W> {
        self.out.write_all(super::hex(&self.hash.finalize()).as_bytes())?;
        self.out.flush()?;
        Ok(self.out)
    }
}

impl<W: Write> Write for Sealed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.kept.extend_from_slice(bytes);
        let ready = self.kept.len().saturating_sub(SEAL_LENGTH);
        let pass: Vec<u8> = self.kept.drain(..ready).collect();
        self.hash.update(&pass);
        self.out.write_all(&pass)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}
