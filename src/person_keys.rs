//! The keys of people: each person's health records are encrypted under a key of her own, so that whoever destroys the key
//! has destroyed every copy of them. AES-256-GCM (NIST SP 800-38D) by `ring`, with a random nonce for each value, bound to
//! the table, column and row that it stands in. The people's keys are wrapped under one master key.

use std::fmt;
use std::fs;
use std::io;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};

use data_encoding::{BASE64, HEXLOWER};
use ring::aead::{AES_256_GCM, Aad, LessSafeKey, NONCE_LEN, Nonce, UnboundKey};
use sha2::{Digest as _, Sha256};

use crate::clock::Random;
use crate::durable;

/// Length of a key in bytes.
const KEY_BYTES: usize = 32;
/// What a sealed value begins with: how it is made.
const VERSION: u8 = 1;
/// What a sealed text begins with. It is a text in JSON, since some columns hold nothing else.
const TEXT_BEGINS: &str = "\"sealed:";
/// What the key stands behind in its file.
const FILE_BEGINS: &str = "palpebra-master-key-1:";

/// Bytes that this key doesn't open, or not in this place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("it was changed, moved to another row, or sealed with another key")]
pub struct Refused;

struct Aead(LessSafeKey);

impl Aead {
    fn new(key: &[u8; KEY_BYTES]) -> Result<Self, Refused> {
        UnboundKey::new(&AES_256_GCM, key).map(|key| Self(LessSafeKey::new(key))).map_err(|_| Refused)
    }

    /// Version, nonce, what was encrypted, tag.
    fn seal(&self, place: &str, plain: &[u8]) -> Result<Vec<u8>, Refused> {
        let nonce = Random::system().bytes::<NONCE_LEN>();
        let mut sealed = Vec::with_capacity(1 + NONCE_LEN + plain.len() + AES_256_GCM.tag_len());
        sealed.push(VERSION);
        sealed.extend(nonce);
        sealed.extend(plain);
        let (_, content) = sealed.split_at_mut_checked(1 + NONCE_LEN).ok_or(Refused)?;
        let nonce = Nonce::assume_unique_for_key(nonce);
        let tag = self.0.seal_in_place_separate_tag(nonce, Aad::from(place.as_bytes()), content);
        sealed.extend(tag.map_err(|_| Refused)?.as_ref());
        Ok(sealed)
    }

    fn open(&self, place: &str, sealed: &[u8]) -> Result<Vec<u8>, Refused> {
        let rest = sealed.strip_prefix(&[VERSION]).ok_or(Refused)?;
        let (nonce, content) = rest.split_first_chunk::<NONCE_LEN>().ok_or(Refused)?;
        let mut content = content.to_vec();
        let nonce = Nonce::assume_unique_for_key(*nonce);
        let plain = self.0.open_in_place(nonce, Aad::from(place.as_bytes()), &mut content).map_err(|_| Refused)?.len();
        content.truncate(plain);
        Ok(content)
    }
}

/// The key of one person.
pub struct PersonKey {
    secret: [u8; KEY_BYTES],
    aead: Aead,
}

impl fmt::Debug for PersonKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("PersonKey")
    }
}

impl PersonKey {
    /// A new one.
    ///
    /// # Errors
    /// When the library refuses a key of this length, which it doesn't.
    pub fn make() -> Result<Self, Refused> {
        Self::from_secret(Random::system().bytes())
    }

    fn from_secret(secret: [u8; KEY_BYTES]) -> Result<Self, Refused> {
        Ok(Self { secret, aead: Aead::new(&secret)? })
    }

    /// Seals bytes for a place, such as `file.body of …`: nowhere else can they be opened.
    ///
    /// # Errors
    /// When they are too many for one value.
    pub fn seal(&self, place: &str, plain: &[u8]) -> Result<Vec<u8>, Refused> {
        self.aead.seal(place, plain)
    }

    /// Opens what [`Self::seal`] gave.
    ///
    /// # Errors
    /// [`Refused`]
    pub fn open(&self, place: &str, sealed: &[u8]) -> Result<Vec<u8>, Refused> {
        self.aead.open(place, sealed)
    }

    /// Seals a text as a text.
    ///
    /// # Errors
    /// As [`Self::seal`].
    pub fn seal_text(&self, place: &str, plain: &str) -> Result<String, Refused> {
        Ok(format!("{TEXT_BEGINS}{}\"", BASE64.encode(&self.seal(place, plain.as_bytes())?)))
    }

    /// Opens what [`Self::seal_text`] gave.
    ///
    /// # Errors
    /// [`Refused`]
    pub fn open_text(&self, place: &str, sealed: &str) -> Result<String, Refused> {
        let base64 = sealed.strip_prefix(TEXT_BEGINS).and_then(|rest| rest.strip_suffix('"')).ok_or(Refused)?;
        let sealed = BASE64.decode(base64.as_bytes()).map_err(|_| Refused)?;
        String::from_utf8(self.open(place, &sealed)?).map_err(|_| Refused)
    }
}

/// Why there is no master key.
#[derive(Debug, thiserror::Error)]
pub enum MasterError {
    /// The file can't be read or made.
    #[error("the master key can't be read or made at {}: {}", .0.display(), .1)]
    Io(PathBuf, io::Error),
    /// What is in the file is no key.
    #[error("{} holds no master key: put it back from its copy", .0.display())]
    Damaged(PathBuf),
    /// Everybody on this computer may read it.
    #[error("everybody on this computer may read the master key; take that right away (chmod o= {})", .0.display())]
    Open(PathBuf),
}

/// Wraps the keys of people.
pub struct Master {
    secret: [u8; KEY_BYTES],
    aead: Aead,
    mark: [u8; 8],
}

impl fmt::Debug for Master {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Master {}", self.mark())
    }
}

impl Master {
    /// A new one.
    ///
    /// # Errors
    /// As [`PersonKey::make`].
    pub fn make() -> Result<Self, Refused> {
        Self::from_secret(Random::system().bytes())
    }

    fn from_secret(secret: [u8; KEY_BYTES]) -> Result<Self, Refused> {
        let digest = Sha256::new().chain_update(b"palpebra master key").chain_update(secret).finalize();
        let mut mark = [0; 8];
        mark.copy_from_slice(digest.first_chunk::<8>().ok_or(Refused)?);
        Ok(Self { secret, aead: Aead::new(&secret)?, mark })
    }

    /// What tells this key from another one; nothing of the key can be learnt from it.
    pub fn mark(&self) -> String {
        HEXLOWER.encode(&self.mark)
    }

    /// Wraps somebody's key. The mark of the master key goes before it.
    ///
    /// # Errors
    /// As [`PersonKey::seal`].
    pub fn wrap(&self, who: &str, key: &PersonKey) -> Result<Vec<u8>, Refused> {
        Ok([&self.mark[..], &self.aead.seal(&wrapped_for(who), &key.secret)?].concat())
    }

    /// Opens what [`Self::wrap`] gave.
    ///
    /// # Errors
    /// [`Refused`]
    pub fn unwrap_key(&self, who: &str, wrapped: &[u8]) -> Result<PersonKey, Refused> {
        let sealed = wrapped.strip_prefix(&self.mark).ok_or(Refused)?;
        let secret = self.aead.open(&wrapped_for(who), sealed)?;
        PersonKey::from_secret(secret.try_into().map_err(|_| Refused)?)
    }

    /// The key in this file, if there is one.
    ///
    /// # Errors
    /// [`MasterError`]
    pub fn load(path: &Path) -> Result<Option<Self>, MasterError> {
        let io = |error| MasterError::Io(path.to_owned(), error);
        let text = match fs::read(path) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(io(error)),
        };
        if fs::metadata(path).map_err(io)?.permissions().mode() & 0o007 != 0 {
            return Err(MasterError::Open(path.to_owned()));
        }
        let text = String::from_utf8(text).unwrap_or_default();
        let hex = text.lines().find_map(|line| line.trim().strip_prefix(FILE_BEGINS));
        let secret = hex.and_then(|hex| HEXLOWER.decode(hex.as_bytes()).ok()?.try_into().ok());
        let key = secret.and_then(|secret| Self::from_secret(secret).ok());
        key.map(Some).ok_or_else(|| MasterError::Damaged(path.to_owned()))
    }

    /// Writes the key to a file that isn't there yet, for its owner alone.
    ///
    /// # Errors
    /// [`MasterError::Io`]
    pub fn write(&self, path: &Path) -> Result<(), MasterError> {
        let text = format!(
            "# Opens the keys of the clients' health records. Keep a copy away from this computer.\n{FILE_BEGINS}{}\n",
            HEXLOWER.encode(&self.secret)
        );
        durable::write_new(path, text.as_bytes()).map_err(|error| MasterError::Io(path.to_owned(), error))
    }
}

fn wrapped_for(who: &str) -> String {
    format!("the key of {who}")
}

/// Whether others on this computer may read the master key.
///
/// # Errors
/// When the file's rights can't be read.
pub fn is_open_to_others(path: &Path) -> io::Result<bool> {
    Ok(fs::metadata(path)?.permissions().mode() & 0o077 != 0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn what_is_sealed_is_opened_in_its_place_alone(
            plain in proptest::collection::vec(any::<u8>(), 0..300), text in ".{0,80}", flip in any::<proptest::sample::Index>(), bit in 0_u8..8,
        ) {
            let (key, other) = (PersonKey::make().unwrap(), PersonKey::make().unwrap());
            let sealed = key.seal("file.body of a", &plain).unwrap();
            prop_assert_eq!(key.open("file.body of a", &sealed), Ok(plain.clone()));
            prop_assert_eq!(key.open("file.body of b", &sealed), Err(Refused));
            prop_assert_eq!(other.open("file.body of a", &sealed), Err(Refused));
            prop_assert_ne!(key.seal("file.body of a", &plain).unwrap(), sealed.clone());
            let mut changed = sealed.clone();
            changed[flip.index(sealed.len())] ^= 1 << bit;
            prop_assert_eq!(key.open("file.body of a", &changed), Err(Refused));
            prop_assert_eq!(key.open("file.body of a", &sealed[..flip.index(sealed.len())]), Err(Refused));
            let sealed = key.seal_text("answers.body of a", &text).unwrap();
            prop_assert!(sealed.starts_with(TEXT_BEGINS) && serde_json::from_str::<String>(&sealed).is_ok());
            prop_assert_eq!(key.open_text("answers.body of a", &sealed), Ok(text.clone()));
            prop_assert_eq!(key.open_text("answers.body of b", &sealed), Err(Refused));
            prop_assert_eq!(key.open_text("answers.body of a", &text), Err(Refused));
        }
    }

    /// The lengths of NIST SP 800-38D, section 5.2.1.2 and 8.2: nonces of 96 bits, tags of 128.
    #[test]
    fn a_sealed_value_is_a_version_a_nonce_as_many_bytes_and_a_tag() {
        let sealed = PersonKey::make().unwrap().seal("x", b"hello").unwrap();
        assert_eq!((sealed[0], sealed.len()), (1, 1 + 12 + 5 + 16));
    }

    #[test]
    fn a_person_s_key_is_hers_under_one_master_key() {
        let (master, other, key) = (Master::make().unwrap(), Master::make().unwrap(), PersonKey::make().unwrap());
        let wrapped = master.wrap("mia", &key).unwrap();
        let sealed = key.seal("x", b"hello").unwrap();
        assert_eq!(master.unwrap_key("mia", &wrapped).unwrap().open("x", &sealed).unwrap(), b"hello");
        assert!(master.unwrap_key("zoe", &wrapped).is_err() && other.unwrap_key("mia", &wrapped).is_err());
        assert!(!wrapped.windows(8).any(|part| part == &key.secret[..8]));
        assert!(!format!("{master:?} {key:?}").contains(&HEXLOWER.encode(&master.secret)));
    }

    #[test]
    fn a_master_key_is_kept_in_a_file_for_its_owner_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("key");
        assert!(Master::load(&path).unwrap().is_none());
        let master = Master::make().unwrap();
        master.write(&path).unwrap();
        assert_eq!(Master::load(&path).unwrap().unwrap().mark(), master.mark());
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o077, 0);
        assert!(Master::make().unwrap().write(&path).is_err(), "never over another one");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o604)).unwrap();
        assert!(matches!(Master::load(&path), Err(MasterError::Open(_))));
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        for bad in [&b"no key"[..], b"palpebra-master-key-1:00ff\n", &[0xff, 0xfe]] {
            fs::write(&path, bad).unwrap();
            assert!(matches!(Master::load(&path), Err(MasterError::Damaged(_))));
        }
    }
}
