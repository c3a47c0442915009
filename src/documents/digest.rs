//! Hashes and counts what goes by.

use std::io::{self, Write};

use sha2::{Digest as _, Sha256};

/// Passes on what is written to it.
pub struct Digest<W> {
    out: W,
    hash: Sha256,
    bytes: u64,
}

/// What went by.
pub struct Digested {
    /// SHA-256 in lower-case hexadecimal digits.
    pub sha256: String,
    /// How many bytes.
    pub bytes: u64,
}

impl<W: Write> Digest<W> {
    /// Nothing went by yet.
    pub fn new(out: W) -> Self {
        Self { out, hash: Sha256::new(), bytes: 0 }
    }

    /// What went by, all of it passed on.
    ///
    /// # Errors
    /// When the last of it can't be.
    pub fn finish(mut self) -> io::Result<Digested> {
        self.out.flush()?;
        Ok(Digested { sha256: data_encoding::HEXLOWER.encode(&self.hash.finalize()), bytes: self.bytes })
    }
}

impl<W: Write> Write for Digest<W> {
    fn write(&mut self, part: &[u8]) -> io::Result<usize> {
        let count = self.out.write(part)?;
        self.hash.update(part.get(..count).unwrap_or_default());
        self.bytes += u64::try_from(count).unwrap_or(u64::MAX);
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}
