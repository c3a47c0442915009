//! How often somebody may try something.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::Mutex;

use time::{Duration, OffsetDateTime};

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
    /// Giving a password or a code again, per session.
    Proof,
    /// Asking what to ask a device for, so that it makes or uses a passkey, per session.
    Passkey,
    /// Asking for a sign-in link, per address.
    LinkByAddress,
    /// Asking for a sign-in link, per mailbox.
    LinkByMailbox,
    /// Asking for the link to go on with a booking, per mailbox.
    GoOnByMailbox,
    /// Trying a link's token, per address.
    LinkUse,
    /// Taking a time on hold, per address.
    Hold,
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
            Self::CodeAnywhere => (20, Duration::HOUR),
            Self::Proof => (10, Duration::minutes(15)),
            Self::Passkey => (30, Duration::minutes(10)),
            Self::LinkByAddress => (20, Duration::HOUR),
            Self::LinkByMailbox => (3, Duration::HOUR),
            Self::GoOnByMailbox => (5, Duration::HOUR),
            Self::LinkUse => (30, Duration::MINUTE),
            Self::Hold => (10, Duration::MINUTE),
            Self::Export => (10, Duration::MINUTE),
        }
    }
}

/// Counts within a span that begins with the first try.
pub struct Limits {
    counts: Mutex<HashMap<(What, String), (OffsetDateTime, u32)>>,
    off: bool,
}

impl Limits {
    /// Nothing counted yet.
    pub fn new() -> Self {
        Self { counts: Mutex::default(), off: false }
    }

    /// Counts nothing: for load tests, where a thousand visitors share one address.
    pub fn off() -> Self {
        Self { counts: Mutex::default(), off: true }
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
        if counts.len() > 10_000 {
            counts.retain(|(what, _), (since, _)| now - *since < what.rule().1);
        }
        let entry = counts.entry((what, whom.to_owned())).or_insert((now, 0));
        // A span that begins in the future was counted by a clock that has been set back since.
        if now - entry.0 >= span || now < entry.0 {
            *entry = (now, 0);
        }
        entry.1 += 1;
        if entry.1 <= most { Ok(()) } else { Err((entry.0 + span - now).whole_seconds().max(1)) }
    }
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
            assert_eq!(limits.count(What::LinkByMailbox, "a", start), Ok(()));
        }
        assert_eq!(limits.count(What::LinkByMailbox, "a", start + Duration::minutes(1)), Err(59 * 60));
        assert_eq!(limits.count(What::LinkByMailbox, "b", start), Ok(()), "another mailbox is not held back");
        assert_eq!(limits.count(What::LinkByMailbox, "a", start + Duration::HOUR), Ok(()));
        for _ in 0..3 {
            let _ = limits.count(What::LinkByMailbox, "a", start + Duration::HOUR);
        }
        assert_eq!(limits.count(What::LinkByMailbox, "a", start), Ok(()), "a clock set back holds nobody back");
    }
}
