//! Events that repeat (RFC 5545, section 3.3.10), day by day: what a rule names below the day is refused.

use time::{Date, Duration, Month, Weekday};

use super::value::Moment;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Every {
    Day,
    Week,
    Month,
    Year,
}

/// How many months, days and positions a rule usually names at most.
const USUAL: usize = 16;

/// A rule by which an event repeats.
#[derive(Debug, Clone)]
pub struct Repeat {
    every: Every,
    interval: u16,
    count: Option<u32>,
    until: Option<Moment>,
    months: Vec<u8>,
    month_days: Vec<i16>,
    /// A day of the week, and which one of its month or year; 0 means each.
    weekdays: Vec<(i16, Weekday)>,
    positions: Vec<i16>,
    week_starts: Weekday,
}

fn weekday(text: &str) -> Option<Weekday> {
    Some(match text {
        "MO" => Weekday::Monday,
        "TU" => Weekday::Tuesday,
        "WE" => Weekday::Wednesday,
        "TH" => Weekday::Thursday,
        "FR" => Weekday::Friday,
        "SA" => Weekday::Saturday,
        "SU" => Weekday::Sunday,
        _ => return None,
    })
}

fn numbers<T: std::str::FromStr>(text: &str) -> Option<Vec<T>> {
    text.split(',').map(|part| part.trim().trim_start_matches('+').parse().ok()).collect()
}

impl Repeat {
    /// Reads a rule such as `FREQ=WEEKLY;BYDAY=MO,TH`. Nothing when it can't be understood in full: half a rule would
    /// leave busy times out.
    pub fn parse(text: &str) -> Option<Self> {
        let mut rule = Self {
            every: Every::Day,
            interval: 1,
            count: None,
            until: None,
            months: Vec::new(),
            month_days: Vec::new(),
            weekdays: Vec::new(),
            positions: Vec::new(),
            week_starts: Weekday::Monday,
        };
        let mut every = None;
        for part in text.trim().split(';').filter(|part| !part.is_empty()) {
            let (name, value) = part.split_once('=')?;
            match name.to_ascii_uppercase().as_str() {
                "FREQ" => {
                    every = Some(match value.to_ascii_uppercase().as_str() {
                        "DAILY" => Every::Day,
                        "WEEKLY" => Every::Week,
                        "MONTHLY" => Every::Month,
                        "YEARLY" => Every::Year,
                        _ => return None,
                    });
                }
                "INTERVAL" => rule.interval = value.parse().ok().filter(|n| *n > 0)?,
                "COUNT" => rule.count = Some(value.parse().ok()?),
                "UNTIL" => rule.until = Some(Moment::read(value)?),
                "BYMONTH" => rule.months = numbers(value)?,
                "BYMONTHDAY" => rule.month_days = numbers(value)?,
                "BYSETPOS" => rule.positions = numbers(value)?,
                "WKST" => rule.week_starts = weekday(value)?,
                "BYDAY" => {
                    for day in value.split(',').map(str::trim) {
                        let (ordinal, name) = day.split_at_checked(day.len().checked_sub(2)?)?;
                        let ordinal =
                            if ordinal.is_empty() { 0 } else { ordinal.trim_start_matches('+').parse().ok()? };
                        rule.weekdays.push((ordinal, weekday(name)?));
                    }
                }
                _ => return None,
            }
        }
        rule.every = every?;
        let ordinals = rule.weekdays.iter().any(|(ordinal, _)| *ordinal != 0);
        let sensible = !ordinals || matches!(rule.every, Every::Month | Every::Year);
        sensible.then_some(rule)
    }

    /// After which moment nothing happens any more.
    pub(super) fn until(&self) -> Option<Moment> {
        self.until
    }

    /// The days from `first` to `last` on which it happens, for an event that begins on `start`, in order.
    pub fn days(&self, start: Date, first: Date, last: Date) -> Vec<Date> {
        let mut any_number = u32::MAX;
        self.days_within(start, first, last, &mut any_number).unwrap_or_default()
    }

    /// The same, unless more days than `left_to_look_at` would have to be looked at, which are taken off it: a rule may
    /// begin in the year 0, and a file may hold thousands. A day that is compared with a long list counts as several.
    pub(super) fn days_within(
        &self,
        start: Date,
        first: Date,
        last: Date,
        left_to_look_at: &mut u32,
    ) -> Option<Vec<Date>> {
        let mut found = Vec::new();
        let mut left = self.count.unwrap_or(u32::MAX);
        let listed = self.months.len() + self.month_days.len() + self.weekdays.len() + self.positions.len();
        let each = u32::try_from(1 + listed / USUAL).ok()?;
        for step in 0_i64.. {
            let Some((from, to)) = self.period(start, step) else { break };
            if from > last || left == 0 {
                break;
            }
            *left_to_look_at = left_to_look_at.checked_sub(1)?;
            // Without a count nothing that lies before has to be looked at.
            if self.count.is_none() && to < first {
                continue;
            }
            let days = u32::try_from((to - from).whole_days() + 1).ok()?;
            // One of them is taken off already.
            *left_to_look_at = left_to_look_at.checked_sub(days.saturating_mul(each) - 1)?;
            for day in self.in_period(start, from, to) {
                if day < start || left == 0 {
                    continue;
                }
                left -= 1;
                if (first..=last).contains(&day) {
                    found.push(day);
                }
            }
        }
        Some(found)
    }

    /// The first and the last day of the period that lies so many steps after the one of `start`.
    fn period(&self, start: Date, step: i64) -> Option<(Date, Date)> {
        let step = step.checked_mul(i64::from(self.interval))?;
        match self.every {
            Every::Day => {
                let day = start.checked_add(Duration::days(step))?;
                Some((day, day))
            }
            Every::Week => {
                let back = start.weekday().number_days_from_monday() + 7 - self.week_starts.number_days_from_monday();
                let first = start.checked_sub(Duration::days(i64::from(back % 7)))?;
                let first = first.checked_add(Duration::weeks(step))?;
                Some((first, first.checked_add(Duration::days(6))?))
            }
            Every::Month => {
                let months = i64::from(start.year()) * 12 + i64::from(u8::from(start.month())) - 1 + step;
                let (year, month) = (i32::try_from(months.div_euclid(12)).ok()?, months.rem_euclid(12) + 1);
                let month = Month::try_from(u8::try_from(month).ok()?).ok()?;
                let first = Date::from_calendar_date(year, month, 1).ok()?;
                Some((first, first.replace_day(month.length(year)).ok()?))
            }
            Every::Year => {
                let year = i32::try_from(i64::from(start.year()).checked_add(step)?).ok()?;
                let first = Date::from_calendar_date(year, Month::January, 1).ok()?;
                Some((first, Date::from_calendar_date(year, Month::December, 31).ok()?))
            }
        }
    }

    fn in_period(&self, start: Date, from: Date, to: Date) -> Vec<Date> {
        let all = std::iter::successors(Some(from), |day| day.next_day()).take_while(|day| *day <= to);
        let days: Vec<Date> = all.filter(|day| self.fits(start, *day)).collect();
        if self.positions.is_empty() {
            return days;
        }
        let at = |position: i16| match position {
            1.. => usize::try_from(position - 1).ok(),
            _ => days.len().checked_sub(usize::from(position.unsigned_abs())),
        };
        let mut places: Vec<usize> = self.positions.iter().filter_map(|position| at(*position)).collect();
        places.sort_unstable();
        places.dedup();
        places.into_iter().filter_map(|place| days.get(place).copied()).collect()
    }

    fn fits(&self, start: Date, day: Date) -> bool {
        let month = u8::from(day.month());
        let length = i16::from(day.month().length(day.year()));
        let in_month = i16::from(day.day());
        let month_day = |wanted: &i16| *wanted == in_month || *wanted == in_month - length - 1;
        let unsaid = self.month_days.is_empty() && self.weekdays.is_empty();
        let implied = match self.every {
            Every::Day => true,
            Every::Week => !unsaid || day.weekday() == start.weekday(),
            Every::Month => !unsaid || day.day() == start.day(),
            Every::Year => {
                !unsaid || day.day() == start.day() && (!self.months.is_empty() || day.month() == start.month())
            }
        };
        implied
            && (self.months.is_empty() || self.months.contains(&month))
            && (self.month_days.is_empty() || self.month_days.iter().any(month_day))
            && (self.weekdays.is_empty() || self.weekdays.iter().any(|wanted| self.is_that(*wanted, day)))
    }

    /// Whether a day is that day of the week, and that one of its month or year.
    fn is_that(&self, (ordinal, weekday): (i16, Weekday), day: Date) -> bool {
        if day.weekday() != weekday {
            return false;
        }
        let of_year = self.every == Every::Year && self.months.is_empty();
        let (at, length) = if of_year {
            (day.ordinal(), time::util::days_in_year(day.year()))
        } else {
            (u16::from(day.day()), u16::from(day.month().length(day.year())))
        };
        let (from_start, from_end) = ((at - 1) / 7 + 1, (length - at) / 7 + 1);
        match ordinal {
            0 => true,
            1.. => u16::try_from(ordinal).is_ok_and(|ordinal| ordinal == from_start),
            _ => ordinal.unsigned_abs() == from_end,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    fn days(rule: &str, start: Date) -> Vec<String> {
        let found = Repeat::parse(rule).unwrap().days(start, start, date!(2027 - 12 - 31));
        found.iter().take(5).map(ToString::to_string).collect()
    }

    /// The examples of RFC 5545, section 3.8.5.3, moved to years ahead.
    #[test]
    fn rules_name_their_days() {
        let start = date!(2026 - 09 - 01);
        assert_eq!(
            days("FREQ=WEEKLY;COUNT=4;BYDAY=TU,TH", start),
            ["2026-09-01", "2026-09-03", "2026-09-08", "2026-09-10"]
        );
        assert_eq!(days("FREQ=MONTHLY;COUNT=2;BYDAY=1FR", start), ["2026-09-04", "2026-10-02"]);
        assert_eq!(days("FREQ=MONTHLY;COUNT=2;BYMONTHDAY=-3", start), ["2026-09-28", "2026-10-29"]);
        assert_eq!(days("FREQ=MONTHLY;COUNT=2;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1", start), ["2026-09-30", "2026-10-30"]);
        assert_eq!(days("FREQ=YEARLY;COUNT=2;BYDAY=20MO", date!(2026 - 01 - 01)), ["2026-05-18", "2027-05-17"]);
        assert_eq!(days("FREQ=MONTHLY;COUNT=3", date!(2026 - 08 - 31)), ["2026-08-31", "2026-10-31", "2026-12-31"]);
    }

    #[test]
    fn what_is_not_understood_in_full_is_refused() {
        for rule in [
            "",
            "FREQ=HOURLY",
            "FREQ=DAILY;BYHOUR=3",
            "FREQ=WEEKLY;BYDAY=1MO",
            "FREQ=DAILY;INTERVAL=0",
            "INTERVAL=2",
            "FREQ=DAILY;UNTIL=soon",
            "FREQ=YEARLY;BYWEEKNO=20",
            "FREQ=WEEKLY;BYDAY=XX",
            "FREQ=DAILY;COUNT=-1",
            "FREQ",
        ] {
            assert!(Repeat::parse(rule).is_none(), "{rule}");
        }
    }

    #[test]
    fn each_day_that_is_looked_at_is_taken_off_once_and_a_period_before_them_as_one() {
        let looked_at = |rule: &str, first: Date, last: Date, mut left: u32| {
            let found = Repeat::parse(rule).unwrap().days_within(date!(2026 - 03 - 02), first, last, &mut left);
            found.map(|days| (days.len(), left))
        };
        let (monday, sunday) = (date!(2026 - 03 - 02), date!(2026 - 03 - 08));
        assert_eq!(looked_at("FREQ=DAILY", monday, sunday, 7), Some((7, 0)));
        assert_eq!(looked_at("FREQ=DAILY", monday, sunday, 6), None);
        assert_eq!(looked_at("FREQ=WEEKLY", monday, sunday, 7), Some((1, 0)));
        assert_eq!(looked_at("FREQ=WEEKLY", monday, sunday, 6), None);
        let fourth = (date!(2026 - 03 - 23), date!(2026 - 03 - 29));
        assert_eq!(looked_at("FREQ=WEEKLY", fourth.0, fourth.1, 10), Some((1, 0)), "three weeks are passed over");
        assert_eq!(looked_at("FREQ=WEEKLY;COUNT=9", fourth.0, fourth.1, 28), Some((1, 0)), "a count counts them");
    }

    #[test]
    fn a_day_that_is_compared_with_a_long_list_counts_as_several() {
        let week = (date!(2026 - 03 - 02), date!(2026 - 03 - 08));
        let taken = |list: &str, also: &str| {
            let (rule, mut left) = (format!("FREQ=DAILY;{list}{also}"), 1_000);
            Repeat::parse(&rule).unwrap().days_within(week.0, week.0, week.1, &mut left).map(|_| 1_000 - left)
        };
        let lists = ["BYMONTHDAY=2", "BYMONTH=3", "BYSETPOS=1", "BYDAY=MO"].map(|list| {
            let (_, first) = list.split_once('=').unwrap();
            (list, format!(",{first}"))
        });
        for (list, more) in &lists {
            assert_eq!(taken(list, &more.repeat(14)), Some(7), "{list}");
            assert_eq!(taken(list, &more.repeat(15)), Some(14), "{list}");
            assert_eq!(taken(list, &more.repeat(31)), Some(21), "{list}");
            assert_eq!(taken(list, &more.repeat(100_000)), None, "{list}");
        }
        let all = lists.map(|(list, more)| format!("{list}{}", more.repeat(3))).join(";");
        assert_eq!(taken(&all, ""), Some(14), "all of them together");
    }

    #[test]
    fn a_rule_without_a_day_ends() {
        let rule = Repeat::parse("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30").unwrap();
        assert_eq!(rule.days(date!(2020 - 01 - 01), date!(2026 - 01 - 01), date!(2027 - 12 - 31)), []);
    }

    #[test]
    fn months_are_counted_across_the_years_and_a_year_repeats_its_day_alone() {
        let start = date!(2026 - 01 - 15);
        assert_eq!(
            days("FREQ=MONTHLY;INTERVAL=5;COUNT=4", start),
            ["2026-01-15", "2026-06-15", "2026-11-15", "2027-04-15"]
        );
        assert_eq!(days("FREQ=YEARLY;COUNT=2", start), ["2026-01-15", "2027-01-15"]);
        assert_eq!(days("FREQ=YEARLY;BYMONTH=3,4;COUNT=3", start), ["2026-03-15", "2026-04-15", "2027-03-15"]);
    }
}
