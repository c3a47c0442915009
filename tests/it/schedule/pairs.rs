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
            let key = |time: &FreeTime<'_>| time.starts_at();
            let keys = |times: &[FreeTime<'_>]| times.iter().map(key).collect::<Vec<_>>();
            let of_test = |test: &FreeTime<'_>| -> Vec<_> {
                all_treatments.iter().filter(|treatment| fits(test, treatment, rule)).map(key).collect()
            };
            let of_treatment = |treatment: &FreeTime<'_>| -> Vec<_> {
                all_tests.iter().filter(|test| fits(test, treatment, rule)).map(key).collect()
            };
            for test in &all_tests {
                let wanted = of_test(test);
                prop_assert_eq!(keys(found.treatments_for(test)), wanted.clone());
                prop_assert_eq!(keys(found.tests()).contains(&key(test)), !wanted.is_empty());
            }
            for treatment in &all_treatments {
                let wanted = of_treatment(treatment);
                prop_assert_eq!(keys(found.tests_for(treatment)), wanted.clone());
                prop_assert_eq!(keys(found.treatments()).contains(&key(treatment)), !wanted.is_empty());
            }
            Ok(())
        })?;
    }
}
