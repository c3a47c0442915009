//! The studio's rule for one kind of service, in the form in which it is stored.

use super::{Contributor, Reason, after};
use crate::domain::catalogue::ServiceKind;
use crate::domain::growth::{CycleRefused, CycleSet, Share};
use serde::{Deserialize, Serialize};
use time::Date;

/// How a service's window is found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "rule", rename_all = "snake_case")]
pub enum RetouchRule {
    /// From the growth cycle, for lifts.
    Growth(GrowthRule),
    /// From plain intervals.
    Interval(IntervalRule),
}

impl RetouchRule {
    /// The rule that a new studio starts with. Lifts follow the growth cycle; *opens* and *due* of the
    /// others are what studios commonly do (lash tint 4–6, brow lamination 6–8, brow tint 3–6 weeks:
    /// common practice, no source), and *lapsed* at twice *due* is an assumption. A lift with a tint
    /// takes the rules of both; asked for as one kind it takes the lift's.
    pub fn default_for(kind: ServiceKind) -> Self {
        match kind {
            ServiceKind::LashLift | ServiceKind::LiftAndTint => Self::Growth(GrowthRule::default()),
            ServiceKind::LashTint => Self::Interval(IntervalRule { opens_days: 28, due_days: 42, lapsed_days: 84 }),
            ServiceKind::BrowLamination => {
                Self::Interval(IntervalRule { opens_days: 42, due_days: 56, lapsed_days: 112 })
            }
            ServiceKind::BrowTint => Self::Interval(IntervalRule { opens_days: 21, due_days: 42, lapsed_days: 84 }),
        }
    }
}

/// The longest interval that a rule may ask for, in days: ten years.
const LONGEST_DAYS: u32 = 3652;

/// Plain intervals in days since the last visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "StoredInterval", into = "StoredInterval")]
pub struct IntervalRule {
    opens_days: u32,
    due_days: u32,
    lapsed_days: u32,
}

/// Why numbers of days are no rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum IntervalRefused {
    /// Not opens ≤ due ≤ lapsed.
    #[error("the days must not fall: opens, due, lapsed")]
    Order,
    /// Longer than ten years.
    #[error("an interval is at most 3652 days")]
    TooLong,
}

#[derive(Serialize, Deserialize)]
struct StoredInterval {
    opens_days: u32,
    due_days: u32,
    lapsed_days: u32,
}

impl IntervalRule {
    /// A rule from days since the last visit, `opens ≤ due ≤ lapsed ≤ 3652`.
    ///
    /// # Errors
    /// [`IntervalRefused`] when they fall or are too long.
    pub fn parse(opens_days: u32, due_days: u32, lapsed_days: u32) -> Result<Self, IntervalRefused> {
        if !(opens_days <= due_days && due_days <= lapsed_days) {
            return Err(IntervalRefused::Order);
        }
        if lapsed_days > LONGEST_DAYS {
            return Err(IntervalRefused::TooLong);
        }
        Ok(Self { opens_days, due_days, lapsed_days })
    }

    /// Days until it opens.
    pub fn opens_days(self) -> u32 {
        self.opens_days
    }

    /// Days until it is due.
    pub fn due_days(self) -> u32 {
        self.due_days
    }

    /// Days until it has lapsed.
    pub fn lapsed_days(self) -> u32 {
        self.lapsed_days
    }
}

impl TryFrom<StoredInterval> for IntervalRule {
    type Error = IntervalRefused;
    fn try_from(stored: StoredInterval) -> Result<Self, IntervalRefused> {
        Self::parse(stored.opens_days, stored.due_days, stored.lapsed_days)
    }
}

impl From<IntervalRule> for StoredInterval {
    fn from(rule: IntervalRule) -> Self {
        Self { opens_days: rule.opens_days, due_days: rule.due_days, lapsed_days: rule.lapsed_days }
    }
}

/// The shares at which a window's edges lie. They are design choices, not published figures: the
/// defaults put a first lift under the observed cycle inside the 6–8 weeks that are common practice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "StoredLimits", into = "StoredLimits")]
pub struct Limits {
    two: Share,
    three: Share,
    due: Share,
    lapsed: Share,
}

/// Why shares are no limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LimitsRefused {
    /// A limit is not from a millionth to 1: a share never falls to nothing.
    #[error("a limit is a share from 0.000001 to 1")]
    OutOfRange,
    /// A window would lapse at a larger share than that at which it is due.
    #[error("the lapsed share must not be above the due share")]
    Order,
}

#[derive(Serialize, Deserialize)]
struct StoredLimits {
    two: f64,
    three: f64,
    due: f64,
    lapsed: f64,
}

impl Limits {
    /// Limits from shares, each from 0.000001 to 1: at most `two` of the lashes may carry two lifts or
    /// more and at most `three` of them three or more; due when at most `due` are still lifted, lapsed
    /// at `lapsed`.
    ///
    /// # Errors
    /// [`LimitsRefused`] when one is out of range or `lapsed > due`.
    pub fn parse(two: f64, three: f64, due: f64, lapsed: f64) -> Result<Self, LimitsRefused> {
        let share =
            |value: f64| Share::parse(value).ok().filter(|share| share.get() >= 1e-6).ok_or(LimitsRefused::OutOfRange);
        let limits = Self { two: share(two)?, three: share(three)?, due: share(due)?, lapsed: share(lapsed)? };
        if limits.lapsed > limits.due { Err(LimitsRefused::Order) } else { Ok(limits) }
    }

    /// Largest share that may carry two lifts or more.
    pub fn two(self) -> Share {
        self.two
    }

    /// Largest share that may carry three lifts or more.
    pub fn three(self) -> Share {
        self.three
    }

    /// Share still lifted at which it is due.
    pub fn due(self) -> Share {
        self.due
    }

    /// Share still lifted at which it has lapsed.
    pub fn lapsed(self) -> Share {
        self.lapsed
    }
}

impl Default for Limits {
    /// 0.50, 0.20, 0.40, 0.10.
    fn default() -> Self {
        let share = Share::clamped;
        Self { two: share(0.5), three: share(0.2), due: share(0.4), lapsed: share(0.1) }
    }
}

impl TryFrom<StoredLimits> for Limits {
    type Error = LimitsRefused;
    fn try_from(stored: StoredLimits) -> Result<Self, LimitsRefused> {
        Self::parse(stored.two, stored.three, stored.due, stored.lapsed)
    }
}

impl From<Limits> for StoredLimits {
    fn from(limits: Limits) -> Self {
        Self { two: limits.two.get(), three: limits.three.get(), due: limits.due.get(), lapsed: limits.lapsed.get() }
    }
}

/// A window from the growth cycle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "StoredGrowth", into = "StoredGrowth")]
pub struct GrowthRule {
    cycle: CycleSet,
    limits: Limits,
    pub(super) floor_days: u32,
    pub(super) edges: Edges,
}

/// Whole days after a lift at which a share has come down to its limit; they follow from the cycle
/// and the limits, and are found once so that a window is a few additions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Edges {
    pub(super) two: u32,
    pub(super) three: u32,
    pub(super) due: u32,
    pub(super) lapsed: u32,
}

/// Why a growth rule is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum RuleRefused {
    /// The floor is longer than ten years.
    #[error("the studio's minimum is at most 3652 days")]
    Floor,
}

#[derive(Serialize, Deserialize)]
struct StoredGrowth {
    cycle: CycleSet,
    limits: Limits,
    floor_days: u32,
}

impl GrowthRule {
    /// A rule from a cycle, limits and the studio's minimum in days (0 to 3652).
    ///
    /// # Errors
    /// [`RuleRefused`] when the minimum is too long.
    pub fn parse(cycle: CycleSet, limits: Limits, floor_days: u32) -> Result<Self, RuleRefused> {
        if floor_days > LONGEST_DAYS {
            return Err(RuleRefused::Floor);
        }
        Ok(Self::new(cycle, limits, floor_days))
    }

    fn new(cycle: CycleSet, limits: Limits, floor_days: u32) -> Self {
        let edges = Edges {
            two: cycle.first_day_at_most(limits.two),
            three: cycle.first_day_at_most(limits.three),
            due: cycle.first_day_at_most(limits.due),
            lapsed: cycle.first_day_at_most(limits.lapsed),
        };
        Self { cycle, limits, floor_days, edges }
    }

    /// The same rule for a client with another mean cycle. The studio's minimum stays as it is.
    ///
    /// # Errors
    /// [`CycleRefused`] when the mean is out of range.
    pub fn with_mean(&self, mean_days: f64) -> Result<Self, CycleRefused> {
        Ok(Self::new(self.cycle.with_mean(mean_days)?, self.limits, self.floor_days))
    }

    /// The cycle it counts with.
    pub fn cycle(&self) -> &CycleSet {
        &self.cycle
    }

    /// Its limits.
    pub fn limits(&self) -> Limits {
        self.limits
    }

    /// The studio's shortest time between two lifts, in days.
    pub fn floor_days(&self) -> u32 {
        self.floor_days
    }

    /// Days after a lift until the share still lifted has come down to the due share.
    pub fn due_days(&self) -> u32 {
        self.edges.due
    }

    /// Days after a lift until the share still lifted has come down to the lapsed share.
    pub fn lapsed_days(&self) -> u32 {
        self.edges.lapsed
    }

    /// What opens the window after these two newest lifts. The lashes that carry two lifts after the
    /// next are those that carry the last one now; those that carry three, the one before it.
    pub(super) fn contributors(&self, last: Date, before: Option<Date>, into: &mut Vec<Contributor>) {
        let days = self.floor_days;
        into.push(Contributor { reason: Reason::StudioMinimum { days }, date: after(last, days) });
        let limit = self.limits.two;
        into.push(Contributor { reason: Reason::TwoOrMore { limit }, date: after(last, self.edges.two) });
        if let Some(before) = before {
            let limit = self.limits.three;
            into.push(Contributor { reason: Reason::ThreeOrMore { limit }, date: after(before, self.edges.three) });
        }
    }
}

impl Default for GrowthRule {
    /// The observed cycle, the default limits, 42 days.
    fn default() -> Self {
        Self::new(CycleSet::default(), Limits::default(), 42)
    }
}

impl TryFrom<StoredGrowth> for GrowthRule {
    type Error = RuleRefused;
    fn try_from(stored: StoredGrowth) -> Result<Self, RuleRefused> {
        Self::parse(stored.cycle, stored.limits, stored.floor_days)
    }
}

impl From<GrowthRule> for StoredGrowth {
    fn from(rule: GrowthRule) -> Self {
        Self { cycle: rule.cycle, limits: rule.limits, floor_days: rule.floor_days }
    }
}
