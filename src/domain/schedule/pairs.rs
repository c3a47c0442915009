//! A skin test and the treatment it is for, booked together.

use super::{FreeTime, Search, free_times};

/// How far a treatment may lie from its skin test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PairRule {
    /// The least hours from the end of the test visit to the start of the treatment.
    pub floor_hours: u16,
    /// The most days from the day of the test to the day of the treatment.
    pub valid_days: u16,
}

impl PairRule {
    /// Whether the treatment is neither too early nor too late for the test, and does not begin while the practitioner
    /// still clears up after it.
    pub fn fits(self, test: &FreeTime<'_>, treatment: &FreeTime<'_>) -> bool {
        !self.too_early(test, treatment) && !self.too_late(test, treatment)
    }

    fn too_early(self, test: &FreeTime<'_>, treatment: &FreeTime<'_>) -> bool {
        let floor = i64::from(test.service.minutes()) + i64::from(self.floor_hours) * 60;
        treatment.starts < test.starts + floor.max(i64::from(test.service.total())) * 60
    }

    fn too_late(self, test: &FreeTime<'_>, treatment: &FreeTime<'_>) -> bool {
        let day = |time: &FreeTime<'_>| time.civil.date().to_julian_day();
        day(treatment) - day(test) > i32::from(self.valid_days)
    }
}

/// Tests and treatments that can be booked as pairs. Each test has a treatment that fits, each treatment a test.
#[derive(Debug, Clone)]
pub struct Pairs<'a> {
    rule: PairRule,
    tests: Vec<FreeTime<'a>>,
    treatments: Vec<FreeTime<'a>>,
}

impl<'a> Pairs<'a> {
    /// The tests, in order.
    pub fn tests(&self) -> &[FreeTime<'a>] {
        &self.tests
    }

    /// The treatments, in order.
    pub fn treatments(&self) -> &[FreeTime<'a>] {
        &self.treatments
    }

    /// The treatments that fit a test.
    pub fn treatments_for(&self, test: &FreeTime<'_>) -> &[FreeTime<'a>] {
        treatments_for(self.rule, &self.treatments, test)
    }

    /// The tests that fit a treatment.
    pub fn tests_for(&self, treatment: &FreeTime<'_>) -> &[FreeTime<'a>] {
        tests_for(self.rule, &self.tests, treatment)
    }
}

/// All pairs. Each search brings its own length, practitioners and rooms; `earliest` of `treatment` is the day from
/// which the client's window and health allow it.
pub fn pairs<'a>(test: &Search<'a>, treatment: &Search<'a>, rule: PairRule) -> Pairs<'a> {
    let mut tests = free_times(test);
    let mut treatments = free_times(treatment);
    treatments.retain(|treatment| !tests_for(rule, &tests, treatment).is_empty());
    tests.retain(|test| !treatments_for(rule, &treatments, test).is_empty());
    Pairs { rule, tests, treatments }
}

fn treatments_for<'t, 'a>(rule: PairRule, treatments: &'t [FreeTime<'a>], test: &FreeTime<'_>) -> &'t [FreeTime<'a>] {
    let from = treatments.partition_point(|treatment| rule.too_early(test, treatment));
    let to = treatments.partition_point(|treatment| !rule.too_late(test, treatment));
    treatments.get(from..to).unwrap_or_default()
}

fn tests_for<'t, 'a>(rule: PairRule, tests: &'t [FreeTime<'a>], treatment: &FreeTime<'_>) -> &'t [FreeTime<'a>] {
    let from = tests.partition_point(|test| rule.too_late(test, treatment));
    let to = tests.partition_point(|test| !rule.too_early(test, treatment));
    tests.get(from..to).unwrap_or_default()
}
