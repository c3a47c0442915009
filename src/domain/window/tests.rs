use super::*;
use crate::domain::growth::{CycleName, CycleSet};
use time::macros::date;

fn first_lift(rule: &GrowthRule) -> Window {
    window(&[date!(2026 - 01 - 01)], &RetouchRule::Growth(rule.clone()), &[]).unwrap()
}

#[test]
fn a_first_lift_under_the_default_set() {
    let window = first_lift(&GrowthRule::default());
    let day = |n| after(date!(2026 - 01 - 01), n);
    assert_eq!((window.opens(), window.due(), window.lapsed()), (day(46), day(55), day(94)));
    assert_eq!(window.binding().reason.as_str(), "two_or_more");
    assert_eq!(window.contributors().len(), 2, "one lift cannot make a third");
}

#[test]
fn a_late_wait_pushes_every_edge() {
    let until = date!(2027 - 01 - 01);
    let wait = Wait::Health { question: "eye_surgery".to_owned(), until };
    let window = window(&[date!(2026 - 01 - 01)], &RetouchRule::Growth(GrowthRule::default()), &[wait]).unwrap();
    assert_eq!((window.opens(), window.due(), window.lapsed()), (until, until, until));
    assert_eq!(window.binding().reason, Reason::HealthWait { question: "eye_surgery".to_owned() });
    assert_eq!(window.contributors().len(), 3);
}

#[test]
fn of_equal_dates_the_first_listed_binds() {
    let rule = RetouchRule::Interval(IntervalRule::parse(28, 42, 84).unwrap());
    let window = window(&[date!(2026 - 01 - 01)], &rule, &[Wait::Product { days: 28 }]).unwrap();
    assert_eq!(window.binding().reason, Reason::PlainInterval { days: 28 });
}

#[test]
fn states_change_on_the_edges() {
    let rule = RetouchRule::Interval(IntervalRule::parse(10, 20, 30).unwrap());
    let window = window(&[date!(2026 - 01 - 01)], &rule, &[]).unwrap();
    let states = [10, 11, 20, 21, 30, 31].map(|d| window.state(date!(2025 - 12 - 31) + Duration::days(d)));
    assert_eq!(
        states,
        [
            WindowState::NotYet,
            WindowState::Open,
            WindowState::Open,
            WindowState::Due,
            WindowState::Due,
            WindowState::Lapsed
        ]
    );
}

#[test]
fn without_a_visit_there_is_no_window() {
    assert_eq!(window(&[], &RetouchRule::Growth(GrowthRule::default()), &[Wait::Product { days: 7 }]), None);
}

#[test]
fn a_combined_service_opens_with_its_later_part() {
    let (lift, tint) =
        (RetouchRule::default_for(ServiceKind::LashLift), RetouchRule::default_for(ServiceKind::LashTint));
    let rule = |kind| Some(if kind == ServiceKind::LashLift { &lift } else { &tint });
    let visits = [
        (ServiceKind::LiftAndTint, date!(2026 - 01 - 01)),
        (ServiceKind::LashTint, date!(2026 - 02 - 10)),
        (ServiceKind::BrowTint, date!(2026 - 03 - 10)),
    ];
    let window = window_of_service(ServiceKind::LiftAndTint, &visits, rule, &[]).unwrap();
    assert_eq!(window.opens(), date!(2026 - 03 - 10), "28 days after the tint, later than the lift's 46 days");
    assert_eq!(window.binding().reason, Reason::PlainInterval { days: 28 });
    let lift_alone = window_of_service(ServiceKind::LashLift, &visits, rule, &[]).unwrap();
    assert_eq!(lift_alone.opens(), date!(2026 - 02 - 16));
}

#[test]
fn rules_are_stored_and_read_back() {
    for kind in ServiceKind::ALL {
        let rule = RetouchRule::default_for(kind);
        let stored = serde_json::to_string(&rule).unwrap();
        assert_eq!(serde_json::from_str::<RetouchRule>(&stored).unwrap(), rule, "{stored}");
    }
    let bad = r#"{"rule":"interval","opens_days":9,"due_days":8,"lapsed_days":10}"#;
    assert!(serde_json::from_str::<RetouchRule>(bad).is_err());
}

/// Lash tint 4–6, brow lamination 6–8, brow tint 3–6 weeks between visits: common practice, no source.
#[test]
fn a_new_studio_starts_with_what_is_common_practice() {
    let weeks = |kind| match RetouchRule::default_for(kind) {
        RetouchRule::Interval(rule) => [rule.opens_days(), rule.due_days(), rule.lapsed_days()].map(|days| days / 7),
        RetouchRule::Growth(rule) => [rule.floor_days() / 7, 0, 0],
    };
    assert_eq!(weeks(ServiceKind::LashTint), [4, 6, 12]);
    assert_eq!(weeks(ServiceKind::BrowLamination), [6, 8, 16]);
    assert_eq!(weeks(ServiceKind::BrowTint), [3, 6, 12]);
    assert_eq!(weeks(ServiceKind::LashLift), [6, 0, 0]);
    for kind in ServiceKind::ALL {
        let RetouchRule::Interval(rule) = RetouchRule::default_for(kind) else { continue };
        let days = [rule.opens_days(), rule.due_days(), rule.lapsed_days()];
        assert!(days.iter().all(|days| days % 7 == 0), "{kind:?}: whole weeks");
    }
    assert_eq!(GrowthRule::default().floor_days(), 42);
}

#[test]
fn rules_are_taken_up_to_their_limits_and_no_further() {
    let interval = IntervalRule::parse;
    assert!(interval(10, 10, 10).is_ok() && interval(0, 0, 3652).is_ok());
    assert_eq!([interval(11, 10, 20), interval(1, 21, 20)], [Err(IntervalRefused::Order); 2]);
    assert_eq!([interval(1, 2, 3653), interval(1, 2, 4000)], [Err(IntervalRefused::TooLong); 2]);

    let limits = Limits::parse(0.45, 0.25, 0.3, 0.3).unwrap();
    let shares = [limits.two(), limits.three(), limits.due(), limits.lapsed()];
    assert_eq!(shares.map(Share::get), [0.45, 0.25, 0.3, 0.3]);
    assert!(Limits::parse(1e-6, 1.0, 1.0, 1e-6).is_ok());
    for bad in [0.0, 9e-7, -0.1, 1.1, f64::NAN] {
        assert_eq!(Limits::parse(bad, 0.2, 0.4, 0.1), Err(LimitsRefused::OutOfRange), "{bad}");
    }
    assert_eq!(Limits::parse(0.5, 0.2, 0.3, 0.31), Err(LimitsRefused::Order));

    let growth = |days| GrowthRule::parse(CycleSet::default(), limits, days);
    assert_eq!(growth(3652).unwrap().floor_days(), 3652);
    assert_eq!([growth(3653), growth(9999)], [Err(RuleRefused::Floor), Err(RuleRefused::Floor)]);
    let all_at_once = Limits::parse(1.0, 1.0, 1.0, 1.0).unwrap();
    let rule = GrowthRule::parse(CycleSet::default(), all_at_once, 0).unwrap();
    assert_eq!((rule.due_days(), rule.lapsed_days()), (0, 0), "all lashes are at most all lashes, on the day itself");
}

#[test]
fn a_growth_rule_is_stored_with_all_that_it_counts_with() {
    let cycle = CycleSet::shipped(CycleName::Review).unwrap();
    let limits = Limits::parse(0.45, 0.25, 0.3, 0.2).unwrap();
    let rule = GrowthRule::parse(cycle.clone(), limits, 35).unwrap();
    let stored = serde_json::to_string(&rule).unwrap();
    let read: GrowthRule = serde_json::from_str(&stored).unwrap();
    assert_eq!((read.cycle(), read.limits(), read.floor_days()), (&cycle, limits, 35));
    assert_eq!(read, rule, "and finds the same days");
    assert!(serde_json::from_str::<GrowthRule>(&stored.replace(":35", ":4000")).is_err());
    assert!(serde_json::from_str::<Limits>(r#"{"two":0.5,"three":0.2,"due":0.1,"lapsed":0.4}"#).is_err());
}

#[test]
fn a_window_looks_at_the_two_newest_days_however_they_are_listed() {
    let days = [date!(2026 - 01 - 01), date!(2026 - 02 - 20), date!(2026 - 04 - 01)];
    let rule = RetouchRule::Growth(GrowthRule::default());
    let of = |order: &[usize]| window(&order.iter().map(|&n| days[n]).collect::<Vec<_>>(), &rule, &[]).unwrap();
    let wanted = of(&[1, 2]);
    assert_eq!(wanted.contributors().len(), 3, "{wanted:?}");
    let orders: [&[usize]; 8] =
        [&[2, 1], &[0, 1, 2], &[0, 2, 1], &[1, 0, 2], &[1, 2, 0], &[2, 0, 1], &[2, 1, 0], &[2, 2, 1, 1, 0]];
    for order in orders {
        assert_eq!(of(order), wanted, "{order:?}");
    }
    assert_eq!(of(&[2, 2]).contributors().len(), 2, "one day listed twice is one visit");
}

#[test]
fn reasons_are_told_with_their_figures() {
    let limit = Share::parse(0.5).unwrap();
    let told = [
        (Reason::StudioMinimum { days: 42 }, "the studio's minimum of 42 days"),
        (Reason::TwoOrMore { limit }, "until then more than 50 % of the lashes would carry two lifts or more"),
        (
            Reason::ThreeOrMore { limit: Share::parse(0.125).unwrap() },
            "until then more than 12.5 % of the lashes would carry three lifts or more",
        ),
        (Reason::HealthWait { question: "eye_surgery".into() }, "a health answer asks to wait"),
    ];
    for (reason, words) in told {
        assert_eq!(reason.to_string(), words);
    }
}

#[test]
fn a_range_of_windows_runs_from_the_shortest_mean_to_the_longest() {
    let rule = GrowthRule::default();
    let means = Range { median: 90.0, low: 60.0, high: 135.0 };
    let range = window_range(&[date!(2026 - 01 - 01)], &rule, means, &[]).unwrap().unwrap();
    assert_eq!(range.median, first_lift(&rule));
    assert!(range.low.due() < range.median.due() && range.median.due() < range.high.due());
    assert_eq!(window_range(&[], &rule, means, &[]).unwrap(), None);
    let impossible = Range { median: 0.0, ..means };
    assert!(window_range(&[date!(2026 - 01 - 01)], &rule, impossible, &[]).is_err());
}
