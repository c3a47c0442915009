use std::collections::HashSet;

use time::{Date, macros::date};

use super::*;

const FIGURES: CycleFigures =
    CycleFigures { mean_days: 120.0, cv: 0.25, growth_mm_per_day: 0.1, growing_days: 40.0, liftable_mm: 2.0 };

fn parse(figures: CycleFigures) -> Result<CycleSet, CycleRefused> {
    CycleSet::parse(CycleName::Own, " counted in our studio ", figures)
}

#[test]
fn figures_are_taken_up_to_their_limits_and_no_further() {
    let rate = |growth_mm_per_day| parse(CycleFigures { growth_mm_per_day, liftable_mm: 0.0, ..FIGURES });
    assert!(rate(1.0).is_ok() && rate(0.001).is_ok());
    for bad in [0.0, -0.1, 1.001, f64::NAN] {
        assert_eq!(rate(bad), Err(CycleRefused::GrowthRate), "{bad}");
    }
    let growing = |growing_days| parse(CycleFigures { growing_days, ..FIGURES });
    assert!(growing(120.0).is_ok() && growing(0.5).is_ok());
    for bad in [0.0, -1.0, 120.5, f64::NAN] {
        assert_eq!(growing(bad), Err(CycleRefused::GrowingDays), "{bad}");
    }
    let liftable = |liftable_mm| parse(CycleFigures { liftable_mm, ..FIGURES });
    assert!(liftable(0.0).is_ok());
    for bad in [-0.1, 100.0, f64::NAN] {
        assert_eq!(liftable(bad), Err(CycleRefused::LiftableLength), "{bad}");
    }
    assert_eq!(CycleSet::parse(CycleName::Own, "  ", FIGURES), Err(CycleRefused::NoSource));
}

#[test]
fn a_set_is_stored_with_its_source_and_checked_when_it_is_read() {
    let set = parse(FIGURES).unwrap();
    assert_eq!((set.source(), set.figures()), ("counted in our studio", FIGURES));
    let stored = serde_json::to_string(&set).unwrap();
    assert_eq!(serde_json::from_str::<CycleSet>(&stored).unwrap(), set);
    assert!(serde_json::from_str::<CycleSet>(&stored.replace("0.25", "2.5")).is_err());
}

/// `g·t` while a lash grows: the figures are those of the set.
#[test]
fn a_lift_grows_out_until_the_lash_stops_growing() {
    let set = parse(FIGURES).unwrap();
    for (days, mm) in [(-3.0, 0.0), (0.0, 0.0), (5.0, 0.5), (40.0, 4.0), (90.0, 4.0)] {
        assert!((set.grown_out_mm(days) - mm).abs() < 1e-12, "{days}");
    }
}

#[test]
fn a_history_is_in_order_without_doubles_and_ends_with_the_day_asked_about() {
    let (first, second, third) = (date!(2026 - 01 - 10), date!(2026 - 02 - 20), date!(2026 - 04 - 01));
    let parse = |days: &[Date]| LiftHistory::parse(days.to_vec(), third);
    assert_eq!(parse(&[second, first]), Err(HistoryRefused::Order(first)));
    assert_eq!(parse(&[first, first]), Err(HistoryRefused::Duplicate(first)));
    assert_eq!(LiftHistory::parse(vec![first, third], second), Err(HistoryRefused::Future(third)));
    let history = parse(&[first, second, third]).unwrap();
    assert_eq!(history.days(), [first, second, third]);
    let newest = |m, on| history.newest(m, on);
    assert_eq!(
        [newest(0, third), newest(1, third), newest(3, third), newest(4, third)],
        [None, Some(third), Some(first), None]
    );
    assert_eq!(newest(1, second), Some(second), "the day itself counts");
    assert_eq!(history.before(second), Some(first), "a count looks back to a lift before its day");
    assert_eq!(history.before(first), None);
}

#[test]
fn a_count_keeps_what_was_seen_and_when() {
    let history = LiftHistory::parse(vec![date!(2026 - 01 - 10)], date!(2026 - 04 - 01)).unwrap();
    let count = |lifted, seen| Count::parse(lifted, seen, &history, date!(2026 - 02 - 21));
    let kept = count(7, 30).unwrap();
    assert_eq!((kept.lifted(), kept.seen(), kept.days()), (7, 30, 42.0));
    assert!(count(0, 1).is_ok() && count(1000, 1000).is_ok());
    assert_eq!(
        [count(0, 0), count(1, 1001), count(4, 3)],
        [Err(CountRefused::Seen), Err(CountRefused::Seen), Err(CountRefused::Lifted)]
    );
    let set = CycleSet::shipped(CycleName::Textbook).unwrap();
    let fit = PersonalFit::new(&set, Prior::default(), &[kept, kept], &[]).unwrap();
    assert_eq!((fit.cycle(), fit.counts()), (&set, 2));
}

/// A log-normal law has 90 % of its weight within e^(±1.644854 σ) of its median (the 95 % point of the standard normal
/// law, as in any table of it).
#[test]
fn nine_tenths_of_clients_lie_in_the_range_of_the_prior() {
    let range = Prior::parse(0.25).unwrap().mean_days(&CycleSet::default());
    assert_eq!(range.median, 90.0);
    assert!((range.low - 59.656_09).abs() < 1e-4 && (range.high - 135.778_25).abs() < 1e-4, "{range:?}");
}

#[test]
fn shares_and_priors_are_stored_as_the_numbers_that_they_are() {
    let (share, prior) = (Share::parse(0.375).unwrap(), Prior::parse(0.125).unwrap());
    assert_eq!(
        (serde_json::to_string(&share).unwrap(), serde_json::to_string(&prior).unwrap()),
        ("0.375".into(), "0.125".into())
    );
    assert_eq!(serde_json::from_str::<Prior>("0.125").unwrap(), prior);
    assert!(Share::clamped(-0.0).get().is_sign_positive());
    assert!(serde_json::from_str::<Prior>("0.6").is_err() && serde_json::from_str::<Share>("1.5").is_err());
    assert_eq!(
        [0.5, 0.5, 0.25, -0.0, 0.0].map(Share::parse).into_iter().collect::<Result<HashSet<_>, _>>().unwrap().len(),
        3
    );
}
