//! Follicles one by one. Each bears lashes with gamma lifetimes from a start at a uniformly random
//! phase many cycles ago; the shares are then counted, with no use of the formula under test.

use super::{day, set};
use palpebra::domain::growth::LiftHistory;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

const FOLLICLES: u32 = 40_000;

/// A standard normal number (Box & Muller 1958).
fn normal(random: &mut StdRng) -> f64 {
    let (u, v): (f64, f64) = (1.0 - random.random::<f64>(), random.random());
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// A gamma number with this shape, at least 1, and scale 1 (Marsaglia & Tsang 2000).
fn gamma(shape: f64, random: &mut StdRng) -> f64 {
    let d = shape - 1.0 / 3.0;
    let c = (9.0 * d).sqrt().recip();
    loop {
        let x = normal(random);
        let v = (1.0 + c * x).powi(3);
        if v > 0.0 && (1.0 - random.random::<f64>()).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
            return d * v;
        }
    }
}

/// Ages of the lashes of many follicles on one day, in days.
fn ages(mean: f64, cv: f64, random: &mut StdRng) -> Vec<f64> {
    let shape = (cv * cv).recip();
    (0..FOLLICLES)
        .map(|_| {
            let mut born = -mean * (10.0 + 10.0 * random.random::<f64>());
            loop {
                let next = born + gamma(shape, random) * mean / shape;
                if next > 0.0 {
                    return -born;
                }
                born = next;
            }
        })
        .collect()
}

#[test]
fn counted_shares_agree_within_four_standard_errors() {
    let mut random = StdRng::seed_from_u64(46);
    // Irregular histories: days of the lifts and the day planned.
    let histories: [(&[i64], i64); 4] =
        [(&[0], 50), (&[0, 49, 91], 140), (&[0, 10, 75, 160, 190], 191), (&[0, 120, 130, 200], 290)];
    let mut checks = 0;
    for (mean, cv) in [(90.0, 0.15), (90.0, 0.3), (150.0, 0.5), (240.0, 0.3), (60.0, 1.0)] {
        let ages = ages(mean, cv, &mut random);
        for ((lifts, on), liftable_age) in histories.into_iter().flat_map(|history| [(history, 0.0), (history, 16.7)]) {
            let cycle = set(mean, cv, liftable_age);
            let history = LiftHistory::parse(lifts.iter().map(|&n| day(n)).collect(), day(on)).unwrap();
            let liftable: Vec<f64> = ages.iter().copied().filter(|&age| age >= liftable_age).collect();
            for m in 1..=lifts.len() {
                let ours = [cycle.carrying(&history, m, day(on)), cycle.carrying_of_all(&history, m, day(on))];
                for (ours, ages) in ours.into_iter().zip([&liftable, &ages]) {
                    // A lash carries the lifts that were done when it was old enough.
                    let took = |age: f64, lift: i64| age - (on - lift) as f64 >= liftable_age;
                    let carries = |age: f64| lifts.iter().filter(|&&lift| took(age, lift)).count() >= m;
                    let (n, p) = (ages.len() as f64, ours.get());
                    let counted = ages.iter().filter(|&&age| carries(age)).count() as f64 / n;
                    let error = (p * (1.0 - p) / n).sqrt().max(1.0 / n);
                    let what = format!("mean {mean}, cv {cv}, {lifts:?} on {on}, {m} or more, from age {liftable_age}");
                    assert!((counted - p).abs() <= 4.0 * error, "{what}: {counted} counted, {p} computed");
                    checks += 1;
                }
            }
        }
    }
    assert!(checks > 200, "{checks}");
}
