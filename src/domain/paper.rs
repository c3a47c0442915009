//! How long the studio's own papers hold: certificates and the insurance policy.

use time::{Date, Duration};

/// How long before its end a paper is warned of: time to find a course or another insurer (common practice, no source).
pub const WARNED_BEFORE: Duration = Duration::days(60);

/// How a paper stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// It holds for long, or for ever.
    Long,
    /// It ends soon: the last day on which it holds.
    Until(Date),
    /// It has ended.
    Ended(Date),
}

/// How a paper stands that holds up to and with a day.
pub fn holds(expires_on: Option<Date>, today: Date) -> Holds {
    match expires_on {
        Some(last) if last < today => Holds::Ended(last),
        Some(last) if last - today <= WARNED_BEFORE => Holds::Until(last),
        _ => Holds::Long,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn a_paper_holds_on_its_last_day_and_is_warned_of_before() {
        let today = date!(2026 - 03 - 02);
        assert_eq!(holds(None, today), Holds::Long);
        assert_eq!(holds(Some(today + WARNED_BEFORE + Duration::DAY), today), Holds::Long);
        assert_eq!(holds(Some(today + WARNED_BEFORE), today), Holds::Until(today + WARNED_BEFORE));
        assert_eq!(holds(Some(today), today), Holds::Until(today));
        assert_eq!(holds(Some(today - Duration::DAY), today), Holds::Ended(today - Duration::DAY));
    }
}
