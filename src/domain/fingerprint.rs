//! SHA-256 of a text or a set of answers, so that a signature can name exactly what it saw.

use std::fmt;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// 32 bytes of SHA-256, written as 64 lower-case hex digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Fingerprint([u8; 32]);

/// Why a text is not a fingerprint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a fingerprint has 64 hex digits, 0-9 and a-f")]
pub struct FingerprintRefused;

impl Fingerprint {
    /// The fingerprint of these bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// Reads 64 lower-case hex digits.
    ///
    /// # Errors
    /// [`FingerprintRefused`] for any other text.
    pub fn parse(hex: &str) -> Result<Self, FingerprintRefused> {
        let bytes = data_encoding::HEXLOWER.decode(hex.as_bytes()).map_err(|_| FingerprintRefused)?;
        <[u8; 32]>::try_from(bytes).map(Self).map_err(|_| FingerprintRefused)
    }

    /// The 32 bytes.
    pub fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&data_encoding::HEXLOWER.encode(&self.0))
    }
}

impl TryFrom<String> for Fingerprint {
    type Error = FingerprintRefused;
    fn try_from(text: String) -> Result<Self, FingerprintRefused> {
        Self::parse(&text)
    }
}

impl From<Fingerprint> for String {
    fn from(fingerprint: Fingerprint) -> Self {
        fingerprint.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_published_example() {
        // FIPS 180-4 example: SHA-256 of "abc".
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Fingerprint::of(b"abc").to_string(), abc);
        assert_eq!(Fingerprint::parse(abc), Ok(Fingerprint::of(b"abc")));
        assert_eq!(Fingerprint::of(b"abc").as_bytes()[..4], [0xba, 0x78, 0x16, 0xbf]);
    }

    #[test]
    fn other_texts_are_refused() {
        for text in ["", "ba78", "BA7816BF8F01CFEA414140DE5DAE2223B00361A396177A9CB410FF61F20015AD"] {
            assert_eq!(Fingerprint::parse(text), Err(FingerprintRefused), "{text}");
        }
    }
}
