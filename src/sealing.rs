//! Encryption of files that leave, in the open format of age (age-encryption.org/v1): backups for a key whose secret half
//! lies elsewhere, so that this computer can write and not read them; packages for a passphrase that is kept nowhere.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Seek, SeekFrom, Write};
use std::iter;
use std::str::FromStr as _;

use age_encryption::secrecy::{ExposeSecret as _, SecretString};
use age_encryption::stream::{StreamReader, StreamWriter};
use age_encryption::x25519::{Identity, Recipient};
use age_encryption::{DecryptError, Decryptor, Encryptor, scrypt};

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
    /// It opens with another passphrase, or with a key; or the part that a passphrase opens was changed.
    #[error("the passphrase does not open it")]
    Passphrase,
    /// To try a passphrase would take more than any sensible file asks for.
    #[error("it asks for more work than a passphrase is worth")]
    Work,
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
        let encryptor = Encryptor::with_recipients(iter::once(recipient)).map_err(|_| SealError::Key)?;
        let mut out = encryptor.wrap_output(BufWriter::new(to))?;
        io::copy(from, &mut out)?;
        let file = out.finish()?.into_inner().map_err(io::IntoInnerError::into_error)?;
        file.sync_all()?;
        Ok(())
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

/// Work for one guess at a passphrase: scrypt with N = 2^17, r = 8, which takes 128 MiB for a moment (OWASP, password storage
/// cheat sheet; from memory).
const WORK: u8 = 17;
/// The most work that a file from elsewhere may ask for: four times ours, and twice what the age program takes.
const MOST_WORK: u8 = 19;

/// A passphrase. It is written nowhere, and wiped from memory with its last copy.
#[derive(Clone)]
pub struct Passphrase(SecretString);

impl Passphrase {
    /// Takes any text: whether a new one is long enough is [`crate::password`]'s to say.
    pub fn new(text: String) -> Self {
        Self(text.into())
    }

    /// Begins to encrypt what is written, piece by piece, into `out`.
    ///
    /// # Errors
    /// When `out` can't be written.
    pub fn seal<W: Write>(&self, out: W) -> io::Result<Sealing<W>> {
        self.seal_with(WORK, out)
    }

    fn seal_with<W: Write>(&self, work: u8, out: W) -> io::Result<Sealing<W>> {
        let mut lock = scrypt::Recipient::new(self.0.clone());
        lock.set_work_factor(work);
        let lock: &dyn age_encryption::Recipient = &lock;
        // The library's own words for this error come out of a macro that orders them at random while it is compiled: said, they
        // would make each build of the release another one.
        let encryptor = Encryptor::with_recipients(iter::once(lock)).map_err(|_| io::ErrorKind::InvalidInput)?;
        Ok(Sealing(encryptor.wrap_output(out)?))
    }

    /// Opens what was encrypted, from its beginning, and sees that its end is there. What is read then is checked piece by piece.
    ///
    /// # Errors
    /// [`SealError::Passphrase`]; [`SealError::Damaged`] where beginning or end were cut off or changed; [`SealError::Work`].
    pub fn open<R: Read + Seek>(&self, mut from: R) -> Result<Opened<R>, SealError> {
        from.rewind()?;
        let mut key = scrypt::Identity::new(self.0.clone());
        key.set_max_work_factor(MOST_WORK);
        let mut content = opened(from, &key, SealError::Passphrase)?;
        let end = content.seek(SeekFrom::End(0)).and_then(|end| content.rewind().map(|()| end));
        Ok(Opened { content, end: end.map_err(|_| SealError::Damaged)? })
    }
}

/// What is written becomes encrypted; worthless unless it is finished.
pub struct Sealing<W: Write>(StreamWriter<W>);

impl<W: Write> Sealing<W> {
    /// Writes the end.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn finish(self) -> io::Result<W> {
        self.0.finish()
    }
}

impl<W: Write> Write for Sealing<W> {
    fn write(&mut self, part: &[u8]) -> io::Result<usize> {
        self.0.write(part)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// What was encrypted, read as it was before.
pub struct Opened<R> {
    content: StreamReader<BufReader<R>>,
    end: u64,
}

impl<R: Read + Seek> Opened<R> {
    /// Reads it to its end, and goes back to its beginning: then every byte is known to be as it was written.
    ///
    /// # Errors
    /// [`SealError::Damaged`]
    pub fn check(&mut self) -> Result<(), SealError> {
        let whole = io::copy(&mut self.content, &mut io::sink()).and_then(|_| self.content.rewind());
        whole.map_err(|_| SealError::Damaged)
    }
}

impl<R: Read> Read for Opened<R> {
    fn read(&mut self, part: &mut [u8]) -> io::Result<usize> {
        self.content.read(part)
    }
}

impl<R: Read + Seek> Seek for Opened<R> {
    /// Beyond the end is the end: a package may say anything of where its parts are, and the library would panic.
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let at = match to {
            SeekFrom::Start(at) => at,
            SeekFrom::End(from) => self.end.saturating_add_signed(from),
            SeekFrom::Current(by) => self.content.stream_position()?.saturating_add_signed(by),
        };
        self.content.seek(SeekFrom::Start(at.min(self.end)))
    }
}

fn opened<R: Read>(
    from: R,
    key: &dyn age_encryption::Identity,
    other: SealError,
) -> Result<StreamReader<BufReader<R>>, SealError> {
    let decryptor = Decryptor::new_buffered(BufReader::new(from)).map_err(|_| SealError::Damaged)?;
    decryptor.decrypt(iter::once(key)).map_err(|error| match error {
        DecryptError::NoMatchingKeys | DecryptError::DecryptionFailed => other,
        DecryptError::ExcessiveWork { .. } => SealError::Work,
        _ => SealError::Damaged,
    })
}

/// Decrypts with the secret half of a key, the text of whose file is given.
///
/// # Errors
/// [`SealError`]
pub fn decrypt(from: impl Read, key: &str, to: &mut impl Write) -> Result<(), SealError> {
    let key = key.lines().find(|line| line.starts_with("AGE-SECRET-KEY-")).ok_or(SealError::Key)?;
    let identity = Identity::from_str(key).map_err(|_| SealError::Key)?;
    read(from, &identity, to)
}

fn read(from: impl Read, identity: &dyn age_encryption::Identity, to: &mut impl Write) -> Result<(), SealError> {
    let mut content = opened(from, identity, SealError::Key)?;
    let mut part = vec![0; 64 * 1024];
    loop {
        let count = content.read(&mut part).map_err(|_| SealError::Damaged)?;
        if count == 0 {
            return Ok(());
        }
        to.write_all(part.get(..count).unwrap_or_default())?;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::io::Cursor;

    /// Quick to try, so that every byte can be turned over.
    const LITTLE: u8 = 2;
    /// What age encrypts in one piece.
    const PIECE: usize = 64 * 1024;

    fn words() -> Passphrase {
        Passphrase::new("seven slow blue kettles".to_owned())
    }

    fn sealed(plain: &[u8]) -> Vec<u8> {
        let mut sealing = words().seal_with(LITTLE, Vec::new()).unwrap();
        sealing.write_all(plain).unwrap();
        sealing.finish().unwrap()
    }

    fn read_back(sealed: &[u8]) -> Result<Vec<u8>, SealError> {
        let mut content = words().open(Cursor::new(sealed))?;
        content.check()?;
        let mut plain = Vec::new();
        content.read_to_end(&mut plain).map_err(|_| SealError::Damaged)?;
        Ok(plain)
    }

    fn numbers(length: usize) -> Vec<u8> {
        (0..length).map(|at| u8::try_from(at % 251).unwrap()).collect()
    }

    #[test]
    fn what_was_sealed_reads_back_whatever_its_length() {
        for length in [0, 1, 300, PIECE - 1, PIECE, PIECE + 1, 2 * PIECE, 3 * PIECE + 7] {
            assert!(read_back(&sealed(&numbers(length))).unwrap() == numbers(length), "{length}");
        }
    }

    #[test]
    fn a_byte_that_was_turned_over_is_found_wherever_it_is() {
        let file = sealed(&numbers(300));
        assert!(file.starts_with(BEGINS));
        for at in 0..file.len() {
            let mut changed = file.clone();
            changed[at] ^= 1 << (at % 8);
            assert!(read_back(&changed).is_err(), "byte {at} of {}", file.len());
        }
    }

    #[test]
    fn a_file_that_was_cut_off_is_found_also_between_two_pieces() {
        let file = sealed(&numbers(300));
        for length in 0..file.len() {
            assert!(read_back(&file[..length]).is_err(), "{length} bytes of {}", file.len());
        }
        let file = sealed(&numbers(3 * PIECE));
        let header = file.len() - 3 * (PIECE + 16);
        for pieces in 0..3 {
            let cut = &file[..header + pieces * (PIECE + 16)];
            assert!(matches!(read_back(cut), Err(SealError::Damaged)), "{pieces} pieces of 3");
        }
    }

    #[test]
    fn another_passphrase_and_a_key_s_file_are_told_from_damage() {
        let file = sealed(b"hello");
        for text in ["seven slow blue kettle", "Seven slow blue kettles", ""] {
            let opened = Passphrase::new(text.to_owned()).open(Cursor::new(&file));
            assert!(matches!(opened, Err(SealError::Passphrase)), "{text:?}");
        }
        let folder = tempfile::tempdir().unwrap();
        let (lock, path) = (new_key().0, folder.path().join("backup.age"));
        lock.encrypt(&mut Cursor::new(b"hello"), File::create(&path).unwrap()).unwrap();
        assert!(matches!(words().open(File::open(&path).unwrap()), Err(SealError::Passphrase)));
        let key = new_key().1;
        assert!(matches!(decrypt(file.as_slice(), &key, &mut io::sink()), Err(SealError::Key)));
    }

    #[test]
    fn a_file_that_asks_for_endless_work_is_refused_before_it_is_done() {
        let file = String::from_utf8_lossy(&sealed(b"")).into_owned();
        assert!(file.lines().nth(1).unwrap().ends_with(" 2"), "{file:?}");
        let mut bytes = sealed(b"");
        let at = bytes.iter().position(|byte| *byte == b'\n').unwrap();
        let end = at + 1 + bytes[at + 1..].iter().position(|byte| *byte == b'\n').unwrap();
        bytes.splice(end - 1..end, *b"40");
        assert!(matches!(words().open(Cursor::new(bytes)), Err(SealError::Work)));
    }

    proptest! {
        #[test]
        fn it_is_read_from_anywhere_as_a_plain_file_is(
            length in prop_oneof![0..400usize, PIECE - 3..PIECE + 3, 2 * PIECE - 3..2 * PIECE + 3],
            steps in proptest::collection::vec((0..3u8, any::<prop::sample::Index>(), 0..5000usize), 1..12),
        ) {
            let plain = numbers(length);
            let file = sealed(&plain);
            let (mut ours, mut theirs) = (words().open(Cursor::new(&file)).unwrap(), Cursor::new(&plain));
            for (from, index, count) in steps {
                let at = index.index(length + 1);
                let to = match from {
                    0 => SeekFrom::Start(u64::try_from(at).unwrap()),
                    1 => SeekFrom::End(-i64::try_from(at).unwrap()),
                    _ => SeekFrom::Current(0),
                };
                prop_assert_eq!(ours.seek(to).unwrap(), theirs.seek(to).unwrap());
                let (mut mine, mut plain) = (Vec::new(), Vec::new());
                (&mut ours).take(u64::try_from(count).unwrap()).read_to_end(&mut mine).unwrap();
                (&mut theirs).take(u64::try_from(count).unwrap()).read_to_end(&mut plain).unwrap();
                prop_assert!(mine == plain);
            }
            // Beyond the end there is nothing, and nothing breaks.
            ours.seek(SeekFrom::Start(u64::MAX)).unwrap();
            prop_assert_eq!(ours.read(&mut [0; 8]).unwrap(), 0);
        }
    }
}
