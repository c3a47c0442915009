use super::*;

const SIX: Minutes = Minutes { usual: 6, most: 8, fine: Some(4), tinted: Some(5), lifted: None };

/// Common practice, no source: six minutes for the first lotion, five for the second; the label decides.
#[test]
fn a_lift_has_six_and_five_minutes() {
    let minutes = |kind, part| {
        let plan = Plan::shipped(kind);
        plan.steps().iter().find(|step| step.part() == part).and_then(Step::minutes).map(|m| (m.usual, m.most))
    };
    for kind in [ServiceKind::LashLift, ServiceKind::LiftAndTint] {
        assert_eq!(minutes(kind, Part::LotionOne), Some((6, 6)));
        assert_eq!(minutes(kind, Part::LotionTwo), Some((5, 5)));
    }
    assert_eq!(minutes(ServiceKind::LashLift, Part::Tint), None);
}

#[test]
fn everything_that_ships_is_a_plan_that_the_owner_could_write() {
    for plan in ServiceKind::ALL.map(Plan::shipped).into_iter().chain([Plan::shipped_skin_test()]) {
        let json = serde_json::to_string(&plan).unwrap();
        assert_eq!(serde_json::from_str::<Plan>(&json).unwrap(), plan);
    }
}

#[test]
fn the_shortest_time_that_applies_counts() {
    assert_eq!(SIX.for_traits(&[]), (6, None));
    assert_eq!(SIX.for_traits(&[Trait::Lifted]), (6, None));
    assert_eq!(SIX.for_traits(&[Trait::Tinted, Trait::Fine]), (4, Some(Trait::Fine)));
}

#[test]
fn no_time_is_over_the_labels_longest() {
    let step = |minutes| Step::parse("First lotion", "", Part::LotionOne, Some(minutes)).map(|_| ());
    assert_eq!(step(SIX), Ok(()));
    assert_eq!(step(Minutes { usual: 9, ..SIX }), Err(StepRefused::OverMost));
    assert_eq!(step(Minutes { most: 61, ..SIX }), Err(StepRefused::Range));
    assert_eq!(step(Minutes { fine: Some(0), ..SIX }), Err(StepRefused::Range));
    assert_eq!(step(Minutes { lifted: Some(7), ..SIX }), Err(StepRefused::NotReduced));
    assert_eq!(Plan::parse(Vec::new()), Err(StepRefused::Count));
}

/// Common practice, no source: the label decides.
#[test]
fn what_ships_for_tints_and_brows_has_its_times_too() {
    let times = |kind| {
        let plan = Plan::shipped(kind);
        plan.steps().iter().filter_map(|step| Some((step.part(), step.minutes()?.usual))).collect::<Vec<_>>()
    };
    assert_eq!(times(ServiceKind::LashTint), [(Part::Tint, 5)]);
    assert_eq!(times(ServiceKind::BrowTint), [(Part::Tint, 5)]);
    assert_eq!(times(ServiceKind::BrowLamination), [(Part::LotionOne, 6), (Part::LotionTwo, 5)]);
    assert_eq!(times(ServiceKind::LiftAndTint), [(Part::LotionOne, 6), (Part::LotionTwo, 5), (Part::Tint, 5)]);
}

#[test]
fn a_step_keeps_its_words_and_takes_times_up_to_the_limits() {
    let step = |minutes| Step::parse(" First  lotion ", "On the hair.", Part::LotionOne, Some(minutes));
    let kept = step(SIX).unwrap();
    assert_eq!((kept.name(), kept.place(), kept.minutes()), ("First lotion", "On the hair.", Some(SIX)));
    let all = |time| Minutes { usual: time, most: time, fine: Some(time), tinted: None, lifted: None };
    assert!(step(all(1)).is_ok() && step(all(60)).is_ok(), "a reduced time may be as long as the usual one");
    assert_eq!(all(6).for_traits(&[Trait::Fine]), (6, None), "and then shortens nothing");
    assert_eq!(step(all(61)), Err(StepRefused::Range));
    let plan = |count| Plan::parse(vec![kept.clone(); count]).map(|plan| plan.steps().len());
    assert_eq!([plan(1), plan(10), plan(11)], [Ok(1), Ok(10), Err(StepRefused::Count)]);
}
