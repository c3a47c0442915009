//! For the owner: the hours that returning clients would take in the coming weeks, against the hours that are open.

use super::{Anchor, Canvas, Picture};
use crate::language::short_month;
use crate::{t, tf};
use time::Date;

/// One week.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WeekBar {
    /// Its Monday.
    pub monday: Date,
    /// How many windows open in it.
    pub windows: u32,
    /// Of how many the client has something booked.
    pub booked: u32,
    /// Minutes that the others would take.
    pub wanted_minutes: u32,
    /// Minutes in which somebody works.
    pub open_minutes: u32,
}

const WIDTH: f64 = 760.0;
const LEFT: f64 = 48.0;
const RIGHT: f64 = 744.0;
const TOP: f64 = 34.0;
const BOTTOM: f64 = 254.0;
/// Every so many weeks a date stands beneath.
const DATES: usize = 4;

/// Draws a bar for each week and a line of the hours that are open. `id` tells the pictures of one page apart.
pub fn openings(id: &str, weeks: &[WeekBar]) -> Picture<WeekBar> {
    let hours = |minutes: u32| f64::from(minutes) / 60.0;
    let most = weeks.iter().map(|week| hours(week.wanted_minutes.max(week.open_minutes))).fold(1.0, f64::max);
    let step = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0]
        .into_iter()
        .find(|step| most / step <= 6.0)
        .unwrap_or(most / 6.0);
    let y = |hours: f64| BOTTOM - (BOTTOM - TOP) * hours / (most * 1.05);
    let wide = (RIGHT - LEFT) / weeks.iter().fold(0.0, |count, _| count + 1.0_f64).max(1.0);
    let mut canvas = Canvas::new(WIDTH, BOTTOM + 46.0);
    for mark in (0..=6_u8).map(|n| f64::from(n) * step).take_while(|mark| *mark <= most * 1.05) {
        canvas.line("grid", (LEFT, y(mark)), (RIGHT, y(mark)), 0.5, "1 3");
        canvas.text("tick", (LEFT - 6.0, y(mark) + 4.0), Anchor::End, &format!("{mark} h"));
    }
    let mut open = Vec::new();
    let mut left = LEFT;
    for (place, week) in weeks.iter().enumerate() {
        let top = y(hours(week.wanted_minutes));
        canvas.rect("due", (left + 2.0, top), ((wide - 4.0).max(1.0), BOTTOM - top), 0.35);
        let line = y(hours(week.open_minutes));
        open.extend([(left, line), (left + wide, line)]);
        if place.is_multiple_of(DATES) {
            canvas.line("grid", (left, BOTTOM), (left, BOTTOM + 5.0), 1.0, "");
            let date = tf("{day} {month}")
                .with("day", week.monday.day())
                .with("month", short_month(week.monday.month()))
                .to_string();
            canvas.text("tick", (left, BOTTOM + 20.0), Anchor::Start, &date);
        }
        left += wide;
    }
    canvas.line("grid", (LEFT, BOTTOM), (RIGHT, BOTTOM), 1.0, "");
    canvas.curve("open", &open, 2.0);
    canvas.line("open", (LEFT, 16.0), (LEFT + 24.0, 16.0), 2.0, "");
    canvas.text("name", (LEFT + 30.0, 20.0), Anchor::Start, t("hours open"));
    canvas.rect("due", (LEFT + 130.0, 8.0), (24.0, 14.0), 0.35);
    canvas.text(
        "name",
        (LEFT + 160.0, 20.0),
        Anchor::Start,
        t("hours of clients who may return and have nothing booked"),
    );
    let svg = canvas.finish(id, t("Windows that open, week by week"), &description(weeks));
    Picture { svg, rows: weeks.to_vec() }
}

fn description(weeks: &[WeekBar]) -> String {
    let windows: u32 = weeks.iter().map(|week| week.windows).sum();
    let booked: u32 = weeks.iter().map(|week| week.booked).sum();
    let over = weeks.iter().filter(|week| week.wanted_minutes > week.open_minutes).count();
    let words = tf(
        "In {weeks} weeks {windows} windows open; of {booked} the client has something booked. In {over} weeks the others would \
         take more hours than are open. The table beneath has the numbers.",
    );
    words.with("weeks", weeks.len()).with("windows", windows).with("booked", booked).with("over", over).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;
    use time::{Duration, ext::NumericalDuration};

    fn weeks(wanted: &[u32]) -> Vec<WeekBar> {
        let week = |(n, &wanted_minutes): (usize, &u32)| WeekBar {
            monday: date!(2026 - 03 - 02) + 7.days() * i32::try_from(n).unwrap(),
            windows: wanted_minutes / 60,
            booked: 0,
            wanted_minutes,
            open_minutes: 600,
        };
        wanted.iter().enumerate().map(week).collect()
    }

    #[test]
    fn a_bar_is_as_high_as_its_hours() {
        let picture = openings("f", &weeks(&[600, 300, 0]));
        let heights: Vec<f64> = picture
            .svg
            .split("class=\"due\"")
            .skip(1)
            .take(3)
            .map(|rect| rect.split("height=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap())
            .collect();
        assert!((heights[0] - 2.0 * heights[1]).abs() < 0.11 && heights[2] == 0.0, "{heights:?}");
        assert!(picture.svg.contains("In 3 weeks 15 windows open"), "{}", picture.svg);
        assert_eq!(picture.rows[1].monday - picture.rows[0].monday, Duration::WEEK);
    }

    #[test]
    fn nothing_to_draw_is_drawn_all_the_same() {
        let empty = openings("f", &[]);
        assert!(empty.svg.contains("In 0 weeks 0 windows open"));
        let closed = openings("f", &[WeekBar { open_minutes: 0, ..weeks(&[0])[0] }]);
        assert!(!closed.svg.contains("NaN") && !closed.svg.contains("inf"), "{}", closed.svg);
    }
}
