//! Free times.

use palpebra::domain::{
    ids::PractitionerId,
    schedule::{FreeTime, Search, free_times, still_free},
};
use proptest::{prelude::*, strategy::ValueTree};
use time::Duration;

use super::model::{Case, Offer, Person, SCENE_DAYS, SCENES, case, instant};

fn offer(time: FreeTime<'_>) -> Offer {
    Offer {
        starts: time.starts_at().unix_timestamp(),
        civil: time.civil,
        able: time.practitioners().cloned().collect(),
        proposed: time.practitioner.clone(),
        room: time.room.cloned(),
    }
}

/// The program looks as far as the horizon; the model only at the days of the scene.
fn offers(case: &Case) -> Vec<Offer> {
    let last = case.scene().first + Duration::days(i64::from(SCENE_DAYS) - 1);
    let within = |search: &Search<'_>| {
        let latest = Some(search.latest.map_or(last, |day| day.min(last)));
        let earliest = Some(search.earliest.map_or(case.scene().first, |day| day.max(case.scene().first)));
        free_times(&Search { latest, earliest, ..*search }).into_iter().map(offer).collect()
    };
    case.with_search(within)
}

proptest! {
    #[test]
    fn schedule_free_times_are_those_of_the_slow_model(case in case()) {
        prop_assert_eq!(offers(&case), case.offers());
    }

    #[test]
    fn schedule_nothing_offered_overlaps_what_is_taken(case in case()) {
        let taken = i64::from(case.service.total()) * 60;
        let overlaps = |busy: &[(i64, i64)], from: i64| {
            busy.iter().any(|(start, end)| start < end && *start < from + taken && *end > from)
        };
        for offer in offers(&case) {
            for person in case.people.iter().filter(|person| offer.able.contains(&person.id)) {
                prop_assert!(!overlaps(&person.busy, offer.starts), "{:?}", offer);
            }
            for room in case.rooms.iter().flatten().filter(|room| offer.room.as_ref() == Some(&room.id)) {
                prop_assert!(!overlaps(&room.busy, offer.starts), "{:?}", offer);
            }
            prop_assert_eq!(case.rooms.is_some(), offer.room.is_some());
            prop_assert_eq!(case.scene().zone.to_instant(offer.civil), Ok(instant(offer.starts)));
        }
    }

    #[test]
    fn schedule_a_block_never_adds_a_time(
        case in case(), of_room in any::<bool>(), from in 0i64..4 * 86_400, long in 0i64..86_400,
    ) {
        let case = Case { rules: case.rules.with_any_gap(), ..case };
        let mut blocked = case.clone();
        let start = case.scene().first.midnight().assume_utc().unix_timestamp() - 43_200 + from;
        match blocked.rooms.iter_mut().flatten().next() {
            Some(room) if of_room => room.busy.push((start, start + long)),
            _ => blocked.people[0].busy.push((start, start + long)),
        }
        let before = offers(&case);
        for offer in offers(&blocked) {
            let same = before.iter().find(|other| other.starts == offer.starts);
            prop_assert!(same.is_some(), "{:?} was not on offer", offer);
            prop_assert!(offer.able.iter().all(|id| same.unwrap().able.contains(id)), "{:?}", offer);
        }
    }

    #[test]
    fn schedule_what_is_offered_can_be_booked_and_then_no_longer(case in case(), pick in any::<prop::sample::Index>()) {
        let found = offers(&case);
        let Some(offer) = found.get(pick.index(found.len().max(1))) else { return Ok(()) };
        let who = offer.able.last().unwrap();
        let booked = |case: &Case| case.with_search(|search| {
            let time = still_free(search, instant(offer.starts), who)?;
            assert_eq!(time.practitioner, who);
            Some((time.room.cloned(), time.practitioners().count()))
        });
        prop_assert_eq!(booked(&case), Some((offer.room.clone(), 1)));
        let mut after = case.clone();
        let end = offer.starts + i64::from(case.service.total()) * 60;
        after.people.iter_mut().filter(|person| person.id == *who).for_each(|p| p.busy.push((offer.starts, end)));
        prop_assert_eq!(booked(&after), None);
    }

    #[test]
    fn schedule_what_can_be_booked_is_what_is_free_whatever_gap_it_leaves(case in case(), minute in 0i64..4320) {
        let first = case.scene().first;
        let start = case.scene().zone.day_start(first).unix_timestamp() + minute * 60;
        prop_assume!(instant(start) < case.scene().zone.day_start(first + Duration::days(i64::from(SCENE_DAYS))));
        let any_gap = Case { rules: case.rules.with_any_gap(), ..case.clone() };
        let able: Vec<PractitionerId> =
            any_gap.offers().into_iter().filter(|offer| offer.starts == start).flat_map(|offer| offer.able).collect();
        for Person { id, .. } in &case.people {
            let free = case.with_search(|search| still_free(search, instant(start), id).is_some());
            prop_assert_eq!(free, able.contains(id));
        }
    }
}

/// The properties say little of studios that offer nothing, so most must offer something.
#[test]
fn schedule_most_studios_of_the_model_offer_times() {
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let cases = (0..200).map(|_| case().new_tree(&mut runner).unwrap().current());
    let offering = cases.filter(|case| !offers(case).is_empty()).count();
    assert!(offering > 120, "{offering} of 200");
}

/// The generated studios must reach what the model is there for.
#[test]
fn schedule_the_scenes_have_changes_of_the_clocks() {
    let odd = |scene: &super::model::Scene| {
        palpebra::domain::zone::days(scene.first, SCENE_DAYS)
            .map(|date| scene.zone.day_length(date).whole_minutes() - 1440)
            .find(|difference| *difference != 0)
    };
    let differences: Vec<_> = SCENES.iter().map(odd).collect();
    let expected = [None, Some(-60), Some(60), Some(-30), Some(30), Some(-60), Some(60), Some(-120), Some(120)];
    assert_eq!(differences, expected);
}
