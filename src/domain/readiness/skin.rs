//! What the skin tests of one planned product say about a visit.

use time::OffsetDateTime;

use super::fixed::{self, Fixed};
use super::{Case, products, reason};
use crate::domain::age;
use crate::domain::skin_test::{Planned, TestStanding, standing};
use crate::domain::verdict::{About, Clears, Earliest, Reason, Start, Verdict};

/// The reason that a planned product gives, if it gives one. What is known `now` is carried to the
/// time of the visit: a test that is running or booked early enough is a note, one that ends before
/// the visit has expired.
pub(super) fn about(case: &Case<'_>, planned: &Planned) -> Option<Reason> {
    let say = |fixed: &Fixed, verdict: Verdict, start: Start, clears: &[Clears]| {
        reason(fixed, About::SkinTest(planned.product.clone()), verdict, start, clears)
    };
    let again = |fixed: &Fixed| {
        let mut wait = say(fixed, Verdict::WaitUntil, Verdict::WaitUntil.start(), &[Clears::SkinTest]);
        wait.from = Some(Earliest::Moment(soonest(case, planned)));
        wait
    };
    if planned.blocked {
        return Some(products::about_blocked(&planned.product, Verdict::DoNotTreat));
    }
    let standing = standing(case.tests, planned, case.now, &case.test_rules);
    if let TestStanding::Failed { .. } = standing {
        return Some(say(&fixed::TEST_FAILED, Verdict::DoNotTreat, Start::No, &[Clears::OtherProduct]));
    }
    if !planned.needs_test {
        return None;
    }
    let wants_another = match standing {
        TestStanding::Valid { until } => case.at > until,
        TestStanding::NotDone
        | TestStanding::Expired { .. }
        | TestStanding::Voided { .. }
        | TestStanding::RemovedEarly
        | TestStanding::ReadTooLate
        | TestStanding::Unclear { twice: false } => true,
        _ => false,
    };
    if wants_another && booked_in_time(case, planned) {
        return Some(say(&fixed::TEST_BOOKED, Verdict::Note, Start::Yes, &[Clears::SkinTest]));
    }
    Some(match standing {
        TestStanding::Valid { until } if case.at <= until => return None,
        TestStanding::Valid { .. } | TestStanding::Expired { .. } => again(&fixed::TEST_EXPIRED),
        TestStanding::NotDone => again(&fixed::TEST_NOT_DONE),
        TestStanding::Voided { .. } => again(&fixed::TEST_VOIDED),
        TestStanding::RemovedEarly => again(&fixed::TEST_REMOVED),
        TestStanding::ReadTooLate => again(&fixed::TEST_READ_TOO_LATE),
        TestStanding::TooEarly { until } if case.at >= until => {
            say(&fixed::TEST_RUNNING, Verdict::Note, Start::Yes, &[Clears::Reading])
        }
        TestStanding::TooEarly { until } => {
            let mut wait = say(
                &fixed::TEST_TOO_EARLY,
                Verdict::WaitUntil,
                Verdict::WaitUntil.start(),
                &[Clears::Waiting, Clears::Reading],
            );
            wait.from = Some(Earliest::Moment(until.to_offset(case.at.offset())));
            wait
        }
        TestStanding::NotRead => say(&fixed::TEST_NOT_READ, Verdict::Ask, Verdict::Ask.start(), &[Clears::Reading]),
        // No treatment meanwhile: a written reason does not help here.
        TestStanding::Unclear { twice: false } => Reason { start: Start::No, ..again(&fixed::TEST_UNCLEAR) },
        TestStanding::Unclear { twice: true } => {
            say(&fixed::TEST_UNCLEAR_TWICE, Verdict::DoNotTreat, Start::No, &[Clears::OtherProduct])
        }
        TestStanding::Failed { .. } => return None,
    })
}

/// A test whose time has begun is not applied before now.
fn booked_in_time(case: &Case<'_>, planned: &Planned) -> bool {
    let floor = case.test_rules.floor(planned.label_hours);
    planned.test_booked_at.is_some_and(|booked| booked.max(case.now) + floor <= case.at)
}

/// When a treatment could be if a test were applied now, or at the time that is booked for it, but not before she is old
/// enough to be tested.
fn soonest(case: &Case<'_>, planned: &Planned) -> OffsetDateTime {
    let applied = planned.test_booked_at.map_or(case.now, |booked| booked.max(case.now));
    let applied = old_enough(case).map_or(applied, |day| applied.max(day));
    (applied + case.test_rules.floor(planned.label_hours)).to_offset(case.at.offset())
}

fn old_enough(case: &Case<'_>) -> Option<OffsetDateTime> {
    let day = age::turns(case.birth?, age::TINT_FROM);
    Some(day.midnight().assume_offset(case.at.offset()))
}

/// The day of the first test that is booked and still to come.
pub(super) fn test_day(case: &Case<'_>) -> Option<time::Date> {
    let booked = case.products.iter().filter(|planned| planned.needs_test).filter_map(|planned| planned.test_booked_at);
    booked.map(|at| at.to_offset(case.at.offset()).date()).min()
}

/// A test that is booked for a day on which she is too young to be tested, though not for the visit.
pub(super) fn too_young(case: &Case<'_>) -> Option<Reason> {
    let early = |booked: OffsetDateTime| !age::may_test(case.birth, booked.to_offset(case.at.offset()).date());
    let mut needed = case.products.iter().filter(|planned| planned.needs_test);
    let planned = needed.find(|planned| planned.test_booked_at.is_some_and(early))?;
    let from = old_enough(case)? + case.test_rules.floor(planned.label_hours);
    let mut wait =
        reason(&fixed::AGE_TEST, About::Age, Verdict::WaitUntil, Start::No, &[Clears::Waiting, Clears::SkinTest]);
    wait.from = Some(Earliest::Moment(from));
    Some(wait)
}
