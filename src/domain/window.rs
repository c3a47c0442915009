//! When a client may and should return: opens, due, lapsed, and what each date rests on.
//!
//! For lifts the dates come from the growth cycle ([`GrowthRule`]), for the other services from plain
//! intervals ([`IntervalRule`]). Waits from products, insurers and health answers only ever push a
//! window later. `opens ≤ due ≤ lapsed` always holds.

mod booked;
mod days;
mod effect;
mod rule;

pub use booked::too_near;
pub use days::EdgeDays;
pub use effect::{Effect, effect};
pub use rule::{GrowthRule, IntervalRefused, IntervalRule, Limits, LimitsRefused, RetouchRule, RuleRefused};

use crate::domain::catalogue::ServiceKind;
use crate::domain::growth::{CycleRefused, Range, Share};
use crate::{t, tf};
use serde::{Deserialize, Serialize};
use std::fmt;
use time::{Date, Duration};

/// Why a window opens no earlier than a date.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "reason", rename_all = "snake_case")]
pub enum Reason {
    /// The studio's own shortest time between two lifts.
    StudioMinimum {
        /// Days from the last visit.
        days: u32,
    },
    /// Until then more than `limit` of the lashes would carry two lifts or more.
    TwoOrMore {
        /// The studio's limit.
        limit: Share,
    },
    /// Until then more than `limit` of the lashes would carry three lifts or more.
    ThreeOrMore {
        /// The studio's limit.
        limit: Share,
    },
    /// The plain interval of a service without a growth rule.
    PlainInterval {
        /// Days from the last visit.
        days: u32,
    },
    /// The shortest time between two uses of a product.
    ProductMinimum {
        /// Days from the last visit.
        days: u32,
    },
    /// The shortest time that the insurer asks for.
    InsurerMinimum {
        /// Days from the last visit.
        days: u32,
    },
    /// A health answer asks to wait.
    HealthWait {
        /// Key of the question, never its answer.
        question: String,
    },
}

impl Reason {
    /// The word that JSON and templates use.
    pub fn as_str(&self) -> &'static str {
        match self {
            Self::StudioMinimum { .. } => "studio_minimum",
            Self::TwoOrMore { .. } => "two_or_more",
            Self::ThreeOrMore { .. } => "three_or_more",
            Self::PlainInterval { .. } => "plain_interval",
            Self::ProductMinimum { .. } => "product_minimum",
            Self::InsurerMinimum { .. } => "insurer_minimum",
            Self::HealthWait { .. } => "health_wait",
        }
    }
}

impl fmt::Display for Reason {
    /// In words, for the team; the pages for clients have plainer ones.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // In per cent, without the dust of binary fractions.
        let percent = |limit: &Share| (limit.get() * 1e6).round() / 1e4;
        match self {
            Self::StudioMinimum { days } => {
                write!(f, "{}", tf("the studio's minimum of {days} days").with("days", days))
            }
            Self::TwoOrMore { limit } => {
                let words = tf("until then more than {share} % of the lashes would carry two lifts or more");
                write!(f, "{}", words.with("share", percent(limit)))
            }
            Self::ThreeOrMore { limit } => {
                let words = tf("until then more than {share} % of the lashes would carry three lifts or more");
                write!(f, "{}", words.with("share", percent(limit)))
            }
            Self::PlainInterval { days } => {
                write!(f, "{}", tf("the service's interval of {days} days").with("days", days))
            }
            Self::ProductMinimum { days } => {
                write!(f, "{}", tf("the product's minimum of {days} days").with("days", days))
            }
            Self::InsurerMinimum { days } => {
                write!(f, "{}", tf("the insurer's minimum of {days} days").with("days", days))
            }
            Self::HealthWait { .. } => f.write_str(t("a health answer asks to wait")),
        }
    }
}

/// One reason with the first day that it allows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contributor {
    /// Why.
    pub reason: Reason,
    /// The first day it allows.
    pub date: Date,
}

/// A wait that comes from elsewhere than the service's own rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wait {
    /// A product asks for so many days since the last visit.
    Product {
        /// Days.
        days: u32,
    },
    /// The insurer asks for so many days since the last visit.
    Insurer {
        /// Days.
        days: u32,
    },
    /// A health answer asks to wait.
    Health {
        /// Key of the question.
        question: String,
        /// The first day it allows.
        until: Date,
    },
}

impl Wait {
    fn from(&self, last: Date) -> Contributor {
        match self {
            &Self::Product { days } => Contributor { reason: Reason::ProductMinimum { days }, date: after(last, days) },
            &Self::Insurer { days } => Contributor { reason: Reason::InsurerMinimum { days }, date: after(last, days) },
            Self::Health { question, until } => {
                Contributor { reason: Reason::HealthWait { question: question.clone() }, date: *until }
            }
        }
    }
}

/// Where a day lies in a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WindowState {
    /// Before it opens.
    NotYet,
    /// Open, and not yet due.
    Open,
    /// Due: a good time to return.
    Due,
    /// So long after the last visit that the next counts as a first one.
    Lapsed,
}

/// When a client may return for a service, and why not earlier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    binding: Contributor,
    contributors: Vec<Contributor>,
    due: Date,
    lapsed: Date,
}

impl Window {
    /// The latest contributor opens it; *due* and *lapsed* are pushed so that they come no earlier.
    /// `None` without a contributor.
    fn new(contributors: Vec<Contributor>, due: Date, lapsed: Date) -> Option<Self> {
        let latest = |best: &'_ Contributor, next: &'_ Contributor| next.date > best.date;
        let binding = contributors.iter().reduce(|best, next| if latest(best, next) { next } else { best })?.clone();
        let due = due.max(binding.date);
        Some(Self { binding, contributors, due, lapsed: lapsed.max(due) })
    }

    /// The window of a service whose parts (a lift and a tint) have windows of their own: the part
    /// that comes last decides each date. `None` without parts.
    pub fn joined(parts: impl IntoIterator<Item = Self>) -> Option<Self> {
        let mut parts = parts.into_iter();
        let mut all = parts.next()?;
        for part in parts {
            all.contributors.extend(part.contributors);
            all.due = all.due.max(part.due);
            all.lapsed = all.lapsed.max(part.lapsed);
        }
        Self::new(all.contributors, all.due, all.lapsed)
    }

    /// The first day on which the client may return.
    pub fn opens(&self) -> Date {
        self.binding.date
    }

    /// The day from which it is a good time to return; no earlier than [`Self::opens`].
    pub fn due(&self) -> Date {
        self.due
    }

    /// The day from which a return counts as a first visit; no earlier than [`Self::due`].
    pub fn lapsed(&self) -> Date {
        self.lapsed
    }

    /// Every reason with the first day it allows; never empty.
    pub fn contributors(&self) -> &[Contributor] {
        &self.contributors
    }

    /// The reason that decides when the window opens: the latest, and of equals the first listed.
    pub fn binding(&self) -> &Contributor {
        &self.binding
    }

    /// Where `today` lies.
    pub fn state(&self, today: Date) -> WindowState {
        if today < self.opens() {
            WindowState::NotYet
        } else if today < self.due {
            WindowState::Open
        } else if today < self.lapsed {
            WindowState::Due
        } else {
            WindowState::Lapsed
        }
    }
}

/// The window after the visits of `history` (any order; a day listed twice is one visit), under the
/// service's own rule and the waits that come on top.
///
/// `None` without a visit: a first visit has no retouch window, only its waits, which the caller has.
pub fn window(history: &[Date], rule: &RetouchRule, extra: &[Wait]) -> Option<Window> {
    let (last, before) = two_newest(history)?;
    let mut contributors = Vec::new();
    let (due, lapsed) = match rule {
        RetouchRule::Growth(rule) => {
            rule.contributors(last, before, &mut contributors);
            (rule.due_days(), rule.lapsed_days())
        }
        RetouchRule::Interval(rule) => {
            let days = rule.opens_days();
            contributors.push(Contributor { reason: Reason::PlainInterval { days }, date: after(last, days) });
            (rule.due_days(), rule.lapsed_days())
        }
    };
    contributors.extend(extra.iter().map(|wait| wait.from(last)));
    Window::new(contributors, after(last, due), after(last, lapsed))
}

/// The window of a service of this kind: each part (a lift, a tint) looks back to the visits that
/// contained it, under its own rule. `rule` gives the rule of [`LashLift`](ServiceKind::LashLift) and
/// the other single kinds; parts without a visit or a rule add nothing.
pub fn window_of_service<'a>(
    kind: ServiceKind,
    visits: &[(ServiceKind, Date)],
    rule: impl Fn(ServiceKind) -> Option<&'a RetouchRule>,
    extra: &[Wait],
) -> Option<Window> {
    let mut windows = Vec::new();
    for &part in parts(kind) {
        let days: Vec<Date> =
            visits.iter().filter(|(past, _)| parts(*past).contains(&part)).map(|&(_, day)| day).collect();
        windows.extend(rule(part).and_then(|rule| window(&days, rule, if windows.is_empty() { extra } else { &[] })));
    }
    Window::joined(windows)
}

/// The single kinds that a kind is made of.
pub fn parts(kind: ServiceKind) -> &'static [ServiceKind] {
    match kind {
        ServiceKind::LashLift => &[ServiceKind::LashLift],
        ServiceKind::LashTint => &[ServiceKind::LashTint],
        ServiceKind::LiftAndTint => &[ServiceKind::LashLift, ServiceKind::LashTint],
        ServiceKind::BrowLamination => &[ServiceKind::BrowLamination],
        ServiceKind::BrowTint => &[ServiceKind::BrowTint],
    }
}

/// The windows at the median and at both ends of what is believed of a client's mean (a fit's, or the
/// prior's). The studio's minimum and the waits hold in each of them.
///
/// # Errors
/// [`CycleRefused`] when an end is no possible mean.
pub fn window_range(
    history: &[Date],
    rule: &GrowthRule,
    mean_days: Range<f64>,
    extra: &[Wait],
) -> Result<Option<Range<Window>>, CycleRefused> {
    let at = |mean_days| rule.with_mean(mean_days).map(|rule| window(history, &RetouchRule::Growth(rule), extra));
    let (median, low, high) = (at(mean_days.median)?, at(mean_days.low)?, at(mean_days.high)?);
    Ok(median.zip(low).zip(high).map(|((median, low), high)| Range { median, low, high }))
}

fn two_newest(history: &[Date]) -> Option<(Date, Option<Date>)> {
    let (&first, rest) = history.split_first()?;
    let (mut last, mut before) = (first, None);
    for &day in rest {
        if day > last {
            before = Some(last);
            last = day;
        } else if day < last && before.is_none_or(|second| day > second) {
            before = Some(day);
        }
    }
    Some((last, before))
}

/// The day so many days later, or the last day that there is.
fn after(day: Date, days: u32) -> Date {
    day.saturating_add(Duration::days(days.into()))
}

#[cfg(test)]
mod tests;
