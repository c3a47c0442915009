//! What is held from where: so many bookings at once, and one chair only so long. Kept in memory alone, since an address
//! says who somebody is.

use std::collections::HashMap;
use std::sync::Mutex;

use time::{Duration, OffsetDateTime};

use crate::domain::ids::{DraftId, PractitionerId};
use crate::store::visits::Visit;

/// How many bookings may hold times at once from one address, or for one signed-in client. A studio whose clients book at
/// its desk or while they wait, all through one network, has hardly more of them at once; a stranger can't empty a
/// calendar with so few.
const MOST_FROM_ONE_PLACE: usize = 6;

/// The same from an IPv6 network of 48 bits, of which one household or office may have all, and a phone's carrier shares
/// out a piece of it to each phone.
const MOST_FROM_A_WIDE_PLACE: usize = 24;

/// A practitioner's time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Span {
    practitioner: PractitionerId,
    from: OffsetDateTime,
    until: OffsetDateTime,
}

impl Span {
    /// That of a visit, with what comes after it.
    pub fn of(visit: &Visit) -> Self {
        Self { practitioner: visit.practitioner.clone(), from: visit.starts_at, until: visit.busy_until }
    }

    /// Whose time, and its begin and end in Unix seconds.
    pub(super) fn seconds(&self) -> (&PractitionerId, i64, i64) {
        (&self.practitioner, self.from.unix_timestamp(), self.until.unix_timestamp())
    }

    fn overlaps(&self, other: &Self) -> bool {
        self.practitioner == other.practitioner && self.from < other.until && other.from < self.until
    }
}

/// A time that is or was held.
struct Hold {
    draft: DraftId,
    span: Span,
    since: OffsetDateTime,
    /// When it has been free for long enough to be held from here as if it never was.
    over: OffsetDateTime,
}

/// What is held, by who holds it: what a household or office shares, or a signed-in client.
pub struct Holds {
    by: Mutex<HashMap<String, Vec<Hold>>>,
    off: bool,
}

impl Holds {
    /// Nothing held yet; `off` for load tests, where a thousand visitors share one address.
    pub fn new(off: bool) -> Self {
        Self { by: Mutex::default(), off }
    }

    /// The other bookings that took times from here lately, and may hold them still, with how many may: from here alone,
    /// and from the wider network that this is a piece of.
    pub fn others(&self, from: &str, draft: &DraftId) -> [(Vec<DraftId>, usize); 2] {
        let by = self.by.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let gather = |within: &dyn Fn(&str) -> bool| {
            let mut others: Vec<DraftId> = Vec::new();
            let places = by.iter().filter(|(place, _)| within(place));
            for hold in places.flat_map(|(_, holds)| holds).filter(|hold| hold.draft != *draft) {
                if !others.contains(&hold.draft) {
                    others.push(hold.draft.clone());
                }
            }
            others
        };
        let wide = wide(from);
        [
            (gather(&|place| place == from), MOST_FROM_ONE_PLACE),
            (gather(&|place| wide.is_some() && self::wide(place) == wide), MOST_FROM_A_WIDE_PLACE),
        ]
    }

    /// The times that can't be held from here just now, since they were held for as long as they may be.
    pub fn spent(&self, from: &str, lasts: Duration, now: OffsetDateTime) -> Vec<Span> {
        let by = self.by.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let spent = |hold: &&Hold| hold.over > now && hold.since + longest(lasts) <= now;
        by.get(from).into_iter().flatten().filter(spent).map(|hold| hold.span.clone()).collect()
    }

    /// Notes that a booking holds these times, and says until when it may.
    ///
    /// # Errors
    /// When they can be held from here again: one of them was held for as long as it may be.
    pub fn note(
        &self,
        from: &str,
        draft: &DraftId,
        spans: &[Span],
        lasts: Duration,
        now: OffsetDateTime,
    ) -> Result<OffsetDateTime, OffsetDateTime> {
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
        let same = || holds.iter().filter(|hold| spans.iter().any(|span| span.overlaps(&hold.span)));
        let since = same().map(|hold| hold.since).min().unwrap_or(now);
        let until = (now + lasts).min(since + longest(lasts));
        if until <= now {
            return Err(same().map(|hold| hold.over).max().unwrap_or(now));
        }
        holds.retain(|hold| hold.draft != *draft || !spans.contains(&hold.span));
        let over = until + lasts;
        holds.extend(spans.iter().map(|span| Hold { draft: draft.clone(), span: span.clone(), since, over }));
        Ok(until)
    }
}

/// The IPv6 network of 48 bits that one of 64 bits is in.
fn wide(place: &str) -> Option<&str> {
    place.rsplit_once(':').map(|(wide, _)| wide)
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

    /// From so many minutes after an hour, for one hour.
    fn span(minute: i64) -> Span {
        let from = NOW + Duration::days(1) + Duration::minutes(minute);
        Span { practitioner: PractitionerId::from_random([1; 16]), from, until: from + Duration::HOUR }
    }

    fn note(holds: &Holds, from: &str, n: u8, minute: i64) -> Result<i64, i64> {
        noted(holds, from, (n, span(0)), minute)
    }

    fn noted(holds: &Holds, from: &str, (n, span): (u8, Span), minute: i64) -> Result<i64, i64> {
        let until = holds.note(from, &draft(n), &[span], WHILE, NOW + Duration::minutes(minute));
        let minutes = |until: OffsetDateTime| (until - NOW).whole_minutes();
        until.map(minutes).map_err(minutes)
    }

    #[test]
    fn a_time_is_renewed_ten_times_and_then_has_to_be_free_for_a_while_whoever_asks_from_there() {
        let holds = Holds::new(false);
        for n in 0..=10 {
            assert_eq!(note(&holds, "a", 1, n * 20), Ok((n + 1) * 20));
        }
        assert_eq!(note(&holds, "a", 1, 210), Ok(220), "not beyond the longest");
        assert_eq!(note(&holds, "a", 1, 220), Err(240));
        assert_eq!(note(&holds, "a", 2, 230), Err(240), "another booking from there is no way round");
        assert_eq!(note(&holds, "b", 3, 230), Ok(250), "somebody else");
        assert_eq!(note(&holds, "a", 1, 240), Ok(260), "and again");
    }

    #[test]
    fn a_quarter_of_an_hour_later_is_the_same_chair_and_the_hour_after_it_is_not() {
        let holds = Holds::new(false);
        for n in 0..=10 {
            assert_eq!(noted(&holds, "a", (1, span(0)), n * 20), Ok((n + 1) * 20));
        }
        assert_eq!(noted(&holds, "a", (1, span(15)), 219), Ok(220), "no more than is left");
        let spent = |from, minute| holds.spent(from, WHILE, NOW + Duration::minutes(minute));
        assert_eq!((spent("a", 219), spent("b", 220)), (vec![], vec![]));
        assert_eq!(spent("a", 220), [span(0), span(15)]);
        assert_eq!(noted(&holds, "a", (1, span(15)), 221), Err(240));
        assert_eq!((spent("a", 239).len(), spent("a", 240)), (2, vec![]));
        assert_eq!(noted(&holds, "a", (1, span(75)), 221), Ok(241));
        let other = Span { practitioner: PractitionerId::from_random([2; 16]), ..span(0) };
        assert_eq!(noted(&holds, "a", (1, other), 221), Ok(241), "somebody else's chair");
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
        let spans = [span(0), span(120)];
        for n in 1..4 {
            assert!(holds.note("a", &draft(n), &spans, WHILE, NOW).is_ok());
        }
        let here = |from: &str| holds.others(from, &draft(1)).map(|(others, _)| others);
        assert_eq!(here("a"), [vec![draft(2), draft(3)], vec![]]);
        assert_eq!(here("b"), [vec![], vec![]]);
        assert!(holds.note("b", &draft(9), &spans, WHILE, NOW + WHILE * 2).is_ok());
        assert_eq!(here("a"), [vec![], vec![]]);
        assert_eq!(holds.by.lock().unwrap().len(), 1);
    }

    #[test]
    fn networks_of_one_line_are_counted_together_too() {
        let holds = Holds::new(false);
        for (n, place) in (1..).zip(["2001:db8:1:1", "2001:db8:1:2", "2001:db8:2:1", "192.0.2.1"]) {
            assert!(holds.note(place, &draft(n), &[span(0)], WHILE, NOW).is_ok());
        }
        let many = holds.others("2001:db8:1:1", &draft(9)).map(|(others, _)| others.len());
        assert_eq!(many, [1, 2]);
        assert_eq!(holds.others("192.0.2.1", &draft(9)).map(|(others, _)| others.len()), [1, 0]);
    }

    #[test]
    fn the_longest_is_20_hours() {
        assert_eq!(longest(Duration::minutes(240)), Duration::hours(20));
        assert_eq!(longest(Duration::minutes(5)), Duration::minutes(55));
    }
}
