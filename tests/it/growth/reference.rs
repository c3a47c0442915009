//! Agreement with scipy: the scripts in `tests/reference` print what it computes.

use super::{day, set};
use palpebra::domain::growth::{Count, Lifetimes, LiftHistory, PersonalFit, Prior};
use palpebra::domain::window::{GrowthRule, Limits, RetouchRule, window};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::process::Command;

/// Runs a script with the reference tools and reads what it prints.
fn reference<T: DeserializeOwned>(script: &str) -> T {
    let python = std::env::var("PALPEBRA_PYTHON")
        .expect("PALPEBRA_PYTHON is not set: run this test with tests/run, which installs the reference tools");
    let path = format!("{}/tests/reference/{script}", env!("CARGO_MANIFEST_DIR"));
    let output = Command::new(python).arg(&path).output().unwrap();
    assert!(output.status.success(), "{path}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Within 1e-9 of the larger or 1e-12 of one another.
fn agree(ours: f64, theirs: f64) -> bool {
    (ours - theirs).abs() <= (1e-9 * theirs.abs()).max(1e-12)
}

#[test]
fn the_share_agrees_with_the_numerical_library_on_a_grid() {
    let rows: Vec<(f64, f64, f64, f64, f64)> = reference("survival.py");
    assert!(rows.len() >= 2000, "{}", rows.len());
    let mut worst = 0.0_f64;
    for (mean, cv, days, closed, integrated) in rows {
        let ours = Lifetimes::parse(mean, cv).unwrap().survival(days);
        assert!(agree(ours, closed), "closed form: mean {mean}, cv {cv}, day {days}: {ours} and {closed}");
        assert!(agree(ours, integrated), "integral: mean {mean}, cv {cv}, day {days}: {ours} and {integrated}");
        worst = worst.max((ours - integrated).abs());
    }
    println!("largest difference: {worst:e}");
}

#[derive(Deserialize)]
struct Posterior {
    centre: f64,
    cv: f64,
    log_sd: f64,
    liftable_age: f64,
    counts: Vec<(i64, u32, u32)>,
    quantiles: [f64; 3],
}

#[test]
fn the_personal_fit_agrees_with_an_independent_posterior() {
    let cases: Vec<Posterior> = reference("posterior.py");
    assert!(cases.len() > 10);
    for case in cases {
        let history = LiftHistory::parse(vec![day(0)], day(0)).unwrap();
        let counts: Vec<Count> =
            case.counts.iter().map(|&(days, k, n)| Count::parse(k, n, &history, day(days)).unwrap()).collect();
        let cycle = set(case.centre, case.cv, case.liftable_age);
        let fit = PersonalFit::new(&cycle, Prior::parse(case.log_sd).unwrap(), &counts, &[]).unwrap().mean_days();
        for (ours, theirs) in [fit.low, fit.median, fit.high].into_iter().zip(case.quantiles) {
            assert!((ours / theirs - 1.0).abs() < 1e-6, "{:?}: {ours} and {theirs}", case.counts);
        }
    }
}

#[derive(Deserialize)]
struct Walked {
    mean: f64,
    cv: f64,
    liftable_age: f64,
    two: f64,
    three: f64,
    due: f64,
    lapsed: f64,
    floor: u32,
    lifts: Vec<i64>,
    opens: i64,
    due_day: i64,
    lapsed_day: i64,
}

#[test]
fn windows_agree_with_a_walk_day_by_day() {
    let cases: Vec<Walked> = reference("windows.py");
    assert!(cases.len() >= 300);
    for case in cases {
        let limits = Limits::parse(case.two, case.three, case.due, case.lapsed).unwrap();
        let rule = GrowthRule::parse(set(case.mean, case.cv, case.liftable_age), limits, case.floor).unwrap();
        let lifts: Vec<_> = case.lifts.iter().map(|&n| day(n)).collect();
        let ours = window(&lifts, &RetouchRule::Growth(rule), &[]).unwrap();
        let theirs = (day(case.opens), day(case.due_day), day(case.lapsed_day));
        assert_eq!((ours.opens(), ours.due(), ours.lapsed()), theirs, "{:?} mean {}", case.lifts, case.mean);
    }
}
