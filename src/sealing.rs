//! Encryption of files that leave, in the open format of age (age-encryption.org/v1): for a key whose secret half lies
//! elsewhere, so that this computer can write backups and not read them.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Write};
use std::iter;
use std::path::Path;
use std::str::FromStr as _;

use age_encryption::secrecy::ExposeSecret as _;
use age_encryption::x25519::{Identity, Recipient};

/// What an encrypted file begins with.
pub const BEGINS: &[u8] = b"age-encryption.org/";

/// Why a file was not encrypted or not read.
#[derive(Debug, thiserror::Error)]
pub enum SealError {
    /// The disk can't.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// No key of this kind.
    #[error("the key is none, or not for this file")]
    Key,
    /// Cut off or changed.
    #[error("the encrypted file was cut off or changed")]
    Damaged,
}

/// The public half of a key: encrypts, and can't decrypt.
#[derive(Clone)]
pub struct Lock(Recipient);

impl Lock {
    /// Reads one, such as `age1…`.
    ///
    /// # Errors
    /// [`SealError::Key`]
    pub fn parse(text: &str) -> Result<Self, SealError> {
        Recipient::from_str(text.trim()).map(Self).map_err(|_| SealError::Key)
    }

    /// Encrypts a file into another one, to its last byte on the disk.
    ///
    /// # Errors
    /// [`SealError::Io`]
    pub fn encrypt(&self, from: &mut impl Read, to: File) -> Result<(), SealError> {
        let recipient: &dyn age_encryption::Recipient = &self.0;
        let encryptor =
            age_encryption::Encryptor::with_recipients(iter::once(recipient)).map_err(|_| SealError::Key)?;
        write(encryptor, from, to)
    }
}

impl std::fmt::Display for Lock {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

/// A new key: its public half, and the text of the file that is to be kept elsewhere.
pub fn new_key() -> (Lock, String) {
    let identity = Identity::generate();
    let lock = Lock(identity.to_public());
    let text = format!("# public key: {lock}\n{}\n", identity.to_string().expose_secret());
    (lock, text)
}

fn write(encryptor: age_encryption::Encryptor, from: &mut impl Read, to: File) -> Result<(), SealError> {
    let mut out = encryptor.wrap_output(BufWriter::new(to))?;
    io::copy(from, &mut out)?;
    let file = out.finish()?.into_inner().map_err(io::IntoInnerError::into_error)?;
    file.sync_all()?;
    Ok(())
}

/// Decrypts a file with the secret half of a key, the text of whose file is given.
///
/// # Errors
/// [`SealError`]
pub fn decrypt(from: &Path, key: &str, to: &mut impl Write) -> Result<(), SealError> {
    let key = key.lines().find(|line| line.starts_with("AGE-SECRET-KEY-")).ok_or(SealError::Key)?;
    let identity = Identity::from_str(key).map_err(|_| SealError::Key)?;
    read(from, &identity, to)
}

fn read(from: &Path, identity: &dyn age_encryption::Identity, to: &mut impl Write) -> Result<(), SealError> {
    let file = BufReader::new(File::open(from)?);
    let decryptor = age_encryption::Decryptor::new_buffered(file).map_err(|_| SealError::Damaged)?;
    let mut content = decryptor.decrypt(iter::once(identity)).map_err(|error| match error {
        age_encryption::DecryptError::NoMatchingKeys | age_encryption::DecryptError::DecryptionFailed => SealError::Key,
        _ => SealError::Damaged,
    })?;
    let mut part = vec![0; 64 * 1024];
    loop {
        let count = content.read(&mut part).map_err(|_| SealError::Damaged)?;
        if count == 0 {
            return Ok(());
        }
        to.write_all(part.get(..count).unwrap_or_default())?;
    }
}
