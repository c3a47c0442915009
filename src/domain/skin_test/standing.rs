//! Where the tests of a product stand at a moment.

use time::OffsetDateTime;

use super::{SkinTest, TestResult, TestRules, UNUSED, Validity, VoidCause};
use crate::domain::ids::ProductId;

/// A product that is to be used, and what is known of it and this client.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Planned {
    /// The product.
    pub product: ProductId,
    /// Whether it has to be tested for this service. A failed test counts either way.
    pub needs_test: bool,
    /// The hours between test and treatment that its label asks for.
    pub label_hours: Option<u16>,
    /// Other products that share a flagged ingredient with it: a failed test of one of them blocks
    /// this one too.
    pub related: Vec<ProductId>,
    /// When this client was treated with it, in any order.
    pub treated: Vec<OffsetDateTime>,
    /// When a skin test of it is booked, if one is and can still be made: it may have begun.
    pub test_booked_at: Option<OffsetDateTime>,
    /// Whether a reaction report blocks it for this client.
    pub blocked: bool,
}

/// Where the tests of a product stand. Silence is not a pass.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TestStanding {
    /// It was never tested.
    NotDone,
    /// It was applied, and the floor is not reached.
    TooEarly {
        /// The moment from which it may be read and counts.
        until: OffsetDateTime,
    },
    /// The floor has passed and nobody has read it since, or the client did not report.
    NotRead,
    /// Nobody read it while a clear look would have said something: test again.
    ReadTooLate,
    /// It was taken off early: test again.
    RemovedEarly,
    /// Faint pink only.
    Unclear {
        /// Whether a repeated test was unclear too, so that another product is the way on.
        twice: bool,
    },
    /// A reaction to it, or to a product that shares a flagged ingredient.
    Failed {
        /// What was seen.
        result: TestResult,
        /// The product that failed.
        product: ProductId,
    },
    /// It was clear, and too long ago, or used up.
    Expired {
        /// When it ended.
        at: OffsetDateTime,
    },
    /// It no longer counts.
    Voided {
        /// Why.
        cause: VoidCause,
    },
    /// It was clear at or after the floor, and still counts.
    Valid {
        /// The last moment at which it counts.
        until: OffsetDateTime,
    },
}

/// Where the tests of a product stand at `now`. Tests and readings after `now` are not seen.
///
/// A reaction to the product, or to one that shares a flagged ingredient, outlives every later
/// test. Of the tests that were read, the newest decides whether the product is unclear; after that
/// any test that still counts is enough.
pub fn standing(tests: &[SkinTest], planned: &Planned, now: OffsetDateTime, rules: &TestRules) -> TestStanding {
    let seen = |test: &&SkinTest| test.applied_at <= now;
    if let Some(failed) = tests.iter().filter(seen).find_map(|test| failure(test, planned, now)) {
        return failed;
    }
    let mut own: Vec<&SkinTest> = tests.iter().filter(seen).filter(|test| test.product == planned.product).collect();
    own.sort_by_key(|test| test.applied_at);
    let standings: Vec<TestStanding> = own.iter().rev().map(|test| one(test, planned, now, rules)).collect();

    let unclear = |standing: &&TestStanding| matches!(standing, TestStanding::Unclear { .. });
    let read = |standing: &&TestStanding| {
        matches!(standing, TestStanding::Unclear { .. } | TestStanding::Valid { .. } | TestStanding::Expired { .. })
    };
    if standings.iter().find(read).is_some_and(|newest| unclear(&newest)) {
        return TestStanding::Unclear { twice: standings.iter().filter(read).take_while(unclear).count() > 1 };
    }
    let valid = standings.iter().filter_map(|standing| match standing {
        TestStanding::Valid { until } => Some(*until),
        _ => None,
    });
    match valid.max() {
        Some(until) => TestStanding::Valid { until },
        None => standings.into_iter().next().unwrap_or(TestStanding::NotDone),
    }
}

fn failure(test: &SkinTest, planned: &Planned, now: OffsetDateTime) -> Option<TestStanding> {
    let concerns = test.product == planned.product || planned.related.contains(&test.product);
    // A test recorded on the wrong client or product says nothing of this one.
    if !concerns || test.voided == Some(VoidCause::Mistake) {
        return None;
    }
    let reading = test.readings.iter().filter(|reading| reading.at <= now).find(|reading| reading.result.fails())?;
    Some(TestStanding::Failed { result: reading.result, product: test.product.clone() })
}

/// One test without a reaction.
fn one(test: &SkinTest, planned: &Planned, now: OffsetDateTime, rules: &TestRules) -> TestStanding {
    let readings = || test.readings.iter().filter(|reading| reading.at <= now);
    let unclear = || readings().any(|reading| reading.result == TestResult::FaintPink);
    if let Some(cause) = test.voided {
        // As with a reaction: only as a mistake does it say nothing.
        let stays = cause != VoidCause::Mistake && unclear();
        return if stays { TestStanding::Unclear { twice: false } } else { TestStanding::Voided { cause } };
    }
    if readings().any(|reading| reading.result == TestResult::RemovedEarly) {
        return TestStanding::RemovedEarly;
    }
    if unclear() {
        return TestStanding::Unclear { twice: false };
    }
    let waits = rules.floor(planned.label_hours);
    let (floor, last) = (test.applied_at + waits, test.clear_until(waits));
    let clear = |result: TestResult| result == TestResult::NoVisibleChange;
    if !readings().any(|reading| clear(reading.result) && reading.at >= floor && reading.at <= last) {
        return match now {
            now if now < floor => TestStanding::TooEarly { until: floor },
            now if now <= last => TestStanding::NotRead,
            _ => TestStanding::ReadTooLate,
        };
    }
    if !test.reliable {
        return TestStanding::Voided { cause: VoidCause::SuppressingMedicine };
    }
    let until = ends_at(test, planned, rules);
    if now <= until { TestStanding::Valid { until } } else { TestStanding::Expired { at: until } }
}

/// When a clear test ends. Treatments prolong it only while it counts.
fn ends_at(test: &SkinTest, planned: &Planned, rules: &TestRules) -> OffsetDateTime {
    let mut treated: Vec<OffsetDateTime> =
        planned.treated.iter().copied().filter(|moment| *moment > test.applied_at).collect();
    treated.sort();
    match rules.validity() {
        Validity::EveryVisit => {
            let unused = UNUSED.after_moment(test.applied_at);
            treated.first().map_or(unused, |first| unused.min(*first))
        }
        Validity::For(span) => treated.into_iter().fold(span.after_moment(test.applied_at), |until, treatment| {
            if treatment <= until { until.max(span.after_moment(treatment)) } else { until }
        }),
    }
}
