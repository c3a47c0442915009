//! How many reports of a client are taken: each is kept for good, and a mail goes to the studio with most of them.

use time::{Duration, OffsetDateTime};

use super::{ReadBy, SkinTest, TestResult};

/// How many reports are taken within a day. A graver one than all of that day always is.
const MOST_A_DAY: usize = 10;
/// How soon the same is taken for a form that was sent twice.
const TWICE: Duration = Duration::hours(1);

/// How grave a result is among others.
fn gravity(result: TestResult) -> u8 {
    match result {
        TestResult::NotYetRead | TestResult::DidNotReport | TestResult::NoVisibleChange => 0,
        TestResult::FaintPink | TestResult::RemovedEarly => 1,
        TestResult::ItchOrRaised => 2,
        TestResult::SwellingOrBlister => 3,
        TestResult::EyeOrBreathing => 4,
    }
}

impl SkinTest {
    /// Whether a client's report is taken now.
    pub fn takes_report(&self, result: TestResult, now: OffsetDateTime) -> bool {
        let hers = self.readings.iter().filter(|one| one.by == ReadBy::Client && now - one.at < Duration::DAY);
        let worst = hers.clone().map(|one| gravity(one.result)).max();
        hers.count() < MOST_A_DAY || worst.is_none_or(|worst| gravity(result) > worst)
    }

    /// Whether the last look at it was a client's report of the same just now. That nothing is to be seen is never the same:
    /// it passes the test or doesn't, by when it was said.
    pub fn was_just_told(&self, result: TestResult, now: OffsetDateTime) -> bool {
        let last = self.readings.iter().max_by_key(|one| one.at);
        let same = |one: &super::Reading| one.by == ReadBy::Client && one.result == result && now - one.at < TWICE;
        result != TestResult::NoVisibleChange && last.is_some_and(same)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::ids::{ProductId, SkinTestId};
    use crate::domain::skin_test::Reading;
    use time::macros::datetime;

    const NOW: OffsetDateTime = datetime!(2026-03-06 12:00 UTC);

    fn test(readings: &[(Duration, TestResult, ReadBy)]) -> SkinTest {
        SkinTest {
            id: SkinTestId::from_random([1; 16]),
            product: ProductId::from_random([2; 16]),
            applied_at: NOW - Duration::days(3),
            reliable: true,
            voided: None,
            readings: readings
                .iter()
                .map(|(ago, result, by)| Reading { at: NOW - *ago, result: *result, by: *by })
                .collect(),
        }
    }

    #[test]
    fn so_many_a_day_and_a_graver_one_always() {
        let order = [
            TestResult::NoVisibleChange,
            TestResult::FaintPink,
            TestResult::ItchOrRaised,
            TestResult::SwellingOrBlister,
            TestResult::EyeOrBreathing,
        ];
        let told = |count: usize, ago: Duration, result, by| test(&vec![(ago, result, by); count]);
        let recent = Duration::DAY - Duration::SECOND;
        for (n, worst) in order.into_iter().enumerate() {
            let full = told(10, recent, worst, ReadBy::Client);
            for (m, result) in order.into_iter().enumerate() {
                assert_eq!(full.takes_report(result, NOW), m > n, "{result:?} after {worst:?}");
                assert!(told(9, recent, worst, ReadBy::Client).takes_report(result, NOW));
                assert!(told(10, Duration::DAY, worst, ReadBy::Client).takes_report(result, NOW), "of the day before");
                assert!(told(10, recent, worst, ReadBy::Practitioner).takes_report(result, NOW), "the team's");
            }
        }
        let washed = told(10, recent, TestResult::RemovedEarly, ReadBy::Client);
        assert_eq!(
            [TestResult::FaintPink, TestResult::ItchOrRaised].map(|one| washed.takes_report(one, NOW)),
            [false, true]
        );
        let mut mixed = told(9, recent, TestResult::NoVisibleChange, ReadBy::Client);
        mixed.readings.push(Reading { at: NOW, result: TestResult::ItchOrRaised, by: ReadBy::Client });
        assert!(
            !mixed.takes_report(TestResult::ItchOrRaised, NOW) && mixed.takes_report(TestResult::EyeOrBreathing, NOW)
        );
    }

    #[test]
    fn the_same_within_an_hour_was_sent_twice() {
        let (itch, pink, clear) = (TestResult::ItchOrRaised, TestResult::FaintPink, TestResult::NoVisibleChange);
        let just = |readings: &[_], result| test(readings).was_just_told(result, NOW);
        let ago = Duration::HOUR - Duration::SECOND;
        assert!(just(&[(ago, itch, ReadBy::Client)], itch));
        assert!(!just(&[(Duration::HOUR, itch, ReadBy::Client)], itch), "an hour ago");
        assert!(!just(&[(ago, itch, ReadBy::Practitioner)], itch), "somebody else saw it");
        assert!(!just(&[(ago, itch, ReadBy::Client)], pink));
        assert!(!just(&[(ago, clear, ReadBy::Client)], clear), "when that was seen counts");
        assert!(!just(&[], itch));
        let since = [(Duration::ZERO, pink, ReadBy::Client), (ago, itch, ReadBy::Client)];
        assert!(!just(&since, itch) && just(&since, pink), "in whatever order they are");
    }
}
