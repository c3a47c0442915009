//! The interval of a personal fit holds the truth as often as it says.

use super::day;
use palpebra::domain::growth::{Count, CycleSet, Disturbance, LiftHistory, NotFitted, PersonalFit, Prior};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

const CLIENTS: u32 = 2000;

fn normal(random: &mut StdRng) -> f64 {
    let (u, v): (f64, f64) = (1.0 - random.random::<f64>(), random.random());
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

#[test]
fn nine_tenths_of_simulated_clients_lie_in_their_interval() {
    let mut random = StdRng::seed_from_u64(90);
    let (cycle, prior) = (CycleSet::default(), Prior::default());
    let history = LiftHistory::parse(vec![day(0)], day(0)).unwrap();
    let mut covered = 0;
    for _ in 0..CLIENTS {
        let truth = cycle.figures().mean_days * (prior.log_sd() * normal(&mut random)).exp();
        let own = cycle.with_mean(truth).unwrap();
        let counts: Vec<Count> = (0..random.random_range(1..=2))
            .map(|_| {
                let (days, seen) = (random.random_range(35..=80), random.random_range(40..=70));
                let share = own.still_lifted(days as f64).get();
                let lifted = (0..seen).filter(|_| random.random::<f64>() < share).count();
                Count::parse(u32::try_from(lifted).unwrap(), seen, &history, day(days)).unwrap()
            })
            .collect();
        let interval = PersonalFit::new(&cycle, prior, &counts, &[]).unwrap().mean_days();
        covered += u32::from(interval.low <= truth && truth <= interval.high);
    }
    let share = f64::from(covered) / f64::from(CLIENTS);
    println!("{covered} of {CLIENTS} covered");
    assert!((0.88..=0.92).contains(&share), "{share}");
}

#[test]
fn without_a_count_or_a_steady_state_nothing_is_fitted() {
    let history = LiftHistory::parse(vec![day(0)], day(0)).unwrap();
    let count = Count::parse(31, 60, &history, day(49)).unwrap();
    let fit = |counts: &[Count], disturbed: &[Disturbance]| {
        PersonalFit::new(&CycleSet::default(), Prior::default(), counts, disturbed)
    };
    assert_eq!(fit(&[], &[]), Err(NotFitted::NoCount));
    assert_eq!(fit(&[count], &[Disturbance::Serum]), Err(NotFitted::Disturbed(vec![Disturbance::Serum])));
    assert!(fit(&[count], &[]).is_ok());
}
