//! When somebody may return and why, in words: for the team and, without figures, for the client.

use time::{Date, Duration};

use crate::domain::window::{Reason, Window, WindowState};
use crate::web::words;
use crate::when;
use crate::{t, tc, tf, tn};

/// Where a window stands, for the team.
pub fn state(window: &Window, today: Date) -> String {
    match window.state(today) {
        WindowState::NotYet => tf("Opens on {day}").with("day", words::day(window.opens())),
        WindowState::Open => tf("Open; due on {day}").with("day", words::day(window.due())),
        WindowState::Due => {
            let due = words::day(window.due());
            match (today - window.due()).whole_days() {
                0 => tf("Due since {day}, today").with("day", due),
                days => tn("Due since {day}, {n} day", "Due since {day}, {n} days", days).with("day", due),
            }
        }
        WindowState::Lapsed => tf("Lapsed on {day}: counts as a first visit").with("day", words::day(window.lapsed())),
    }
    .to_string()
}

/// One word for a state, for choices and headings.
pub fn name(state: WindowState) -> &'static str {
    match state {
        WindowState::NotYet => t("Not yet open"),
        WindowState::Open => tc("a window", "Open"),
        WindowState::Due => tc("a window", "Due"),
        WindowState::Lapsed => tc("a window", "Lapsed"),
    }
}

/// A reason as the first words of a line, for the team.
pub fn reason(reason: &Reason) -> String {
    let words = reason.to_string();
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// When the client may come again.
pub fn may_come(window: &Window, today: Date) -> String {
    match window.state(today) {
        WindowState::NotYet => tf("You can come again from {day}.").with("day", when::day(window.opens())).to_string(),
        WindowState::Open | WindowState::Due => t("You can come again now.").to_owned(),
        WindowState::Lapsed => {
            t("You can come again now. It has been a while, so we treat it as a first visit.").to_owned()
        }
    }
}

/// What is a good time, where there is one left.
pub fn good_time(window: &Window, today: Date) -> Option<String> {
    let last = window.lapsed().saturating_sub(Duration::DAY);
    let (due, until) = (when::day(window.due()), when::day(last));
    let good = match window.state(today) {
        WindowState::Lapsed => return None,
        WindowState::Due => tf("Now is a good time, until {day}.").with("day", until),
        WindowState::NotYet | WindowState::Open if last > window.due() => {
            tf("A good time is from {from} to {to}.").with("from", due).with("to", until)
        }
        WindowState::NotYet | WindowState::Open => tf("A good time is from {day}.").with("day", due),
    };
    Some(good.to_string())
}

/// Why the client can't come earlier.
pub fn for_client(reason: &Reason) -> String {
    match reason {
        Reason::TwoOrMore { .. } => {
            t("Lashes fall out and grow anew all the time. Before that day too many of yours would \
                                       be lifted a second time.")
            .to_owned()
        }
        Reason::ThreeOrMore { .. } => {
            t("Lashes fall out and grow anew all the time. Before that day too many of yours \
                                         would be lifted a third time.")
            .to_owned()
        }
        Reason::StudioMinimum { days } => {
            tf("We leave at least {span} between two lifts.").with("span", span(*days)).to_string()
        }
        Reason::PlainInterval { days } => {
            tf("We leave at least {span} between two visits of this kind.").with("span", span(*days)).to_string()
        }
        Reason::ProductMinimum { days } => tf("The label of a product asks for at least {span} between two uses.")
            .with("span", span(*days))
            .to_string(),
        Reason::InsurerMinimum { days } => {
            tf("Our insurer asks for at least {span} between two visits.").with("span", span(*days)).to_string()
        }
        Reason::HealthWait { .. } => t("One of your health answers asks us to wait until then.").to_owned(),
    }
}

fn span(days: u32) -> String {
    let whole_weeks = days > 0 && days.is_multiple_of(7);
    if whole_weeks { tn("{n} week", "{n} weeks", days / 7) } else { tn("{n} day", "{n} days", days) }.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::window::{IntervalRule, RetouchRule, Wait, window};
    use time::macros::date;

    fn after(days: i64, extra: &[Wait]) -> (Window, Date) {
        let rule = RetouchRule::Interval(IntervalRule::parse(10, 20, 30).unwrap());
        let last = date!(2026 - 03 - 01);
        (window(&[last], &rule, extra).unwrap(), last + Duration::days(days))
    }

    #[test]
    fn states_are_told_with_their_days() {
        let told = [9, 10, 19, 20, 21, 25, 30].map(|days| {
            let (window, today) = after(days, &[]);
            state(&window, today)
        });
        let wanted = [
            "Opens on Wed 11 March 2026",
            "Open; due on Sat 21 March 2026",
            "Open; due on Sat 21 March 2026",
            "Due since Sat 21 March 2026, today",
            "Due since Sat 21 March 2026, 1 day",
            "Due since Sat 21 March 2026, 5 days",
            "Lapsed on Tue 31 March 2026: counts as a first visit",
        ];
        assert_eq!(told, wanted);
    }

    #[test]
    fn a_good_time_ends_before_the_window_lapses() {
        let good = |days, extra: &[Wait]| {
            let (window, today) = after(days, extra);
            good_time(&window, today)
        };
        assert_eq!(good(3, &[]).unwrap(), "A good time is from Saturday 21 March 2026 to Monday 30 March 2026.");
        assert_eq!(good(29, &[]).unwrap(), "Now is a good time, until Monday 30 March 2026.");
        assert_eq!(good(30, &[]), None);
        let wait = Wait::Health { question: "x".to_owned(), until: date!(2026 - 05 - 01) };
        assert_eq!(good(3, &[wait]).unwrap(), "A good time is from Friday 1 May 2026.");
    }

    #[test]
    fn a_span_is_told_in_weeks_where_it_has_whole_ones() {
        assert_eq!([1, 7, 42, 46].map(span), ["1 day", "1 week", "6 weeks", "46 days"]);
    }
}
