//! What is held from where: so many bookings at once from one address, and one time only so long. Kept in memory alone,
//! since an address says who somebody is.

use std::collections::HashMap;
use std::sync::Mutex;

use time::{Duration, OffsetDateTime};

use crate::domain::ids::DraftId;

/// How many bookings may hold times at once from one address. A studio whose clients book at its desk or while they
/// wait, all through one network, has hardly more of them at once; a stranger can't empty a calendar with so few.
const MOST_HELD_FROM_ONE_PLACE: usize = 6;

/// A time that is or was held.
struct Hold {
    draft: DraftId,
    time: String,
    since: OffsetDateTime,
    until: OffsetDateTime,
    /// When it has been free for long enough to be held from here as if it never was.
    over: OffsetDateTime,
}

/// What is held, by what a household or office shares.
pub struct Holds {
    by: Mutex<HashMap<String, Vec<Hold>>>,
    off: bool,
}

impl Holds {
    /// Nothing held yet; `off` for load tests, where a thousand visitors share one address.
    pub fn new(off: bool) -> Self {
        Self { by: Mutex::default(), off }
    }

    /// Whether one more booking may hold times where so many do.
    pub fn takes_one_more_than(&self, many: usize) -> bool {
        many < MOST_HELD_FROM_ONE_PLACE
    }

    /// The other bookings that took times from here and may hold them still.
    pub fn others(&self, from: &str, draft: &DraftId, now: OffsetDateTime) -> Vec<DraftId> {
        let by = self.by.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let mut others: Vec<DraftId> = Vec::new();
        for hold in by.get(from).into_iter().flatten().filter(|hold| hold.draft != *draft && hold.until > now) {
            if !others.contains(&hold.draft) {
                others.push(hold.draft.clone());
            }
        }
        others
    }

    /// Notes that a booking holds these times, and says until when it may.
    ///
    /// # Errors
    /// The seconds until they can be held from here again: one of them was held for as long as it may be.
    pub fn note(
        &self,
        from: &str,
        draft: &DraftId,
        times: &[String],
        lasts: Duration,
        now: OffsetDateTime,
    ) -> Result<OffsetDateTime, i64> {
        if self.off {
            return Ok(now + lasts);
        }
        let mut by = self.by.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        by.retain(|_, holds| {
            // What begins in the future was held by a clock that has been set back since.
            holds.retain(|hold| hold.over > now && hold.since <= now);
            !holds.is_empty()
        });
        let holds = by.entry(from.to_owned()).or_default();
        let same = || holds.iter().filter(|hold| times.contains(&hold.time));
        let since = same().map(|hold| hold.since).min().unwrap_or(now);
        let until = (now + lasts).min(since + longest(lasts));
        if until <= now {
            let free = same().map(|hold| hold.over).max().unwrap_or(now);
            return Err((free - now).whole_seconds().max(1));
        }
        holds.retain(|hold| hold.draft != *draft || !times.contains(&hold.time));
        let over = until + lasts;
        holds.extend(times.iter().map(|time| Hold { draft: draft.clone(), time: time.clone(), since, until, over }));
        Ok(until)
    }
}

/// How long one time can be held from one address: ten renewals, as whoever needs long is due (WCAG 2.2.1), or 20 hours.
fn longest(lasts: Duration) -> Duration {
    Duration::hours(20).min(lasts * 11)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: OffsetDateTime = OffsetDateTime::UNIX_EPOCH;
    const WHILE: Duration = Duration::minutes(20);

    fn draft(n: u8) -> DraftId {
        DraftId::from_random([n; 16])
    }

    fn note(holds: &Holds, from: &str, n: u8, minute: i64) -> Result<i64, i64> {
        let times = ["9 with Liv".to_owned()];
        let until = holds.note(from, &draft(n), &times, WHILE, NOW + Duration::minutes(minute));
        until.map(|until| (until - NOW).whole_minutes())
    }

    #[test]
    fn a_time_is_renewed_ten_times_and_then_has_to_be_free_for_a_while_whoever_asks_from_there() {
        let holds = Holds::new(false);
        for n in 0..=10 {
            assert_eq!(note(&holds, "a", 1, n * 20), Ok((n + 1) * 20));
        }
        assert_eq!(note(&holds, "a", 1, 210), Ok(220), "not beyond the longest");
        assert_eq!(note(&holds, "a", 1, 220), Err(20 * 60));
        assert_eq!(note(&holds, "a", 2, 230), Err(10 * 60), "another booking from there is no way round");
        assert_eq!(note(&holds, "b", 3, 230), Ok(250), "somebody else");
        assert_eq!(note(&holds, "a", 1, 240), Ok(260), "and again");
    }

    #[test]
    fn a_time_that_lapsed_long_ago_is_held_as_if_it_never_was() {
        let holds = Holds::new(false);
        assert_eq!(note(&holds, "a", 1, 0), Ok(20));
        assert_eq!(note(&holds, "a", 1, 230), Ok(250));
        assert_eq!(note(&holds, "a", 1, -5), Ok(15), "a clock set back");
    }

    #[test]
    fn what_is_held_is_counted_by_booking_and_forgotten_when_it_is_over() {
        let holds = Holds::new(false);
        let times = ["test".to_owned(), "treatment".to_owned()];
        for n in 1..4 {
            assert!(holds.note("a", &draft(n), &times, WHILE, NOW).is_ok());
        }
        assert_eq!(holds.others("a", &draft(1), NOW), [draft(2), draft(3)]);
        assert_eq!(holds.others("b", &draft(1), NOW), []);
        assert_eq!(holds.others("a", &draft(1), NOW + WHILE), []);
        assert!(holds.note("b", &draft(9), &times, WHILE, NOW + WHILE * 2).is_ok());
        assert_eq!(holds.by.lock().unwrap().len(), 1);
    }

    #[test]
    fn the_longest_is_20_hours() {
        assert_eq!(longest(Duration::minutes(240)), Duration::hours(20));
        assert_eq!(longest(Duration::minutes(5)), Duration::minutes(55));
    }
}
