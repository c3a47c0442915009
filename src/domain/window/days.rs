//! A rule as plain days, for whoever finds many windows by adding alone.

use super::RetouchRule;

/// What a rule adds to a client's newest days: with `last` and `before` the two newest, a window opens at the later of
/// `last + since_last` and `before + since_before`, is due at `last + due` and has lapsed at `last + lapsed`, each no
/// earlier than the one before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EdgeDays {
    /// Days from the newest day until it opens.
    pub since_last: u32,
    /// Days from the day before that; nothing where it doesn't matter.
    pub since_before: Option<u32>,
    /// Days from the newest day until it is due.
    pub due: u32,
    /// Days from the newest day until it has lapsed.
    pub lapsed: u32,
}

impl RetouchRule {
    /// The rule as plain days.
    pub fn edge_days(&self) -> EdgeDays {
        match self {
            Self::Growth(rule) => EdgeDays {
                since_last: rule.floor_days.max(rule.edges.two),
                since_before: Some(rule.edges.three),
                due: rule.edges.due,
                lapsed: rule.edges.lapsed,
            },
            Self::Interval(rule) => EdgeDays {
                since_last: rule.opens_days(),
                since_before: None,
                due: rule.due_days(),
                lapsed: rule.lapsed_days(),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::domain::window::{GrowthRule, IntervalRule, Limits, RetouchRule, after, two_newest, window};
    use proptest::prelude::*;
    use time::Duration;
    use time::macros::date;

    fn rules() -> impl Strategy<Value = RetouchRule> {
        let growth =
            (0.01..1.0, 0.01..1.0, 0.2..1.0, 0.01..0.2, 0u32..200).prop_map(|(two, three, due, lapsed, floor)| {
                let cycle = GrowthRule::default().cycle().clone();
                RetouchRule::Growth(
                    GrowthRule::parse(cycle, Limits::parse(two, three, due, lapsed).unwrap(), floor).unwrap(),
                )
            });
        let interval = (0u32..200, 0u32..200, 0u32..200)
            .prop_map(|(a, b, c)| RetouchRule::Interval(IntervalRule::parse(a, a + b, a + b + c).unwrap()));
        prop_oneof![growth, interval]
    }

    proptest! {
        #[test]
        fn adding_days_gives_the_window(rule in rules(), days in proptest::collection::vec(0i64..600, 1..8)) {
            let history: Vec<_> = days.iter().map(|&n| date!(2026 - 01 - 01) + Duration::days(n)).collect();
            let (whole, days) = (window(&history, &rule, &[]).unwrap(), rule.edge_days());
            let (last, before) = two_newest(&history).unwrap();
            let late = before.zip(days.since_before).map(|(day, more)| after(day, more));
            let opens = after(last, days.since_last).max(late.unwrap_or(last));
            let due = after(last, days.due).max(opens);
            prop_assert_eq!(
                (whole.opens(), whole.due(), whole.lapsed()),
                (opens, due, after(last, days.lapsed).max(due))
            );
        }
    }
}
