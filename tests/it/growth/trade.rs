//! What the sets say beside what the trade does: lifts every 6 to 8 weeks (common practice, no source).

use super::day;
use palpebra::domain::growth::{CycleName, CycleSet};
use palpebra::domain::window::{GrowthRule, Limits, RetouchRule, window};

/// Days from a first lift until its window opens, is due and lapses.
fn first_lift(name: CycleName) -> (i64, i64, i64) {
    let rule = GrowthRule::parse(CycleSet::shipped(name).unwrap(), Limits::default(), 42).unwrap();
    let window = window(&[day(0)], &RetouchRule::Growth(rule), &[]).unwrap();
    let days = |date: time::Date| (date - day(0)).whole_days();
    (days(window.opens()), days(window.due()), days(window.lapsed()))
}

#[test]
fn a_first_lift_under_the_default_set_opens_and_falls_due_in_six_to_eight_weeks() {
    assert_eq!(CycleSet::default().name(), CycleName::Observed);
    let (opens, due, _) = first_lift(CycleSet::default().name());
    assert!((42..=56).contains(&opens) && (42..=56).contains(&due), "opens {opens}, due {due}");
}

#[test]
fn the_sets_disagree_as_their_sources_do() {
    // Means: 90 days (Thibaut et al. 2010, second hand), 150 (textbook phases, common practice), 240
    // (the middle of 4 to 11 months, Aumond & Bitton 2018, from memory). Edges: computed.
    assert_eq!(first_lift(CycleName::Observed), (46, 55, 94));
    assert_eq!(first_lift(CycleName::Textbook), (76, 91, 157));
    assert_eq!(first_lift(CycleName::Review), (121, 146, 251));
}

#[test]
fn no_shipped_set_has_all_lashes_replaced_in_eight_weeks() {
    for name in CycleName::SHIPPED {
        let left = CycleSet::shipped(name).unwrap().still_lifted(56.0).get();
        assert!(left > 1.0 / 3.0, "{name:?}: {left}");
    }
}
