use super::*;
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
