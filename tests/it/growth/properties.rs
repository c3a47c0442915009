//! What holds for every parameter set.

use super::{day, set};
use palpebra::domain::growth::Lifetimes;
use palpebra::domain::window::{GrowthRule, Limits, RetouchRule, Wait, Window, window};
use proptest::prelude::*;

/// Rounding allowed when two computed shares are compared.
const ROUNDING: f64 = 1e-12;

fn lifetimes() -> impl Strategy<Value = Lifetimes> {
    (10.0..1000.0_f64, 0.01..=1.0_f64).prop_map(|(mean, cv)| Lifetimes::parse(mean, cv).unwrap())
}

#[derive(Debug, Clone)]
struct Case {
    mean: f64,
    cv: f64,
    liftable_age: f64,
    limits: Limits,
    floor: u32,
    lifts: Vec<i64>,
}

impl Case {
    fn rule(&self) -> GrowthRule {
        GrowthRule::parse(set(self.mean, self.cv, self.liftable_age), self.limits, self.floor).unwrap()
    }

    fn window(&self) -> Window {
        self.window_with(&[])
    }

    fn window_with(&self, extra: &[Wait]) -> Window {
        let lifts: Vec<_> = self.lifts.iter().map(|&n| day(n)).collect();
        window(&lifts, &RetouchRule::Growth(self.rule()), extra).unwrap()
    }
}

prop_compose! {
    fn cases()(
        mean in 30.0..500.0_f64,
        cv in 0.05..=1.0_f64,
        young in prop_oneof![Just(0.0), 0.0..0.3_f64],
        two in 0.05..0.95_f64,
        three in 0.02..0.95_f64,
        due in 0.05..0.95_f64,
        lapsed in 0.05..1.0_f64,
        floor in 0..120_u32,
        lifts in prop::collection::vec(0..1500_i64, 1..9),
    ) -> Case {
        let limits = Limits::parse(two, three, due, due * lapsed).unwrap();
        Case { mean, cv, liftable_age: young * mean, limits, floor, lifts }
    }
}

proptest! {
    #[test]
    fn the_share_starts_at_one_never_rises_bends_upwards_and_vanishes(law in lifetimes(), t in 0.0..4.0_f64, step in 1e-3..1.0_f64) {
        let s = |ratio: f64| law.survival(ratio * law.mean_days());
        prop_assert_eq!(law.survival(0.0), 1.0);
        let (a, b, c) = (s(t), s(t + step), s(t + 2.0 * step));
        prop_assert!((0.0..=1.0).contains(&a));
        prop_assert!(b <= a + ROUNDING);
        prop_assert!(a - 2.0 * b + c >= -ROUNDING);
        prop_assert!(s(40.0) < 1e-12);
    }

    #[test]
    fn the_share_lies_between_the_fixed_and_the_exponential_law(law in lifetimes(), t in 0.0..6.0_f64) {
        let share = law.survival(t * law.mean_days());
        prop_assert!(share >= (1.0 - t).max(0.0) - ROUNDING);
        prop_assert!(share <= (-t).exp() + ROUNDING);
    }

    #[test]
    fn the_first_loss_is_one_over_the_mean_whatever_the_spread(law in lifetimes()) {
        let step = 1e-6 * law.mean_days();
        let rate = (1.0 - law.survival(step)) / step;
        prop_assert!((rate * law.mean_days() - 1.0).abs() < 1e-5, "{rate}");
    }

    #[test]
    fn the_mean_remaining_life_is_the_area_under_the_share(mean in 10.0..1000.0_f64, cv in 0.1..=1.0_f64) {
        let law = Lifetimes::parse(mean, cv).unwrap();
        // Simpson's rule, to where nothing is left.
        let (n, end) = (800_u32, 40.0 * mean * cv.max(0.1));
        let area: f64 = (0..=n)
            .map(|i| {
                let weight = if i == 0 || i == n { 1.0 } else if i % 2 == 1 { 4.0 } else { 2.0 };
                weight * law.survival(end * f64::from(i) / f64::from(n))
            })
            .sum::<f64>() * end / (3.0 * f64::from(n));
        let expected = mean / 2.0 * (1.0 + cv * cv);
        prop_assert!((area / expected - 1.0).abs() < 1e-4, "{area} and {expected}");
    }

    #[test]
    fn the_share_depends_on_the_days_in_means_only(mean in 10.0..1000.0_f64, cv in 0.01..=1.0_f64, t in 0.0..5.0_f64) {
        let (one, other) = (Lifetimes::parse(90.0, cv).unwrap(), Lifetimes::parse(mean, cv).unwrap());
        prop_assert!((one.survival(90.0 * t) - other.survival(mean * t)).abs() < ROUNDING);
    }

    #[test]
    fn a_window_opens_then_falls_due_then_lapses(case in cases()) {
        let window = case.window();
        prop_assert!(window.opens() <= window.due() && window.due() <= window.lapsed());
        prop_assert!(window.contributors().iter().all(|of| of.date <= window.opens()));
        prop_assert!(window.contributors().contains(window.binding()));
        prop_assert_eq!(window.binding().date, window.opens());
    }

    #[test]
    fn the_edges_are_the_first_days_within_the_limits(case in cases()) {
        let (rule, cycle) = (case.rule(), set(case.mean, case.cv, case.liftable_age));
        for (days, limit) in [(rule.due_days(), case.limits.due()), (rule.lapsed_days(), case.limits.lapsed())] {
            prop_assert!(cycle.still_lifted(f64::from(days)) <= limit);
            prop_assert!(days == 0 || cycle.still_lifted(f64::from(days) - 1.0) > limit);
        }
    }

    #[test]
    fn one_more_past_lift_never_opens_a_window_earlier(case in cases(), more in 0..1500_i64) {
        let mut longer = case.clone();
        longer.lifts.push(more);
        prop_assert!(longer.window().opens() >= case.window().opens());
    }

    #[test]
    fn a_longer_minimum_never_opens_a_window_earlier(case in cases(), more in 1..100_u32) {
        let mut longer = case.clone();
        longer.floor += more;
        prop_assert!(longer.window().opens() >= case.window().opens());
        prop_assert!(longer.window().due() >= case.window().due());
    }

    #[test]
    fn a_wait_never_moves_a_window_earlier(case in cases(), days in 0..200_u32) {
        let (with, without) = (case.window_with(&[Wait::Product { days }]), case.window());
        prop_assert!(with.opens() >= without.opens() && with.due() >= without.due());
        prop_assert!(with.lapsed() >= without.lapsed());
    }

    #[test]
    fn a_larger_mean_never_makes_a_lift_lapse_earlier(case in cases(), times in 1.0..3.0_f64) {
        let mut slower = case.clone();
        slower.mean *= times;
        prop_assert!(slower.window().lapsed() >= case.window().lapsed());
        prop_assert!(slower.window().opens() >= case.window().opens());
    }

    #[test]
    fn no_mean_opens_a_window_before_the_floor(case in cases(), mean in 60.0..600.0_f64) {
        let newest = day(*case.lifts.iter().max().unwrap());
        let lifts: Vec<_> = case.lifts.iter().map(|&n| day(n)).collect();
        if let Ok(rule) = case.rule().with_mean(mean) {
            let window = window(&lifts, &RetouchRule::Growth(rule), &[]).unwrap();
            prop_assert!((window.opens() - newest).whole_days() >= i64::from(case.floor));
        }
    }
}
