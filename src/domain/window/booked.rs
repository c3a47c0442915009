//! Which days lie too near to treatments that are booked.

use super::{RetouchRule, window_of_service};
use crate::domain::catalogue::ServiceKind;
use time::Date;

/// Whether a treatment of this kind on `day` would come too soon after the treatments so far and those that are
/// `booked` before it, or would make one that is booked after it come too soon. Of two on one day either may be the later.
///
/// `booked` leaves out the treatment itself, for one that is moved. `rule` gives the rule of a single kind as the
/// treatment itself sees it, or as the one at that place of `booked` does.
pub fn too_near<'a>(
    past: &[(ServiceKind, Date)],
    booked: &[(ServiceKind, Date)],
    (kind, day): (ServiceKind, Date),
    rule: impl Fn(Option<usize>, ServiceKind) -> Option<&'a RetouchRule>,
) -> bool {
    let opens = |kind, visits: &[_], whose| {
        window_of_service(kind, visits, |part| rule(whose, part), &[]).map(|window| window.opens())
    };
    let until = |last: Date| {
        let before = booked.iter().filter(move |(_, on)| *on <= last);
        past.iter().chain(before).copied().collect::<Vec<_>>()
    };
    if opens(kind, &until(day), None) > Some(day) {
        return true;
    }
    booked.iter().enumerate().filter(|(_, (_, on))| *on >= day).any(|(place, &(later, on))| {
        let mut visits: Vec<_> = past.to_vec();
        visits.extend(booked.iter().filter(|(_, one)| *one < on));
        let without = opens(later, &visits, Some(place));
        visits.push((kind, day));
        let with = opens(later, &visits, Some(place));
        // What comes too soon anyway is no reason against this day.
        with > Some(on) && with > without
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::window::{GrowthRule, IntervalRule, Limits, window};
    use proptest::prelude::*;
    use time::Duration;
    use time::macros::date;

    const DAY: Date = date!(2026 - 06 - 01);

    fn on(days: i64) -> Date {
        DAY + Duration::days(days)
    }

    fn lifts(days: &[i64]) -> Vec<(ServiceKind, Date)> {
        days.iter().map(|&days| (ServiceKind::LashLift, on(days))).collect()
    }

    fn near(past: &[i64], booked: &[i64], day: i64) -> bool {
        let rule = RetouchRule::default_for(ServiceKind::LashLift);
        too_near(&lifts(past), &lifts(booked), (ServiceKind::LashLift, on(day)), |_, _| Some(&rule))
    }

    #[test]
    fn a_lift_that_is_booked_closes_the_days_around_it() {
        // A first lift leaves the window closed for 46 days under the default cycle.
        for (day, too_near) in [(0, true), (1, true), (45, true), (46, false), (-45, true), (-46, false), (-1, true)] {
            assert_eq!(near(&[], &[0], day), too_near, "{day}");
        }
        assert!(near(&[0], &[], 45) && !near(&[0], &[], 46), "as a lift that is past does");
    }

    #[test]
    fn two_lifts_before_count_for_one_that_is_booked_after_them() {
        // Strict about lashes that would carry three lifts, so that the one before the last still counts.
        let cycle = GrowthRule::default().cycle().clone();
        let limits = Limits::parse(0.5, 0.01, 0.35, 0.01).unwrap();
        let rule = RetouchRule::Growth(GrowthRule::parse(cycle, limits, 42).unwrap());
        let near = |past: &[_], booked: &[_], day| {
            too_near(&lifts(past), &lifts(booked), (ServiceKind::LashLift, on(day)), |_, _| Some(&rule))
        };
        let third = window(&[on(0), on(46)], &rule, &[]).unwrap().opens();
        let third = (third - DAY).whole_days();
        assert!(third > 46 + 46, "{third}");
        assert!(!near(&[0], &[46], third) && near(&[0], &[46], third - 1));
        assert!(!near(&[0], &[third], 46), "and the one between them may be booked last");
        assert!(near(&[0], &[46 + 45], 46));
    }

    #[test]
    fn what_comes_too_soon_anyway_says_nothing_of_a_day_long_before() {
        assert!(!near(&[], &[100, 101], 0));
        assert!(near(&[], &[100, 101], 99));
        assert!(near(&[], &[100, 100], 99), "of two on one day neither comes after the other");
        let (short, long) = (IntervalRule::parse(5, 5, 5).unwrap(), IntervalRule::parse(20, 20, 20).unwrap());
        let (short, long) = (RetouchRule::Interval(short), RetouchRule::Interval(long));
        let rule = |whose: Option<usize>, _| Some(if whose == Some(1) { &long } else { &short });
        let near = |booked: &[_]| too_near(&[], &lifts(booked), (ServiceKind::LashLift, on(0)), rule);
        assert!(!near(&[6, 19]), "the one in between is nearer to the last");
        assert!(near(&[40, 19]));
    }

    #[test]
    fn only_what_is_done_to_the_same_hair_counts() {
        let rule = RetouchRule::Interval(IntervalRule::parse(10, 10, 10).unwrap());
        let any = |booked, kind| too_near(&[], &[(booked, DAY)], (kind, on(1)), |_, _| Some(&rule));
        assert!(!any(ServiceKind::BrowTint, ServiceKind::LashTint));
        assert!(any(ServiceKind::LiftAndTint, ServiceKind::LashTint));
        assert!(any(ServiceKind::LashLift, ServiceKind::LiftAndTint));
    }

    #[test]
    fn each_treatment_goes_by_the_rule_of_its_own_service() {
        let (short, long) = (IntervalRule::parse(5, 5, 5).unwrap(), IntervalRule::parse(20, 20, 20).unwrap());
        let (short, long) = (RetouchRule::Interval(short), RetouchRule::Interval(long));
        let rule = |whose: Option<usize>, _| Some(if whose.is_some() { &long } else { &short });
        let near = |day| too_near(&[], &lifts(&[0]), (ServiceKind::LashLift, on(day)), rule);
        assert!(near(4) && !near(5), "the new one after it waits by its own rule");
        assert!(near(-19) && !near(-20), "and the booked one after the new one by its own");
        let none = RetouchRule::Interval(IntervalRule::parse(0, 0, 0).unwrap());
        let near = |new, booked, day| {
            let rule = |whose: Option<usize>, _| Some(if whose.is_some() { booked } else { new });
            too_near(&[], &lifts(&[0]), (ServiceKind::LashLift, on(day)), rule)
        };
        assert!(near(&none, &short, 0) && !near(&none, &short, 1), "on one day the booked one may be the later");
        assert!(near(&short, &none, 0) && !near(&short, &none, -1), "or the new one");
    }

    proptest! {
        #[test]
        fn plain_intervals_look_the_same_both_ways(days in 0u32..60, booked in -100i64..100, day in -100i64..100) {
            let rule = RetouchRule::Interval(IntervalRule::parse(days, days, days).unwrap());
            let near = too_near(&[], &lifts(&[booked]), (ServiceKind::LashLift, on(day)), |_, _| Some(&rule));
            prop_assert_eq!(near, (booked - day).unsigned_abs() < u64::from(days));
        }
    }
}
