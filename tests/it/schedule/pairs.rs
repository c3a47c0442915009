//! Skin tests and the treatments they are for.

use palpebra::domain::schedule::{FreeTime, Occupation, PairRule, Search, free_times, pairs};
use proptest::prelude::*;
use time::Duration;

use super::model::case;

/// The rule in its own words, over starts and lengths.
fn fits(test: &FreeTime<'_>, treatment: &FreeTime<'_>, rule: PairRule) -> bool {
    let from = test.starts_at() + Duration::minutes(i64::from(test.service.minutes()));
    treatment.starts_at() - from >= Duration::hours(i64::from(rule.floor_hours))
        && treatment.starts_at() >= test.starts_at() + Duration::minutes(i64::from(test.service.total()))
        && treatment.civil.date() - test.civil.date() <= Duration::days(i64::from(rule.valid_days))
}

proptest! {
    #[test]
    fn schedule_pairs_are_all_those_that_fit(
        case in case(), floor_hours in 0u16..60, valid_days in 0u16..4, long in 5u16..30, after in 0u16..30,
    ) {
        let rule = PairRule { floor_hours, valid_days };
        let service = Occupation::parse(long, after).unwrap();
        case.with_search(|search| {
            let test_search = Search { service, earliest: None, ..*search };
            let (all_tests, all_treatments) = (free_times(&test_search), free_times(search));
            let found = pairs(&test_search, search, rule);
            let starts = |times: &[FreeTime<'_>]| times.iter().map(FreeTime::starts_at).collect::<Vec<_>>();
            let (kept_tests, kept_treatments) = (starts(found.tests()), starts(found.treatments()));
            for test in all_tests.iter().step_by(25) {
                let wanted: Vec<_> = all_treatments.iter().copied().filter(|t| fits(test, t, rule)).collect();
                prop_assert_eq!(starts(found.treatments_for(test)), starts(&wanted));
                prop_assert_eq!(kept_tests.contains(&test.starts_at()), !wanted.is_empty());
            }
            for treatment in all_treatments.iter().step_by(25) {
                let wanted: Vec<_> = all_tests.iter().copied().filter(|t| fits(t, treatment, rule)).collect();
                prop_assert_eq!(starts(found.tests_for(treatment)), starts(&wanted));
                prop_assert_eq!(kept_treatments.contains(&treatment.starts_at()), !wanted.is_empty());
            }
            Ok(())
        })?;
    }
}
