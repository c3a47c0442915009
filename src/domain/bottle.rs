//! Whether what is in a bottle may be used on somebody: in date, made for this area, within the published limits.

use time::Date;

use super::age::Jurisdiction;
use super::catalogue::{Area, Chemistry, ServiceKind};
use super::limits::{self, Label, Warning};
use super::steps::Part;
use crate::{t, tf};

/// The days of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Days {
    /// The last day on which it may be used, where the label names one.
    pub expires_on: Option<Date>,
    /// The day on which its bottle was opened.
    pub opened_on: Option<Date>,
    /// The day on which what was left of it was thrown away.
    pub discarded_on: Option<Date>,
}

/// What is in a bottle, and what is known of it and of her whom it is for.
#[derive(Debug, Clone, Copy)]
pub struct Bottle<'a> {
    /// Its days.
    pub days: &'a Days,
    /// What it brings near the eye.
    pub chemistry: Chemistry,
    /// Its label, once somebody has gone through it.
    pub label: Option<&'a Label>,
    /// Whether it is blocked for her.
    pub blocked: bool,
    /// Whether a skin test is asked for, and none counts.
    pub untested: bool,
}

/// Why something may not be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    /// It is blocked for the client: it, or what shares a flagged ingredient with it, did her harm.
    #[error("{}", t("the client reacted to it, or to what shares a flagged ingredient with it"))]
    Blocked,
    /// It was not tested on her, though that is asked for.
    #[error("{}", t("no skin test of it on the client counts, though one is asked for"))]
    Untested,
    /// The service doesn't use what it is.
    #[error("{}", t("it is not for this service"))]
    OtherService,
    /// It is the lotion of another step, and that of this one is not named though it was on.
    #[error("{}", t("it is the lotion of another step, and no bottle is named for this one"))]
    OtherStep(Part),
    /// Its last day is over.
    #[error("{}", tf("the batch had ended on {day}").with("day", .0))]
    Expired(Date),
    /// It was thrown away.
    #[error("{}", tf("the batch was thrown away on {day}").with("day", .0))]
    Discarded(Date),
    /// Its label names another area.
    #[error("{}", t("the label is not for this area"))]
    OtherArea(Area),
    /// It is over what was read of the published limits of the place, or not allowed there.
    #[error("{}", t("it is not within the published limits"))]
    BeyondLimit(Warning),
}

impl Days {
    /// Why it may not be used on a day; the day on which it ends or is thrown away still counts.
    pub fn over(&self, on: Date) -> Option<Unfit> {
        let past = |day: &Date| *day < on;
        let expired = self.expires_on.filter(past).map(Unfit::Expired);
        expired.or_else(|| self.discarded_on.filter(past).map(Unfit::Discarded))
    }
}

/// Whether a skin test is asked for before a product is used for a service: the service or the label wants one, or the
/// service wants one of another product of its kind, in whose place this one would be used.
pub fn asks_for_test(wanted: bool, label_hours: Option<u16>, wanted_of_its_kind: bool) -> bool {
    wanted || label_hours.is_some() || wanted_of_its_kind
}

/// Whether all these lotions, each with the step that it is said to be for, are for another step than this one.
pub fn wrong_step(step: Part, lotions: &[Option<Part>]) -> bool {
    !lotions.is_empty() && lotions.iter().all(|one| one.is_some_and(|one| one != step))
}

/// Why what is in a bottle may not be used for a service on a day, the gravest first. A label that nobody has gone through
/// refuses nothing; what stands from memory or was inferred only warns.
pub fn unfit(bottle: &Bottle<'_>, service: ServiceKind, place: Jurisdiction, on: Date) -> Option<Unfit> {
    let area = service.area();
    let by_label = |label: &Label| {
        if !label.areas.contains(&area) {
            return Some(Unfit::OtherArea(area));
        }
        limits::stops(place, label, area).into_iter().find(Warning::is_firm).map(Unfit::BeyondLimit)
    };
    let other_service = || (!service.chemistries().contains(&bottle.chemistry)).then_some(Unfit::OtherService);
    let blocked = bottle.blocked.then_some(Unfit::Blocked);
    let by_itself = blocked.or_else(|| bottle.days.over(on)).or_else(other_service);
    by_itself.or_else(|| bottle.label.and_then(by_label)).or_else(|| bottle.untested.then_some(Unfit::Untested))
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use time::macros::date;

    use super::*;
    use crate::domain::limits::{Ingredient, Misfit};

    fn label(areas: &[Area], holds: &[(Ingredient, u16)]) -> Label {
        Label {
            areas: areas.iter().copied().collect::<BTreeSet<_>>(),
            holds: holds.iter().map(|(held, share)| (*held, Some(*share))).collect::<BTreeMap<_, _>>(),
            ph: None,
            professional_only: true,
            age: Some(16),
            step: None,
        }
    }

    #[test]
    fn the_last_day_counts_and_the_day_after_does_not() {
        let days = Days { expires_on: Some(date!(2026 - 03 - 02)), ..Days::default() };
        assert_eq!(days.over(date!(2026 - 03 - 02)), None);
        assert_eq!(days.over(date!(2026 - 03 - 03)), Some(Unfit::Expired(date!(2026 - 03 - 02))));
        let thrown = Days { discarded_on: Some(date!(2026 - 02 - 10)), ..days };
        assert_eq!(thrown.over(date!(2026 - 02 - 10)), None);
        assert_eq!(thrown.over(date!(2026 - 02 - 11)), Some(Unfit::Discarded(date!(2026 - 02 - 10))));
        assert_eq!(Days::default().over(date!(2100 - 01 - 01)), None);
    }

    const ON: Date = date!(2026 - 03 - 02);
    const DAYS: Days = Days { expires_on: None, opened_on: None, discarded_on: None };

    fn lotion(label: Option<&Label>) -> Bottle<'_> {
        Bottle { days: &DAYS, chemistry: Chemistry::Lotion, label, blocked: false, untested: false }
    }

    // 11 % thioglycolic acid near lashes: Regulation (EC) 1223/2009, Annex III entry 2a (d).
    #[test]
    fn another_area_and_too_much_are_refused_and_what_nobody_read_is_not() {
        let of = |label: &Label| unfit(&lotion(Some(label)), ServiceKind::LashLift, Jurisdiction::EuUk, ON);
        assert_eq!(of(&label(&[Area::Brow], &[])), Some(Unfit::OtherArea(Area::Lash)));
        assert_eq!(of(&label(&[Area::Lash], &[(Ingredient::Thioglycolate, 1100)])), None);
        let strong = of(&label(&[Area::Lash], &[(Ingredient::Thioglycolate, 1101)]));
        assert!(matches!(strong, Some(Unfit::BeyondLimit(Warning { what: Misfit::Above(1100), .. }))), "{strong:?}");
        assert_eq!(unfit(&lotion(None), ServiceKind::LashLift, Jurisdiction::EuUk, ON), None);
    }

    #[test]
    fn a_lotion_is_for_the_other_step_only_where_every_one_is_said_to_be() {
        let (one, two) = (Some(Part::LotionOne), Some(Part::LotionTwo));
        let wrong = |lotions: &[Option<Part>]| wrong_step(Part::LotionTwo, lotions);
        assert!(wrong(&[one]) && wrong(&[one, one]));
        assert!(!wrong(&[]) && !wrong(&[two]) && !wrong(&[one, two]) && !wrong(&[one, None]));
    }

    #[test]
    fn what_harmed_her_what_is_untested_and_what_the_service_does_not_use_is_refused() {
        let of = |bottle: Bottle<'_>, service| unfit(&bottle, service, Jurisdiction::EuUk, ON);
        let (lift, tint) = (ServiceKind::LashLift, ServiceKind::BrowTint);
        let brow = label(&[Area::Brow], &[]);
        let old = Days { expires_on: Some(date!(2026 - 03 - 01)), ..Days::default() };
        let worst = Bottle { days: &old, blocked: true, untested: true, ..lotion(Some(&brow)) };
        assert_eq!(of(worst, tint), Some(Unfit::Blocked), "the gravest is said");
        let worst = Bottle { blocked: false, ..worst };
        assert_eq!(of(worst, tint), Some(Unfit::Expired(date!(2026 - 03 - 01))));
        let worst = Bottle { days: &DAYS, ..worst };
        assert_eq!(of(worst, tint), Some(Unfit::OtherService));
        assert_eq!(of(worst, lift), Some(Unfit::OtherArea(Area::Lash)));
        assert_eq!(of(Bottle { label: None, ..worst }, lift), Some(Unfit::Untested));
        let asked = |wanted, hours, of_its_kind| asks_for_test(wanted, hours, of_its_kind);
        assert_eq!(
            [
                asked(false, None, false),
                asked(true, None, false),
                asked(false, Some(24), false),
                asked(false, None, true)
            ],
            [false, true, true, true]
        );
    }
}
