//! The second factor: six digits from an app (RFC 6238), or one of ten codes on paper.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};
use time::OffsetDateTime;
use totp_rs::Builder;

use crate::clock::Random;

/// How many recovery codes are made at once.
pub const RECOVERY_CODES: usize = 10;

/// What the app and the server share: 160 bits, as RFC 4226, section 4 recommends.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret([u8; 20]);

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Secret(hidden)")
    }
}

impl Secret {
    /// One that was stored.
    pub fn of(bytes: [u8; 20]) -> Self {
        Self(bytes)
    }

    /// The one that a session is offered. It follows from the session's 256 random bits, so that it is the same when
    /// the page is loaded again and nothing is stored before it is confirmed; the stored hash of those bits does not
    /// lead to it.
    pub fn offered(session_token: &str) -> Self {
        let digest = Sha256::digest(format!("second factor of {session_token}").as_bytes());
        let mut bytes = [0; 20];
        bytes.iter_mut().zip(digest.iter()).for_each(|(to, from)| *to = *from);
        Self(bytes)
    }

    /// The bytes to store.
    pub fn bytes(&self) -> &[u8] {
        &self.0
    }

    /// The secret as people type it into an app: base32 in groups of four.
    pub fn words(&self) -> String {
        grouped(&data_encoding::BASE32_NOPAD.encode(&self.0), ' ')
    }

    /// What the picture says to the app: the address that authenticator apps share, with the studio's and the account's name.
    pub fn address(&self, studio: &str, mail: &str) -> String {
        let (studio, mail) = (encoded(&studio.replace(':', " ")), encoded(&mail.replace(':', " ")));
        let secret = data_encoding::BASE32_NOPAD.encode(&self.0);
        format!("otpauth://totp/{studio}:{mail}?secret={secret}&issuer={studio}")
    }

    /// The time step for which these six digits are right now, or one step of 30 seconds before or after (RFC 6238, 5.2).
    pub fn step_of(&self, code: &str, now: OffsetDateTime) -> Option<i64> {
        let digits: String = code.chars().filter(|c| !c.is_whitespace()).collect();
        let app = Builder::new().with_secret(totp_rs::Secret::new_stack(self.0)).build().ok()?;
        let step = app.check(&digits, u64::try_from(now.unix_timestamp()).ok()?)?;
        i64::try_from(step).ok()
    }
}

/// Whether this looks like six digits from an app rather than like a password or a recovery code.
pub fn looks_like_code(text: &str) -> bool {
    let mut digits = text.chars().filter(|c| !c.is_whitespace());
    digits.by_ref().take(6).filter(char::is_ascii_digit).count() == 6 && digits.next().is_none()
}

/// New recovery codes, each with 120 random bits.
pub fn recovery_codes(random: &Random) -> Vec<String> {
    let code = || data_encoding::BASE32_NOPAD.encode(&random.bytes::<15>()).to_ascii_lowercase();
    (0..RECOVERY_CODES).map(|_| grouped(&code(), '-')).collect()
}

/// What is stored of a recovery code, however it was typed; `None` for what can't be one. Enough random bits are in it
/// for a plain hash.
pub fn recovery_hash(typed: &str) -> Option<String> {
    let letters = typed.chars().filter(|c| !c.is_whitespace() && *c != '-').map(|c| match c.to_ascii_lowercase() {
        // Base32 has no such digits, but people read them into letters.
        '0' => 'o',
        '1' => 'l',
        '8' => 'b',
        letter => letter,
    });
    let code: String = letters.take(25).collect();
    let right = code.len() == 24 && code.bytes().all(|b| b.is_ascii_lowercase() || (b'2'..=b'7').contains(&b));
    right.then(|| data_encoding::HEXLOWER.encode(&Sha256::digest(format!("recovery code {code}").as_bytes())))
}

/// The letters in groups of four.
pub(crate) fn grouped(text: &str, between: char) -> String {
    let mut groups = String::new();
    for (at, letter) in text.chars().enumerate() {
        if at > 0 && at.is_multiple_of(4) {
            groups.push(between);
        }
        groups.push(letter);
    }
    groups
}

/// Percent-encoded: all but the unreserved characters of RFC 3986.
fn encoded(text: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6238, appendix B, SHA-1; its codes have eight digits, of which ours are the last six.
    #[test]
    fn codes_are_those_of_the_standard() {
        let secret = Secret::of(*b"12345678901234567890");
        for (seconds, code) in [
            (59, "287082"),
            (1_111_111_109, "081804"),
            (1_111_111_111, "050471"),
            (1_234_567_890, "005924"),
            (2_000_000_000, "279037"),
        ] {
            let at = OffsetDateTime::from_unix_timestamp(seconds).unwrap();
            assert_eq!(secret.step_of(code, at), Some(seconds / 30), "{seconds}");
            assert_eq!(secret.step_of("000000", at), None);
        }
    }

    #[test]
    fn a_code_is_right_one_step_early_or_late_and_no_longer() {
        let secret = Secret::of(*b"12345678901234567890");
        let right = |seconds: i64| {
            secret.step_of(" 081 804 ", OffsetDateTime::from_unix_timestamp(1_111_111_109 + seconds).unwrap())
        };
        assert_eq!([-60, -30, 0, 30, 60].map(|by| right(by).is_some()), [false, true, true, true, false]);
        for odd in ["", "081804 1", "+81804", "٠٨١٨٠٤", "08180"] {
            let at = OffsetDateTime::from_unix_timestamp(1_111_111_109).unwrap();
            assert_eq!(secret.step_of(odd, at), None, "{odd}");
            assert!(!looks_like_code(odd), "{odd}");
        }
        assert!(looks_like_code("081 804"));
    }

    #[test]
    fn what_a_session_is_offered_stays_the_same_and_is_no_other_sessions() {
        let (one, other) = (Secret::offered("a"), Secret::offered("b"));
        assert_eq!(one, Secret::offered("a"));
        assert_ne!(one, other);
        assert_eq!(format!("{one:?}"), "Secret(hidden)");
    }

    #[test]
    fn the_address_names_the_studio_and_the_account() {
        let secret = Secret::of(*b"12345678901234567890");
        assert_eq!(
            secret.address("Zoë: & Co", "a@example.org"),
            "otpauth://totp/Zo%C3%AB%20%20%26%20Co:a%40example.org?secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ&issuer=Zo%C3%AB%20%20%26%20Co"
        );
        assert_eq!(secret.words(), "GEZD GNBV GY3T QOJQ GEZD GNBV GY3T QOJQ");
    }

    #[test]
    fn recovery_codes_are_read_however_they_are_typed() {
        let codes = recovery_codes(&Random::seeded(1));
        assert_eq!(codes.len(), RECOVERY_CODES);
        let code = codes.first().unwrap();
        assert_eq!(code.len(), 29, "{code}");
        let hash = recovery_hash(code).unwrap();
        let sloppy = code.to_uppercase().replace('-', " ").replace('O', "0").replace('L', "1");
        assert_eq!(recovery_hash(&sloppy), Some(hash.clone()));
        assert!(codes.iter().skip(1).all(|other| recovery_hash(other) != Some(hash.clone())));
        for odd in ["", "081804", &code[1..], &format!("{code}a")] {
            assert_eq!(recovery_hash(odd), None, "{odd}");
        }
    }
}
