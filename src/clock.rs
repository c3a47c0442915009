//! The only place that reads the clock or draws random bits.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use rand::{Rng, SeedableRng};
use time::OffsetDateTime;

/// Where the present comes from.
#[derive(Debug, Clone)]
pub struct Clock(Source);

#[derive(Debug, Clone)]
enum Source {
    System,
    /// Seconds that are added to the system's clock: a demo that begins on a chosen day and goes on from there.
    Shifted(i64),
    Hand(Arc<AtomicI64>),
}

impl Clock {
    /// The system's clock.
    pub fn system() -> Self {
        Self(Source::System)
    }

    /// A clock that reads `start` now and goes on at the usual pace.
    pub fn starting_at(start: OffsetDateTime) -> Self {
        Self(Source::Shifted(start.unix_timestamp() - system_seconds()))
    }

    /// A clock that stands until it is moved.
    pub fn by_hand(start: OffsetDateTime) -> Self {
        Self(Source::Hand(Arc::new(AtomicI64::new(start.unix_timestamp()))))
    }

    /// The present in UTC, to the second.
    pub fn now(&self) -> OffsetDateTime {
        let seconds = match &self.0 {
            Source::System => system_seconds(),
            Source::Shifted(by) => system_seconds().saturating_add(*by),
            Source::Hand(hand) => hand.load(Ordering::SeqCst),
        };
        OffsetDateTime::from_unix_timestamp(seconds).unwrap_or(OffsetDateTime::UNIX_EPOCH)
    }

    /// Moves a clock made by [`Clock::by_hand`]; the others go by themselves and stay as they are.
    pub fn advance(&self, by: time::Duration) {
        if let Source::Hand(hand) = &self.0 {
            hand.fetch_add(by.whole_seconds(), Ordering::SeqCst);
        }
    }
}

#[expect(clippy::disallowed_methods, reason = "this is the one place that may")]
fn system_seconds() -> i64 {
    OffsetDateTime::now_utc().unix_timestamp()
}

/// Where random bits come from.
#[derive(Debug, Clone)]
pub struct Random(Option<Arc<std::sync::Mutex<rand::rngs::StdRng>>>);

impl Random {
    /// The operating system's generator.
    pub fn system() -> Self {
        Self(None)
    }

    /// The same bits every time, for the demo and for tests.
    pub fn seeded(seed: u64) -> Self {
        Self(Some(Arc::new(std::sync::Mutex::new(rand::rngs::StdRng::seed_from_u64(seed)))))
    }

    /// `N` random bytes.
    pub fn bytes<const N: usize>(&self) -> [u8; N] {
        let mut bytes = [0; N];
        match &self.0 {
            None => rand::rng().fill_bytes(&mut bytes),
            Some(seeded) => {
                let mut generator = seeded.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
                generator.fill_bytes(&mut bytes);
            }
        }
        bytes
    }

    /// 128 random bits, for an id.
    pub fn id(&self) -> [u8; 16] {
        self.bytes()
    }

    /// 256 random bits as text, for a session or a link.
    pub fn token(&self) -> String {
        data_encoding::BASE64URL_NOPAD.encode(&self.bytes::<32>())
    }
}
