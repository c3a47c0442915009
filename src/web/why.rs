//! When somebody may return and why, in words: for the team and, without figures, for the client.

use time::{Date, Duration};

use crate::domain::window::{Reason, Window, WindowState};
use crate::web::words;
use crate::when;

/// Where a window stands, for the team.
pub fn state(window: &Window, today: Date) -> String {
    match window.state(today) {
        WindowState::NotYet => format!("Opens on {}", words::day(window.opens())),
        WindowState::Open => format!("Open; due on {}", words::day(window.due())),
        WindowState::Due => {
            let days = (today - window.due()).whole_days();
            format!("Due since {}{}", words::day(window.due()), for_days(days))
        }
        WindowState::Lapsed => format!("Lapsed on {}: counts as a first visit", words::day(window.lapsed())),
    }
}

fn for_days(days: i64) -> String {
    match days {
        0 => ", today".to_owned(),
        1 => ", 1 day".to_owned(),
        _ => format!(", {days} days"),
    }
}

/// One word for a state, for choices and headings.
pub fn name(state: WindowState) -> &'static str {
    match state {
        WindowState::NotYet => "Not yet open",
        WindowState::Open => "Open",
        WindowState::Due => "Due",
        WindowState::Lapsed => "Lapsed",
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
        WindowState::NotYet => format!("You can come again from {}.", when::day(window.opens())),
        WindowState::Open | WindowState::Due => "You can come again now.".to_owned(),
        WindowState::Lapsed => {
            "You can come again now. It has been a while, so we treat it as a first visit.".to_owned()
        }
    }
}

/// What is a good time, where there is one left.
pub fn good_time(window: &Window, today: Date) -> Option<String> {
    let last = window.lapsed().saturating_sub(Duration::DAY);
    match window.state(today) {
        WindowState::Lapsed => None,
        WindowState::Due => Some(format!("Now is a good time, until {}.", when::day(last))),
        WindowState::NotYet | WindowState::Open if last > window.due() => {
            Some(format!("A good time is from {} to {}.", when::day(window.due()), when::day(last)))
        }
        WindowState::NotYet | WindowState::Open => Some(format!("A good time is from {}.", when::day(window.due()))),
    }
}

/// Why the client can't come earlier.
pub fn for_client(reason: &Reason) -> String {
    match reason {
        Reason::TwoOrMore { .. } => {
            "Lashes fall out and grow anew all the time. Before that day too many of yours would be lifted a second time."
                .to_owned()
        }
        Reason::ThreeOrMore { .. } => {
            "Lashes fall out and grow anew all the time. Before that day too many of yours would be lifted a third time."
                .to_owned()
        }
        Reason::StudioMinimum { days } => format!("We leave at least {} between two lifts.", span(*days)),
        Reason::PlainInterval { days } => format!("We leave at least {} between two visits of this kind.", span(*days)),
        Reason::ProductMinimum { days } => {
            format!("The label of a product asks for at least {} between two uses.", span(*days))
        }
        Reason::InsurerMinimum { days } => format!("Our insurer asks for at least {} between two visits.", span(*days)),
        Reason::HealthWait { .. } => "One of your health answers asks us to wait until then.".to_owned(),
    }
}

fn span(days: u32) -> String {
    match days {
        1 => "1 day".to_owned(),
        7 => "1 week".to_owned(),
        _ if days.is_multiple_of(7) => format!("{} weeks", days / 7),
        _ => format!("{days} days"),
    }
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
