//! Passwords: argon2id, off the async threads, few at a time.

use std::cmp::Reverse;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use time::Duration;
use tokio::sync::Semaphore;

use crate::apart;
use crate::clock::Random;
use crate::second_factor::grouped;

/// Memory in KiB and passes. RFC 9106's second choice (as transcribed by others; from memory) for real use.
const STRONG: (u32, u32) = (65_536, 3);
/// For tests that sign in hundreds of times; the hash says which was used.
const QUICK: (u32, u32) = (64, 1);

/// The fewest characters of a password: the longer of the two common floors (NIST SP 800-63B-4: 15 where a password is
/// the only factor), since a practitioner may put the second factor off.
pub const SHORTEST: usize = 15;
/// The longest, in bytes, so that nobody makes us hash a book.
pub const LONGEST: usize = 1024;

/// How long a first password lasts that nobody has signed in with and replaced: over a weekend.
pub const FIRST_LASTS: Duration = Duration::days(3);

/// A password to begin with: 80 random bits, in letters and digits that are not mistaken for each other.
pub fn first(random: &Random) -> String {
    grouped(&data_encoding::BASE32_NOPAD.encode(&random.bytes::<10>()).to_ascii_lowercase(), '-')
}

/// Why a text is not taken as a password.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PasswordRefused {
    /// Fewer than [`SHORTEST`] characters.
    #[error("a password has at least 15 characters")]
    TooShort,
    /// More than [`LONGEST`] bytes.
    #[error("a password has at most 1024 bytes")]
    TooLong,
    /// Somebody who guesses has it among the first ten thousand million tries.
    #[error("that password is easily guessed")]
    Guessable,
}

/// How many characters are looked at: signs that stand for many letters each take the estimate a tenth of a second for as many,
/// and seven tenths for a hundred.
const ESTIMATED: usize = 40;

/// What somebody tries first here, whoever has the password: the program, its trade, and the word itself in the other language.
const TRIED_HERE: [&str; 9] =
    ["palpebra", "passwort", "lash", "lashes", "brow", "brows", "wimpern", "augenbrauen", "studio"];

/// Checks a new password, which may lean as little on what is known `about` whoever chooses it, such as her name, as on common
/// words, names, dates, and runs of keys. No rule asks for digits or signs.
///
/// How many tries it takes is estimated (zxcvbn: Low-Budget Password Strength
/// Estimation, USENIX Security 2016; from memory); 10¹⁰ is its floor for hashes that were stolen and are slow, as ours are.
///
/// # Errors
/// See [`PasswordRefused`].
pub fn check(password: &str, about: &[&str]) -> Result<(), PasswordRefused> {
    if password.len() > LONGEST {
        return Err(PasswordRefused::TooLong);
    }
    if password.chars().count() < SHORTEST {
        return Err(PasswordRefused::TooShort);
    }
    let known = about.iter().flat_map(|text| text.split(|sign: char| !sign.is_alphanumeric()));
    let known = known.filter(|part| part.chars().count() > 2);
    let mut known: Vec<String> = known.chain(TRIED_HERE).map(str::to_lowercase).collect();
    known.sort_by_key(|word| Reverse(word.len()));
    // What is known costs whoever guesses nothing, so only what is left counts.
    let left = known.iter().fold(password.to_lowercase(), |left, word| left.replace(word, ""));
    let left: String = left.chars().take(ESTIMATED).collect();
    if zxcvbn::zxcvbn(&left, &[]).score() < zxcvbn::Score::Four { Err(PasswordRefused::Guessable) } else { Ok(()) }
}

/// Too many passwords are being checked at this moment, or the hasher failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("passwords can't be checked just now")]
pub struct Unavailable;

/// Hashes and checks.
#[derive(Clone)]
pub struct Passwords {
    cost: (u32, u32),
    permits: Arc<Semaphore>,
    nobody: Arc<str>,
    runs: Arc<AtomicU64>,
}

impl Passwords {
    /// For real use: 64 MiB, three passes, two at a time.
    pub fn strong() -> Self {
        Self::with(STRONG)
    }

    /// For tests.
    pub fn quick() -> Self {
        Self::with(QUICK)
    }

    fn with(cost: (u32, u32)) -> Self {
        // A hash of nothing anybody has, so that an unknown address costs as much time as a known one.
        let nobody = hash_now(cost, "no account has this password").unwrap_or_default();
        Self { cost, permits: Arc::new(Semaphore::new(2)), nobody: nobody.into(), runs: Arc::default() }
    }

    /// The hash to store, with its salt and cost in it.
    ///
    /// # Errors
    /// [`Unavailable`] when the machine can't.
    pub async fn hash(&self, password: String) -> Result<String, Unavailable> {
        let cost = self.cost;
        self.run(move || hash_now(cost, &password)).await?.ok_or(Unavailable)
    }

    /// Whether the password is the one that was hashed; `None` stands for an unknown account, takes as long, and is never right.
    ///
    /// # Errors
    /// [`Unavailable`] when too many wait.
    pub async fn matches(&self, stored: Option<String>, password: String) -> Result<bool, Unavailable> {
        if password.len() > LONGEST {
            return Ok(false);
        }
        let known = stored.is_some();
        let stored = stored.unwrap_or_else(|| self.nobody.to_string());
        let right = self
            .run(move || {
                let parsed = argon2::password_hash::phc::PasswordHash::new(&stored).ok()?;
                Some(Argon2::default().verify_password(password.as_bytes(), &parsed).is_ok())
            })
            .await?;
        Ok(known && right.unwrap_or(false))
    }

    /// Whether a stored hash was made with other costs than those of today.
    pub fn is_outdated(&self, stored: &str) -> bool {
        let costs = argon2::password_hash::phc::PasswordHash::new(stored).ok().and_then(|hash| {
            let params = Params::try_from(&hash).ok()?;
            Some((params.m_cost(), params.t_cost()))
        });
        costs != Some(self.cost)
    }

    /// How often a password was hashed or checked so far: each run is the same work.
    pub fn runs(&self) -> u64 {
        self.runs.load(Ordering::Relaxed)
    }

    async fn run<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> Result<T, Unavailable> {
        let waited =
            tokio::time::timeout(std::time::Duration::from_secs(10), self.permits.clone().acquire_owned()).await;
        self.runs.fetch_add(1, Ordering::Relaxed);
        let permit = waited.map_err(|_| Unavailable)?.map_err(|_| Unavailable)?;
        let done = apart::blocking(move || {
            let _held = permit;
            work()
        });
        done.await.map_err(|_| Unavailable)
    }
}

fn hash_now((memory, passes): (u32, u32), password: &str) -> Option<String> {
    let params = Params::new(memory, passes, 1, None).ok()?;
    let argon = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
    argon.hash_password(password.as_bytes()).ok().map(|hash| hash.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_first_password_is_drawn_and_passes_for_one() {
        let random = Random::seeded(7);
        let (one, other) = (first(&random), first(&random));
        assert_ne!(one, other);
        assert_eq!(check(&one, &[]), Ok(()), "{one}");
        let groups: Vec<_> = one.split('-').map(str::len).collect();
        assert_eq!(groups, [4, 4, 4, 4], "{one}: base32 has 5 bits a letter (RFC 4648), so 80 in all");
        assert!(one.bytes().all(|b| b == b'-' || b.is_ascii_lowercase() || (b'2'..=b'7').contains(&b)), "{one}");
    }

    #[test]
    fn length_is_the_only_rule_besides_guessing() {
        assert_eq!(check("fourteen chars", &[]), Err(PasswordRefused::TooShort));
        assert_eq!(check("quiet green lamp", &[]), Ok(()));
        assert_eq!(check("🪶🌿🕯 nine more ünd", &[]), Ok(()));
        let long = "seven damp umbrellas beside the quiet green lamp on marble steps";
        assert_eq!((long.len(), check(long, &[])), (64, Ok(())));
        assert_eq!(check(&"quiet lamp ".repeat(200), &[]), Err(PasswordRefused::TooLong));
    }

    #[test]
    fn what_is_tried_first_is_refused_however_long_it_is() {
        for common in [
            "aaaaaaaaaaaaaaaaaaaa",
            "passwordpassword12",
            "P@ssw0rdP@ssw0rd",
            "PasswortPasswort",
            "123456789012345",
            "qwertyuiopasdfgh",
            "abcabcabcabcabcabc",
            "palpebrapalpebra",
            "lashesandbrows2026",
            "lasheslasheslashes",
            "iloveyouiloveyou",
        ] {
            assert_eq!(check(common, &[]), Err(PasswordRefused::Guessable), "{common}");
        }
    }

    #[test]
    fn one_s_own_name_and_the_studio_s_make_no_password() {
        let about = ["Runa Ostfeld", "Kranichweg Wimpernatelier", "runa@kranichweg.example.org"];
        for hers in ["RunaOstfeldRuna", "runa.ostfeld.runa", "kranichwegruna1", "Wimpernatelier1"] {
            assert_eq!(check(hers, &about), Err(PasswordRefused::Guessable), "{hers}");
        }
        assert_eq!(check("kranichwegruna1", &[]), Ok(()), "somebody else may have it");
        assert_eq!(check("quiet green lamp", &about), Ok(()));
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_taken_or_refused(password in "\\PC{0,120}", about in "\\PC{0,40}") {
            let _ = check(&password, &[&about]);
        }
    }

    #[tokio::test]
    async fn a_hash_is_argon2id_and_knows_its_password_to_the_last_letter() {
        let passwords = Passwords::quick();
        let long = "x".repeat(64) + "quiet green lamp";
        let hash = passwords.hash(long.clone()).await.unwrap();
        assert!(hash.starts_with("$argon2id$v=19$"), "{hash}");
        assert!(passwords.matches(Some(hash.clone()), long.clone()).await.unwrap());
        let mut other = long.clone();
        other.pop();
        other.push('q');
        assert!(!passwords.matches(Some(hash), other).await.unwrap());
        assert!(!passwords.matches(None, "no account has this password".to_owned()).await.unwrap());
    }

    #[tokio::test]
    async fn a_hash_of_other_costs_is_outdated() {
        let (quick, strong) = (Passwords::quick(), Passwords::strong());
        let hash = quick.hash("quiet green lamp".to_owned()).await.unwrap();
        assert!(!quick.is_outdated(&hash) && strong.is_outdated(&hash) && quick.is_outdated("junk"));
        assert!(strong.matches(Some(hash), "quiet green lamp".to_owned()).await.unwrap(), "its own costs are in it");
        assert_eq!((quick.runs(), strong.runs()), (1, 1));
    }

    #[test]
    fn real_use_meets_the_published_floor() {
        // OWASP Password Storage Cheat Sheet: at least 19 MiB with two passes, or 12 MiB with three.
        let hash = hash_now(STRONG, "quiet green lamp").unwrap();
        assert!(hash.contains("m=65536,t=3,p=1"), "{hash}");
    }
}
