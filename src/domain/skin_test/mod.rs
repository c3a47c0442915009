//! Skin tests: applied, read, still valid, failed.
//!
//! A studio skin test is a product-tolerance check on a small area ([`NOT_DIAGNOSTIC`]). In a
//! published study of an open 45-minute test, 4 of 42 people known to be allergic were missed on the
//! forearm and 3 of 42 behind the ear (Coenraads et al. 2018), so a clear test proves nothing.

mod reports;
mod standing;

use std::fmt;

use serde::{Deserialize, Serialize};
use time::{Duration, OffsetDateTime};

pub use standing::{Planned, TestStanding, standing};

use super::ids::{ProductId, SkinTestId};
use super::span::Span;
use crate::{msg, t};

/// The sentence that stands wherever a skin test is offered, shown or printed.
pub const NOT_DIAGNOSTIC: &str = msg(
    "A skin test here is a small product-tolerance check. It is not a diagnostic patch \
     test: it does not name an allergen, it does not rule out an allergy, and a reaction can still happen after a clear \
     test.",
);

/// What was seen, in the studio's own words. Dermatologists' reading codes are not among them: they
/// belong to a diagnostic patch test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TestResult {
    /// Nobody has looked yet.
    NotYetRead,
    /// Nothing to be seen.
    NoVisibleChange,
    /// Faint pink only, no itch: unclear.
    FaintPink,
    /// Itch, or raised or spreading redness.
    ItchOrRaised,
    /// Swelling, blister, weeping.
    SwellingOrBlister,
    /// Eye or breathing symptoms.
    EyeOrBreathing,
    /// The client did not report.
    DidNotReport,
    /// The test was washed or taken off early.
    RemovedEarly,
}

impl TestResult {
    /// Every result.
    pub const ALL: [Self; 8] = [
        Self::NotYetRead,
        Self::NoVisibleChange,
        Self::FaintPink,
        Self::ItchOrRaised,
        Self::SwellingOrBlister,
        Self::EyeOrBreathing,
        Self::DidNotReport,
        Self::RemovedEarly,
    ];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::NotYetRead => "not_yet_read",
            Self::NoVisibleChange => "no_visible_change",
            Self::FaintPink => "faint_pink",
            Self::ItchOrRaised => "itch_or_raised",
            Self::SwellingOrBlister => "swelling_or_blister",
            Self::EyeOrBreathing => "eye_or_breathing",
            Self::DidNotReport => "did_not_report",
            Self::RemovedEarly => "removed_early",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|result| result.as_str() == word)
    }

    /// Whether it fails the product: a reaction, which blocks the product and what shares its
    /// flagged ingredient, and opens a reaction report.
    pub fn fails(self) -> bool {
        matches!(self, Self::ItchOrRaised | Self::SwellingOrBlister | Self::EyeOrBreathing)
    }
}

impl fmt::Display for TestResult {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotYetRead => t("not yet read"),
            Self::NoVisibleChange => t("no visible change"),
            Self::FaintPink => t("faint pink only, no itch (unclear)"),
            Self::ItchOrRaised => t("itch, raised or spreading redness"),
            Self::SwellingOrBlister => t("swelling, blister, weeping"),
            Self::EyeOrBreathing => t("eye or breathing symptoms"),
            Self::DidNotReport => t("did not report"),
            Self::RemovedEarly => t("removed early"),
        })
    }
}

/// Who looked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReadBy {
    /// A practitioner.
    Practitioner,
    /// The client, who reported it.
    Client,
}

/// One look at a test.
#[derive(Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub at: OffsetDateTime,
    /// What was seen.
    pub result: TestResult,
    /// By whom.
    pub by: ReadBy,
}

/// Why a test no longer counts (common practice, no source, unless noted).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VoidCause {
    /// Another product or shade family is used.
    NewProduct,
    /// The maker changed the formula.
    FormulaChange,
    /// A reaction to any dye, lotion or adhesive.
    Reaction,
    /// A black-henna tattoo since the test: an allergy can develop later.
    BlackHenna,
    /// A health answer changed: pregnancy, a medicine, an allergy, a skin disease.
    HealthChange,
    /// A medicine may have suppressed a reaction.
    SuppressingMedicine,
    /// It was recorded by mistake.
    Mistake,
    /// It was made elsewhere and taken over: nobody here knows the batch, the time or who looked. What was seen to go wrong
    /// still counts.
    TakenOver,
}

impl VoidCause {
    /// Every cause.
    pub const ALL: [Self; 8] = [
        Self::NewProduct,
        Self::FormulaChange,
        Self::Reaction,
        Self::BlackHenna,
        Self::HealthChange,
        Self::SuppressingMedicine,
        Self::Mistake,
        Self::TakenOver,
    ];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::NewProduct => "new_product",
            Self::FormulaChange => "formula_change",
            Self::Reaction => "reaction",
            Self::BlackHenna => "black_henna",
            Self::HealthChange => "health_change",
            Self::SuppressingMedicine => "suppressing_medicine",
            Self::Mistake => "mistake",
            Self::TakenOver => "taken_over",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|cause| cause.as_str() == word)
    }
}

/// A skin test of one product on one client. Moments are instants; any offset will do.
///
/// `Debug` shows the ids only: the rest is health data.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SkinTest {
    /// Its id.
    pub id: SkinTestId,
    /// The product that was tested.
    pub product: ProductId,
    /// When it was applied.
    #[serde(with = "time::serde::rfc3339")]
    pub applied_at: OffsetDateTime,
    /// Whether a clear result can be trusted: not while tablets may suppress a reaction.
    pub reliable: bool,
    /// Why it no longer counts, if it was voided.
    pub voided: Option<VoidCause>,
    /// The looks at it, in any order.
    pub readings: Vec<Reading>,
}

/// Why a test goes on counting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum VoidRefused {
    /// It failed, and the report that this opened is not settled.
    #[error("its report is not settled")]
    Unsettled,
    /// It was not clear, and nobody wrote why it says nothing.
    #[error("a written reason is needed")]
    WantsReason,
}

/// Why a reading is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReadingRefused {
    /// It is dated before the test was applied.
    #[error("a test can't be read before it was applied")]
    BeforeApplied,
    /// It is dated in the future.
    #[error("a test can't be read in the future")]
    Future,
}

impl SkinTest {
    /// Adds a look. A look before the floor is kept and can fail the test, but does not pass it.
    ///
    /// # Errors
    /// [`ReadingRefused`] when it is dated before the test or after now.
    pub fn read(&mut self, reading: Reading, now: OffsetDateTime) -> Result<(), ReadingRefused> {
        if reading.at < self.applied_at {
            return Err(ReadingRefused::BeforeApplied);
        }
        if reading.at > now {
            return Err(ReadingRefused::Future);
        }
        self.readings.push(reading);
        Ok(())
    }

    /// Whether a reaction was seen.
    pub fn failed(&self) -> bool {
        self.readings.iter().any(|reading| reading.result.fails())
    }

    /// Whether what was seen is unclear.
    pub fn unclear(&self) -> bool {
        self.readings.iter().any(|reading| reading.result == TestResult::FaintPink)
    }

    /// Whether somebody may let it no longer count. One that failed may block its product, so that wants a settled report;
    /// and one that was not clear a written reason.
    ///
    /// # Errors
    /// [`VoidRefused`]
    pub fn may_be_voided(&self, report_open: bool, why: &str) -> Result<(), VoidRefused> {
        match (self.failed(), report_open, why.trim()) {
            (true, true, _) => Err(VoidRefused::Unsettled),
            (_, _, "") if self.failed() || self.unclear() => Err(VoidRefused::WantsReason),
            _ => Ok(()),
        }
    }

    /// When the client is asked what she sees: 48 h and 96 h after (inference from published times
    /// of the rash, two to four days).
    pub fn prompts_at(&self) -> [OffsetDateTime; 2] {
        [self.applied_at + Duration::hours(48), self.applied_at + Duration::hours(96)]
    }

    /// Until when a late report is expected: day 7 (Finnish Student Health Service: a rash can
    /// come after 1 to 7 days). A later report is still taken.
    pub fn reports_expected_until(&self) -> OffsetDateTime {
        self.applied_at + Duration::days(7)
    }

    /// The last moment at which a first clear look says something: day 7, since patch tests are read up to about then (a
    /// European guideline of 2015, from memory) and nobody knows later what was there; after a label that asks for nearly as
    /// long, a day later than that (common practice, no source).
    pub fn clear_until(&self, floor: Duration) -> OffsetDateTime {
        self.reports_expected_until().max(self.applied_at + floor + Duration::DAY)
    }
}

impl fmt::Debug for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Reading(..)")
    }
}

impl fmt::Debug for SkinTest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SkinTest").field("id", &self.id).finish_non_exhaustive()
    }
}

/// The studio's choices about skin tests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct TestRules {
    floor_hours: u16,
    validity: Validity,
}

/// How long a clear test counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Validity {
    /// So long after the test, and again after each treatment with the same product while it is
    /// valid (common practice, no source; a UK trade association is stricter).
    For(Span),
    /// For one treatment: a test before every visit (advice of a UK trade association).
    EveryVisit,
}

/// How long an unused test counts at most (common practice, no source).
const UNUSED: Span = Span::Months(6);

/// Why a choice is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TestRulesRefused {
    /// The floor is 24 to 72 hours.
    #[error("the earliest treatment is 24 to 72 hours after the test")]
    Floor,
    /// The validity is 1 to 12 months, or 28 to 366 days.
    #[error("a test counts for 1 to 12 months")]
    Validity,
}

impl TestRules {
    /// The studio's choices.
    ///
    /// # Errors
    /// [`TestRulesRefused`] outside the ranges.
    pub fn parse(floor_hours: u16, validity: Validity) -> Result<Self, TestRulesRefused> {
        if !(24..=72).contains(&floor_hours) {
            return Err(TestRulesRefused::Floor);
        }
        let fits = match validity {
            Validity::For(Span::Months(months)) => (1..=12).contains(&months),
            Validity::For(Span::Days(days)) => (28..=366).contains(&days),
            Validity::EveryVisit => true,
        };
        if fits { Ok(Self { floor_hours, validity }) } else { Err(TestRulesRefused::Validity) }
    }

    /// The earliest treatment after a test: the studio's floor, and never less than the label says.
    pub fn floor(&self, label_hours: Option<u16>) -> Duration {
        Duration::hours(i64::from(self.floor_hours.max(label_hours.unwrap_or(0))))
    }

    /// The studio's floor in hours, 24 to 72.
    pub fn floor_hours(&self) -> u16 {
        self.floor_hours
    }

    /// How long a clear test counts.
    pub fn validity(&self) -> Validity {
        self.validity
    }
}

impl Default for TestRules {
    /// 48 hours (advice of a UK trade body and a UK trade association), 6 months (common practice,
    /// no source).
    fn default() -> Self {
        Self { floor_hours: 48, validity: Validity::For(Span::Months(6)) }
    }
}

#[cfg(test)]
mod tests;
