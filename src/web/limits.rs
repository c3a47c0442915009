//! How often somebody may try something.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::Mutex;

use time::{Duration, OffsetDateTime};

use crate::actions::holds::Holds;
use crate::domain::fingerprint::Fingerprint;

/// What is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum What {
    /// Signing in with a password, per address.
    SignIn,
    /// Signing in to one account, per address. Nobody at another address is held back by it.
    SignInHere,
    /// Signing in to one account, from everywhere: the ceiling for a slow guess from many places.
    SignInAnywhere,
    /// Signing in with a browser that the account knows, per browser and account: whatever others try, this one goes on.
    SignInKnown,
    /// Trying a code after a password, per password given.
    Code,
    /// Trying codes for one account, from everywhere but known browsers.
    CodeAnywhere,
    /// Trying codes for one account with a browser that it knows, per browser: none of hers is held back by another.
    CodeKnown,
    /// Codes for one account that were wrong, from everywhere; past these she is told.
    CodeWrong,
    /// Telling her.
    CodeTold,
    /// Giving a password or a code again, per session.
    Proof,
    /// Asking what to ask a device for, so that it makes or uses a passkey, per session.
    Passkey,
    /// Asking for a sign-in link, per address.
    LinkByAddress,
    /// Asking for a sign-in link to one mailbox, per address. Whoever asks elsewhere keeps nobody out of her only way in.
    LinkHere,
    /// Asking for a sign-in link to one mailbox, from everywhere: the most letters that strangers can fill it with.
    LinkAnywhere,
    /// Asking for the link to go on with a booking, to one mailbox, per address.
    GoOnHere,
    /// The same, from everywhere.
    GoOnAnywhere,
    /// Trying a link's token, per address.
    LinkUse,
    /// Coming with a link's token that is none, per address, as far as it is written down for good.
    LinkRefused,
    /// Taking a time on hold, or another one, per address.
    Hold,
    /// Renewing a hold, as every step of a booking does, per address.
    Renew,
    /// Refusing to sign, per address: each is written down for good.
    Refusal,
    /// Sending a photo or a letter, per client.
    Upload,
    /// Making an export, per account.
    Export,
}

impl What {
    fn rule(self) -> (u32, Duration) {
        match self {
            Self::SignIn => (20, Duration::MINUTE),
            Self::SignInHere => (5, Duration::MINUTE),
            Self::SignInAnywhere => (200, Duration::HOUR),
            Self::SignInKnown => (10, Duration::MINUTE),
            Self::Code => (5, Duration::minutes(10)),
            Self::CodeAnywhere | Self::CodeKnown => (20, Duration::HOUR),
            Self::CodeWrong => (4, Duration::DAY),
            Self::CodeTold => (1, Duration::DAY),
            Self::Proof => (10, Duration::minutes(15)),
            Self::Passkey => (30, Duration::minutes(10)),
            Self::LinkByAddress => (20, Duration::HOUR),
            Self::LinkHere => (3, Duration::HOUR),
            Self::LinkAnywhere | Self::GoOnAnywhere => (20, Duration::HOUR),
            Self::GoOnHere => (5, Duration::HOUR),
            Self::LinkUse => (30, Duration::MINUTE),
            Self::Hold => (10, Duration::MINUTE),
            Self::Renew => (60, Duration::MINUTE),
            Self::LinkRefused | Self::Refusal => (10, Duration::HOUR),
            Self::Upload => (20, Duration::DAY),
            Self::Export => (10, Duration::MINUTE),
        }
    }
}

/// Counts within a span that begins with the first try.
pub struct Limits {
    counts: Mutex<Counts>,
    off: bool,
    /// What is held from where.
    pub holds: Holds,
}

/// Since when, and how often, of whom. What names somebody is as long as a visitor likes and may be a mail address, so
/// a part of its hash stands for it.
#[derive(Default)]
struct Counts {
    of: HashMap<(What, u128), (OffsetDateTime, u32)>,
    swept: Option<OffsetDateTime>,
}

impl Counts {
    /// Forgets what is over, once a minute, so that nobody makes this grow by what she leaves behind.
    fn sweep(&mut self, now: OffsetDateTime) {
        if self.swept.is_none_or(|swept| now - swept >= Duration::MINUTE || now < swept) {
            self.of.retain(|(what, _), (since, _)| now - *since < what.rule().1);
            self.swept = Some(now);
        }
    }
}

impl Limits {
    /// Nothing counted yet.
    pub fn new() -> Self {
        Self { counts: Mutex::default(), off: false, holds: Holds::new(false) }
    }

    /// Counts nothing: for load tests, where a thousand visitors share one address.
    pub fn off() -> Self {
        Self { counts: Mutex::default(), off: true, holds: Holds::new(true) }
    }

    /// Counts a try.
    ///
    /// # Errors
    /// The seconds until the next one is let through.
    pub fn count(&self, what: What, whom: &str, now: OffsetDateTime) -> Result<(), i64> {
        if self.off {
            return Ok(());
        }
        let (most, span) = what.rule();
        let mut counts = self.counts.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        counts.sweep(now);
        let entry = counts.of.entry((what, short(whom))).or_insert((now, 0));
        // A span that begins in the future was counted by a clock that has been set back since.
        if now - entry.0 >= span || now < entry.0 {
            *entry = (now, 0);
        }
        entry.1 = entry.1.saturating_add(1);
        if entry.1 <= most { Ok(()) } else { Err((entry.0 + span - now).whole_seconds().max(1)) }
    }
}

/// Half of the hash of a key.
fn short(key: &str) -> u128 {
    Fingerprint::of(key.as_bytes()).as_bytes().first_chunk().map_or(0, |half| u128::from_be_bytes(*half))
}

impl Default for Limits {
    fn default() -> Self {
        Self::new()
    }
}

/// What one household or office shares: the IPv4 address, or the IPv6 network of 64 bits.
pub fn neighbourhood(address: IpAddr) -> String {
    match address {
        IpAddr::V4(four) => four.to_string(),
        IpAddr::V6(six) => {
            let [a, b, c, d, ..] = six.segments();
            format!("{a:x}:{b:x}:{c:x}:{d:x}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_span_opens_again_when_it_is_over() {
        let limits = Limits::new();
        let start = OffsetDateTime::UNIX_EPOCH;
        for _ in 0..3 {
            assert_eq!(limits.count(What::LinkHere, "a", start), Ok(()));
        }
        assert_eq!(limits.count(What::LinkHere, "a", start + Duration::minutes(1)), Err(59 * 60));
        assert_eq!(limits.count(What::LinkHere, "b", start), Ok(()), "another mailbox is not held back");
        assert_eq!(limits.count(What::LinkHere, "a", start + Duration::HOUR), Ok(()));
        for _ in 0..3 {
            let _ = limits.count(What::LinkHere, "a", start + Duration::HOUR);
        }
        assert_eq!(limits.count(What::LinkHere, "a", start), Ok(()), "a clock set back holds nobody back");
    }

    #[test]
    fn what_is_over_is_forgotten_and_no_key_is_kept_as_it_was_typed() {
        let limits = Limits::new();
        let start = OffsetDateTime::UNIX_EPOCH;
        let long = "x".repeat(60_000);
        let kept = |limits: &Limits| limits.counts.lock().unwrap().of.len();
        for n in 0..500 {
            let _ = limits.count(What::SignInHere, &format!("{n}{long}"), start);
            let _ = limits.count(What::SignInAnywhere, &format!("{n}{long}"), start);
        }
        assert_eq!(kept(&limits), 1000);
        assert_ne!(short(&format!("1{long}")), short(&format!("2{long}")));
        let _ = limits.count(What::SignIn, "a", start + Duration::minutes(2));
        assert_eq!(kept(&limits), 501, "those of an hour, and the new one");
        let _ = limits.count(What::SignIn, "a", start + Duration::HOUR);
        assert_eq!(kept(&limits), 1);
        let _ = limits.count(What::SignIn, "b", start);
        assert_eq!(kept(&limits), 2, "a clock set back");
    }
}
