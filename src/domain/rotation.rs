//! When a backup is due, and which of many are kept: the newest of each of the last days, weeks and months that have one.

use std::collections::BTreeSet;
use std::fmt;

use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime, Time};

use super::zone::Zone;

/// When the night's backup is due, on the studio's clock.
const NIGHT: Time = time::macros::time!(2:30);
/// How long after a failure the night's backup is tried again.
const AGAIN: Duration = Duration::HOUR;
/// Older than this, the last good backup is a cause for alarm.
const STALE: Duration = Duration::hours(48);

/// Whether the night's backup is due: when none was made since the last time that it was half past two in the studio, and
/// the last try didn't fail just now.
pub fn is_due(good: Option<OffsetDateTime>, failed: Option<OffsetDateTime>, zone: &Zone, now: OffsetDateTime) -> bool {
    let done = good.is_some_and(|good| good >= zone.last_at(NIGHT, now));
    let lately = failed.is_some_and(|failed| now - failed < AGAIN);
    !done && !lately
}

/// Whether the last good backup is so old that somebody must look; a studio that is new has time.
pub fn is_stale(good: Option<OffsetDateTime>, since: OffsetDateTime, now: OffsetDateTime) -> bool {
    now - good.unwrap_or(since) > STALE
}

/// How many of each are kept. The newest backup of all always is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rotation {
    /// Days, counted over those with a backup.
    pub daily: u16,
    /// Weeks from Monday (ISO 8601).
    pub weekly: u16,
    /// Months.
    pub monthly: u16,
}

impl Default for Rotation {
    /// A week of days, a month of weeks, a year of months: common practice, no source.
    fn default() -> Self {
        Self { daily: 7, weekly: 5, monthly: 12 }
    }
}

impl fmt::Display for Rotation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{},{},{}", self.daily, self.weekly, self.monthly)
    }
}

impl Rotation {
    /// Reads days, weeks and months with commas between them, such as `7,5,12`; a thousand of each at most, and one in
    /// all at least.
    pub fn parse(text: &str) -> Option<Self> {
        let numbers: Vec<u16> = text.split(',').map(|part| part.trim().parse().ok()).collect::<Option<_>>()?;
        let [daily, weekly, monthly] = numbers[..] else { return None };
        let fits = [daily, weekly, monthly].iter().all(|number| *number <= 1000) && daily + weekly + monthly > 0;
        fits.then_some(Self { daily, weekly, monthly })
    }

    /// The moments whose backups may go.
    pub fn outlived(self, all: &[PrimitiveDateTime]) -> BTreeSet<PrimitiveDateTime> {
        let mut kept: BTreeSet<PrimitiveDateTime> = all.iter().max().copied().into_iter().collect();
        kept.extend(newest(all, self.daily, |day| (day.year(), day.ordinal())));
        kept.extend(newest(all, self.weekly, |day| {
            let (year, week, _) = day.to_iso_week_date();
            (year, u16::from(week))
        }));
        kept.extend(newest(all, self.monthly, |day| (day.year(), u16::from(u8::from(day.month())))));
        all.iter().filter(|moment| !kept.contains(moment)).copied().collect()
    }
}

/// The newest moment of each of the last spans that have one.
fn newest(all: &[PrimitiveDateTime], most: u16, span: impl Fn(Date) -> (i32, u16)) -> Vec<PrimitiveDateTime> {
    let mut sorted: Vec<PrimitiveDateTime> = all.to_vec();
    sorted.sort_unstable_by(|a, b| b.cmp(a));
    sorted.dedup_by_key(|moment| span(moment.date()));
    sorted.truncate(usize::from(most));
    sorted
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use time::macros::{date, datetime};

    use super::*;

    fn nights(count: i64) -> Vec<PrimitiveDateTime> {
        (0..count).map(|night| datetime!(2026-11-25 02:30) - Duration::days(night)).collect()
    }

    #[test]
    fn a_year_of_nights_becomes_days_weeks_and_months() {
        let all = nights(365);
        let gone = Rotation { daily: 3, weekly: 2, monthly: 3 }.outlived(&all);
        let kept: Vec<Date> = all.iter().filter(|moment| !gone.contains(moment)).map(|moment| moment.date()).collect();
        // Wednesday, Tuesday, Monday; the Sunday of the week before; the last days of the two months before.
        let expected = [
            date!(2026 - 11 - 25),
            date!(2026 - 11 - 24),
            date!(2026 - 11 - 23),
            date!(2026 - 11 - 22),
            date!(2026 - 10 - 31),
            date!(2026 - 09 - 30),
        ];
        assert_eq!(kept, expected);
    }

    #[test]
    fn the_night_s_backup_is_due_until_it_is_made() {
        let zone = Zone::parse("Europe/Berlin").unwrap();
        let night = datetime!(2026-11-25 01:30 UTC);
        assert!(is_due(None, None, &zone, night));
        assert!(!is_due(Some(night - Duration::MINUTE), None, &zone, night - Duration::SECOND), "it isn't night yet");
        assert!(is_due(Some(night - Duration::MINUTE), None, &zone, night));
        assert!(!is_due(Some(night), None, &zone, night + Duration::hours(23)));
        assert!(!is_due(None, Some(night), &zone, night + Duration::minutes(59)), "it failed just now");
        assert!(is_due(None, Some(night), &zone, night + Duration::HOUR));
    }

    #[test]
    fn two_days_without_a_backup_are_a_cause_for_alarm() {
        let made = datetime!(2026-11-25 01:30 UTC);
        let (ok, late) = (made + Duration::hours(48), made + Duration::hours(48) + Duration::SECOND);
        assert!(!is_stale(Some(made), made - Duration::WEEK, ok) && is_stale(Some(made), made - Duration::WEEK, late));
        assert!(!is_stale(None, made, ok) && is_stale(None, made, late));
    }

    #[test]
    fn numbers_are_read_or_refused() {
        assert_eq!(Rotation::parse("7,5,12"), Some(Rotation::default()));
        assert_eq!(Rotation::parse(&Rotation::default().to_string()), Some(Rotation::default()));
        for bad in ["", "7", "7,5", "7,5,12,1", "0,0,0", "-1,5,12", "1001,0,0", "a,b,c"] {
            assert_eq!(Rotation::parse(bad), None, "{bad}");
        }
    }

    #[test]
    fn a_rotation_keeps_something_and_not_all() {
        for good in ["1,0,0", "0,1,0", "0,0,1", "1000,1000,1000", "1,1,1"] {
            assert_eq!(Rotation::parse(good).map(|kept| kept.to_string()).as_deref(), Some(good));
        }
        for bad in ["0,0,0", "1001,1,1", "1,1001,1", "1,1,1001", "1,1", "1,1,1,1", "a,1,1", ""] {
            assert!(Rotation::parse(bad).is_none(), "{bad}");
        }
    }

    proptest! {
        #[test]
        fn what_is_kept_is_enough_and_no_more(
            minutes in prop::collection::btree_set(0i64..1_000_000, 0..60),
            daily in 0u16..10, weekly in 0u16..6, monthly in 0u16..6,
        ) {
            let all: Vec<_> = minutes.iter().map(|at| datetime!(2024-12-28 00:00) + Duration::minutes(*at)).collect();
            let rotation = Rotation { daily, weekly, monthly };
            let gone = rotation.outlived(&all);
            let kept: Vec<_> = all.iter().filter(|moment| !gone.contains(moment)).copied().collect();
            prop_assert!(all.is_empty() || kept.contains(all.last().unwrap()), "the newest stays");
            prop_assert!(kept.len() <= usize::from(daily + weekly + monthly).max(1));
            let days: BTreeSet<Date> = all.iter().map(|moment| moment.date()).collect();
            for day in days.iter().rev().take(usize::from(daily)) {
                let newest = all.iter().filter(|moment| moment.date() == *day).max().unwrap();
                prop_assert!(kept.contains(newest), "{day} has lost its newest");
            }
            // A second turn finds nothing more to do: nothing is lost by running twice.
            prop_assert!(rotation.outlived(&kept).is_empty());
        }
    }
}
