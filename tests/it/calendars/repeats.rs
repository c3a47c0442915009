//! Rules by which events repeat, against python-dateutil.

use palpebra::domain::outside::Repeat;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use time::{Date, Duration, macros::date};

use super::reference;

const LAST: Date = date!(2026 - 12 - 31);

fn list<T: std::fmt::Display>(name: &str, values: &[T]) -> String {
    let values: Vec<_> = values.iter().map(ToString::to_string).collect();
    if values.is_empty() { String::new() } else { format!(";{name}={}", values.join(",")) }
}

/// Rules and starts. Left out are those that never name a day: dateutil would look for one until the year 9999.
fn case() -> impl Strategy<Value = (String, Date)> {
    let every = prop::sample::select(vec!["DAILY", "WEEKLY", "MONTHLY", "YEARLY"]);
    let months = prop::collection::btree_set(1..=12_u8, 0..3);
    let month_days = prop::collection::btree_set(prop_oneof![1..=28_i16, -28..=-1_i16], 0..3);
    let days = prop::sample::subsequence(vec!["MO", "TU", "WE", "TH", "FR", "SA", "SU"], 0..4);
    let ordinals = prop::collection::vec(prop_oneof![1..=4_i16, -4..=-1_i16], 4);
    let position = prop::option::of(prop::sample::select(vec![1_i16, -1]));
    let week = prop::sample::select(vec!["MO", "SU", "WE"]);
    let limits = (1..4_u16, prop::option::of(1..40_u16), any::<bool>(), 0..900_i64);
    (every, months, month_days, days, ordinals, position, week, limits).prop_map(
        |(every, months, month_days, days, ordinals, position, week, (interval, count, plain, day))| {
            let months: Vec<_> = months.into_iter().collect();
            // In weeks the RFC has no days of the month; with days of the week as well, hardly a day is left.
            let bare = every == "WEEKLY" || !days.is_empty();
            let month_days: Vec<_> = if bare { vec![] } else { month_days.into_iter().collect() };
            // RFC 5545 joins numbered days and plain ones; dateutil wants a day to be both.
            let numbered = matches!(every, "MONTHLY" | "YEARLY") && !plain;
            let ordinal = |n: i16| if numbered { n.to_string() } else { String::new() };
            let days: Vec<_> = days.iter().zip(ordinals).map(|(day, n)| format!("{}{day}", ordinal(n))).collect();
            let position: Vec<_> = position.filter(|_| !days.is_empty()).into_iter().collect();
            let count = count.map(|count| format!(";COUNT={count}")).unwrap_or_default();
            let interval = if months.is_empty() { interval } else { 1 };
            let start = date!(2024 - 01 - 01) + Duration::days(day);
            let start = if months.is_empty() { start } else { start.replace_day(start.day().min(28)).unwrap() };
            let rule = format!(
                "FREQ={every};INTERVAL={interval};WKST={week}{count}{}{}{}{}",
                list("BYMONTH", &months),
                list("BYMONTHDAY", &month_days),
                list("BYDAY", &days),
                list("BYSETPOS", &position),
            );
            (rule, start)
        },
    )
}

#[test]
fn rules_name_the_days_that_dateutil_names() {
    let mut runner = TestRunner::deterministic();
    let case = case();
    let cases: Vec<(String, Date)> = (0..200).map(|_| case.new_tree(&mut runner).unwrap().current()).collect();
    let asked: Vec<_> = cases.iter().map(|(rule, start)| [rule.clone(), start.to_string(), LAST.to_string()]).collect();
    let expected: Vec<Vec<String>> = reference("days", &serde_json::to_string(&asked).unwrap());
    let mut some = 0;
    for ((rule, start), expected) in cases.iter().zip(expected) {
        let days = Repeat::parse(rule).unwrap().days(*start, *start, LAST);
        let days: Vec<_> = days.iter().map(ToString::to_string).collect();
        assert_eq!(days, expected, "{rule} from {start}");
        some += usize::from(!days.is_empty());
        // Beginning later leaves out what lies before, and nothing else.
        let from = date!(2026 - 03 - 01);
        let later: Vec<_> = Repeat::parse(rule).unwrap().days(*start, from, LAST);
        let cut: Vec<_> = expected.into_iter().filter(|day| *day >= from.to_string()).collect();
        assert_eq!(later.iter().map(ToString::to_string).collect::<Vec<_>>(), cut, "{rule} from {start}");
    }
    assert!(some > 100, "most rules must name a day: {some}");
}

/// RFC 5545, 3.3.10: BYDAY is a list, and a day of either kind in it counts. In May 2026 the Fridays begin on the 1st and
/// the last Wednesday but one is the 20th.
#[test]
fn numbered_days_and_plain_ones_are_joined() {
    let days = |rule: &str| Repeat::parse(rule).unwrap().days(date!(2026 - 05 - 01), date!(2026 - 05 - 01), LAST);
    let may = |days: &[u8]| days.iter().map(|day| date!(2026 - 05 - 01).replace_day(*day).unwrap()).collect::<Vec<_>>();
    assert_eq!(days("FREQ=YEARLY;BYMONTH=5;BYDAY=-2WE,FR"), may(&[1, 8, 15, 20, 22, 29]));
    assert_eq!(days("FREQ=YEARLY;BYMONTH=5;BYDAY=-2WE,FR;BYSETPOS=1"), may(&[1]));
}
