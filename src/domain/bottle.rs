//! Whether what is in a bottle may be used on somebody: in date, made for this area, within the published limits.

use time::Date;

use super::age::Jurisdiction;
use super::catalogue::Area;
use super::limits::{self, Label, Warning};
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

/// Why something may not be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
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

/// Why a product may not be used on an area on a day. A label that nobody has gone through refuses nothing; what stands
/// from memory or was inferred only warns.
pub fn unfit(days: &Days, label: Option<&Label>, area: Area, place: Jurisdiction, on: Date) -> Option<Unfit> {
    let by_label = |label: &Label| {
        if !label.areas.contains(&area) {
            return Some(Unfit::OtherArea(area));
        }
        limits::stops(place, label, area).into_iter().find(Warning::is_firm).map(Unfit::BeyondLimit)
    };
    days.over(on).or_else(|| label.and_then(by_label))
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

    // 11 % thioglycolic acid near lashes: Regulation (EC) 1223/2009, Annex III entry 2a (d).
    #[test]
    fn another_area_and_too_much_are_refused_and_what_nobody_read_is_not() {
        let on = date!(2026 - 03 - 02);
        let of = |label: &Label, area| unfit(&Days::default(), Some(label), area, Jurisdiction::EuUk, on);
        assert_eq!(of(&label(&[Area::Brow], &[]), Area::Lash), Some(Unfit::OtherArea(Area::Lash)));
        assert_eq!(of(&label(&[Area::Lash], &[(Ingredient::Thioglycolate, 1100)]), Area::Lash), None);
        let strong = of(&label(&[Area::Lash], &[(Ingredient::Thioglycolate, 1101)]), Area::Lash);
        assert!(matches!(strong, Some(Unfit::BeyondLimit(Warning { what: Misfit::Above(1100), .. }))), "{strong:?}");
        assert_eq!(unfit(&Days::default(), None, Area::Lash, Jurisdiction::EuUk, on), None);
    }
}
