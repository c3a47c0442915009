//! One client: the share still lifted over time, with past lifts, today, window and uncertainty.

use super::{Anchor, Canvas, Picture};
use crate::domain::growth::{CycleName, CycleRefused, CycleSet, LiftHistory, Range, Share, days_between};
use crate::domain::window::{GrowthRule, Window};
use crate::{t, tc, tf, tn};
use time::{Date, Duration};

/// Where the band comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Belief {
    /// From what is assumed of clients; nothing was counted.
    Assumed,
    /// From so many counts of this client.
    Counted(usize),
}

/// What the picture is drawn from.
#[derive(Debug)]
pub struct ShareInput<'a> {
    /// Tells the pictures of one page apart; letters, digits and hyphens.
    pub id: &'a str,
    /// The rule, with the set that the client is counted under.
    pub rule: &'a GrowthRule,
    /// The client's mean cycle in days: the fit's, or the prior's.
    pub mean_days: Range<f64>,
    /// Where that comes from.
    pub belief: Belief,
    /// Past lifts; without one there is nothing to draw.
    pub lifts: &'a LiftHistory,
    /// The client's window, waits included.
    pub window: &'a Window,
    /// Today.
    pub today: Date,
}

/// What happens on a day of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// A lift was done; the share is that after it.
    Lift,
    /// Today.
    Today,
    /// The window opens.
    Opens,
    /// A return is due.
    Due,
    /// The next visit counts as a first one.
    Lapsed,
}

impl Mark {
    /// What the picture calls it.
    pub fn label(self) -> &'static str {
        match self {
            Self::Lift => tc("a day on a picture", "lift"),
            Self::Today => tc("a day on a picture", "today"),
            Self::Opens => tc("a day on a picture", "opens"),
            Self::Due => tc("a day on a picture", "due"),
            Self::Lapsed => tc("a day on a picture", "lapsed"),
        }
    }

    fn class(self) -> &'static str {
        match self {
            Self::Lift => "lift",
            Self::Today => "today",
            Self::Opens => "opens",
            Self::Due => "due",
            Self::Lapsed => "lapsed",
        }
    }

    fn dashes(self) -> &'static str {
        match self {
            Self::Lift | Self::Today => "",
            Self::Opens => "8 3",
            Self::Due => "4 3",
            Self::Lapsed => "1 3",
        }
    }
}

/// One line of the table: the share on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShareRow {
    /// The day.
    pub date: Date,
    /// Share still lifted; the low end and the high end hold nine tenths of the belief.
    pub share: Range<Share>,
    /// What falls on that day.
    pub marks: Vec<Mark>,
}

const WIDTH: f64 = 760.0;
const LEFT: f64 = 56.0;
const RIGHT: f64 = 668.0;
const TOP: f64 = 16.0;
const BOTTOM: f64 = 276.0;
const LANE: f64 = 20.0;
/// Lifts further back than the newest so many are left out.
const LIFTS_SHOWN: usize = 4;
/// Days between two rows of the table after the last lift.
const ROW_STEP: i64 = 14;

/// The three cycles of the belief, and what the client has been through.
struct Scene<'a> {
    input: &'a ShareInput<'a>,
    cycles: Range<CycleSet>,
    lifts: Vec<Date>,
    end: Date,
}

/// Draws the picture; `None` without a lift.
///
/// # Errors
/// [`CycleRefused`] when an end of the belief is no possible mean.
pub fn share_over_time(input: &ShareInput<'_>) -> Result<Option<Picture<ShareRow>>, CycleRefused> {
    let cycle = |mean_days| input.rule.cycle().with_mean(mean_days);
    let Range { median, low, high } = input.mean_days;
    let cycles = Range { median: cycle(median)?, low: cycle(low)?, high: cycle(high)? };
    let days = input.lifts.days();
    let lifts = days.get(days.len().saturating_sub(LIFTS_SHOWN)..).unwrap_or_default().to_vec();
    let Some(&last) = lifts.last() else { return Ok(None) };
    let lapsed = input.window.lapsed();
    // Of a client who left long ago the years since are not drawn.
    let far = lapsed.saturating_add((lapsed - last) / 2);
    let end = lapsed.max(input.today.min(far)).saturating_add(Duration::days(7));
    let scene = Scene { input, cycles, lifts, end };
    let rows = scene.rows(last);
    Ok(Some(Picture { svg: scene.draw(last, &rows), rows }))
}

impl Scene<'_> {
    fn share(&self, on: Date) -> Option<Range<Share>> {
        let lift = self.lifts.iter().rev().find(|&&lift| lift <= on)?;
        Some(self.cycles.map(|cycle| cycle.still_lifted(days_between(*lift, on))))
    }

    fn marks(&self) -> Vec<(Date, Mark)> {
        let window = self.input.window;
        let mut marks: Vec<(Date, Mark)> = self.lifts.iter().map(|&lift| (lift, Mark::Lift)).collect();
        marks.extend([
            (self.input.today, Mark::Today),
            (window.opens(), Mark::Opens),
            (window.due(), Mark::Due),
            (window.lapsed(), Mark::Lapsed),
        ]);
        marks
    }

    fn rows(&self, last: Date) -> Vec<ShareRow> {
        let marks = self.marks();
        let mut dates: Vec<Date> = marks.iter().map(|&(date, _)| date).collect();
        let steps = (1..).map(|i| last.saturating_add(Duration::days(ROW_STEP * i)));
        dates.extend(steps.take_while(|&date| date < self.input.window.lapsed()).take(100));
        dates.sort_unstable();
        dates.dedup();
        let row = |date| {
            let marks = marks.iter().filter(|&&(day, _)| day == date).map(|&(_, mark)| mark).collect();
            Some(ShareRow { date, share: self.share(date)?, marks })
        };
        dates.into_iter().filter_map(row).collect()
    }

    fn x(&self, date: Date) -> f64 {
        let start = self.lifts.first().copied().unwrap_or(self.end);
        let span = days_between(start, self.end).max(1.0);
        LEFT + (RIGHT - LEFT) * days_between(start, date) / span
    }

    fn draw(&self, last: Date, rows: &[ShareRow]) -> String {
        let mut canvas = Canvas::new(WIDTH, BOTTOM + 7.0 * LANE);
        self.draw_axes(&mut canvas);
        for (i, &lift) in self.lifts.iter().enumerate() {
            self.draw_segment(&mut canvas, lift, self.lifts.get(i + 1).copied().unwrap_or(self.end));
        }
        self.draw_marks(&mut canvas);
        canvas.finish(self.input.id, t("Share of the lashes still lifted"), &self.description(last, rows))
    }

    fn draw_axes(&self, canvas: &mut Canvas) {
        for percent in [0, 25, 50, 75, 100] {
            let y = height(f64::from(percent) / 100.0);
            canvas.line("grid", (LEFT, y), (RIGHT, y), 0.3, "");
            canvas.text("tick", (LEFT - 6.0, y + 4.0), Anchor::End, &format!("{percent} %"));
        }
        let limits = self.input.rule.limits();
        for (mark, share) in [(Mark::Due, limits.due().get()), (Mark::Lapsed, limits.lapsed().get())] {
            let y = height(share);
            canvas.line("limit", (LEFT, y), (RIGHT, y), 0.8, "2 4");
            canvas.text(
                "tick",
                (RIGHT + 4.0, y + 4.0),
                Anchor::Start,
                &format!("{} {:.0} %", mark.label(), share * 100.0),
            );
        }
        let months = self.months();
        let step = months.len().div_ceil(8).max(1);
        for &first in months.iter().step_by(step) {
            let x = self.x(first);
            canvas.line("grid", (x, BOTTOM), (x, BOTTOM + 5.0), 1.0, "");
            let label = format!("{}-{:02}", first.year(), u8::from(first.month()));
            canvas.text("tick", (x, BOTTOM + 18.0), Anchor::Middle, &label);
        }
    }

    /// The first days of the months in view.
    fn months(&self) -> Vec<Date> {
        let start = self.lifts.first().copied();
        std::iter::successors(start, |&day| next_month(day)).skip(1).take_while(|&first| first <= self.end).collect()
    }

    /// The curves from one lift to the next or to the end, each with its band.
    fn draw_segment(&self, canvas: &mut Canvas, from: Date, to: Date) {
        let span = (to - from).whole_days();
        let step = (span / 120).max(1);
        let days = (0..span).step_by(usize::try_from(step).unwrap_or(1)).chain([span]);
        let dates: Vec<Date> = days.map(|n| from.saturating_add(Duration::days(n))).collect();
        let points = |cycle: &CycleSet| -> Vec<(f64, f64)> {
            let point = |&date: &Date| (self.x(date), height(cycle.still_lifted(days_between(from, date)).get()));
            dates.iter().map(point).collect()
        };
        let curves = self.cycles.map(points);
        canvas.band("band", &curves.high, &curves.low);
        canvas.curve("share", &curves.median, 2.0);
    }

    /// Each kind of mark drops to a lane of its own, so that no two labels meet.
    fn draw_marks(&self, canvas: &mut Canvas) {
        for (date, mark) in self.marks() {
            let (x, lane) = (self.x(date), lane(mark));
            if !(LEFT..=RIGHT).contains(&x) {
                continue;
            }
            let (top, width) = if mark == Mark::Today { (TOP, 2.5) } else { (height(1.0), 1.2) };
            // The line leaves room for the names of the months.
            canvas.line(mark.class(), (x, top), (x, BOTTOM), width, mark.dashes());
            canvas.line("stem", (x, BOTTOM + 22.0), (x, lane), width, mark.dashes());
            let label = format!("{} {date}", mark.label());
            let (at, anchor) = if x > (LEFT + RIGHT) / 2.0 {
                ((x - 5.0, lane), Anchor::End)
            } else {
                ((x + 5.0, lane), Anchor::Start)
            };
            if mark != Mark::Lift || self.room_for_label(date) {
                canvas.text("flag", at, anchor, &label);
            }
        }
    }

    /// Whether the label of a lift has room before the next lift's line.
    fn room_for_label(&self, lift: Date) -> bool {
        let room = |other: &&Date| **other != lift && (self.x(**other) - self.x(lift)).abs() < 110.0;
        self.lifts.iter().find(room).is_none() || self.lifts.last() == Some(&lift)
    }

    fn description(&self, last: Date, rows: &[ShareRow]) -> String {
        let Self { input, .. } = self;
        let last = tf("After each lift the share falls from 100 %. Last lift {day}.").with("day", last).to_string();
        let today = rows.iter().find(|row| row.date == input.today).map(|row| {
            let share = row.share.map(|share| format!("{:.0}", share.get() * 100.0));
            let words = tf("Today, {day}, about {share} % are still lifted ({low} to {high} %).");
            let words = words.with("day", input.today).with("share", share.median);
            words.with("low", share.low).with("high", share.high).to_string()
        });
        let belief = match input.belief {
            Belief::Assumed => t("assumed, nothing was counted").to_owned(),
            Belief::Counted(n) => tn("fitted to one count", "fitted to {n} counts", n).to_string(),
        };
        let window = tf(
            "The window opens {opens}, is due {due} and has lapsed {lapsed}. The band holds nine tenths of the belief about \
             this client, {belief}. Cycle set {set}: {source} The table beneath has the numbers.",
        );
        let window = window.with("opens", input.window.opens()).with("due", input.window.due());
        let cycle = self.input.rule.cycle();
        let window = window.with("lapsed", input.window.lapsed()).with("belief", belief);
        let window = window.with("set", set(cycle.name())).with("source", t(cycle.source())).to_string();
        [last].into_iter().chain(today).chain([window]).collect::<Vec<_>>().join(" ")
    }
}

fn set(name: CycleName) -> &'static str {
    match name {
        CycleName::Observed => tc("a cycle set", "observed"),
        CycleName::Textbook => tc("a cycle set", "textbook"),
        CycleName::Review => tc("a cycle set", "review"),
        CycleName::Own => tc("a cycle set", "own"),
    }
}

/// The first day of the month after that of `day`.
fn next_month(day: Date) -> Option<Date> {
    day.replace_day(28).ok()?.checked_add(Duration::days(4))?.replace_day(1).ok()
}

fn height(share: f64) -> f64 {
    BOTTOM - (BOTTOM - TOP - 14.0) * share
}

fn lane(mark: Mark) -> f64 {
    let number = match mark {
        Mark::Lift => 2.0,
        Mark::Today => 3.0,
        Mark::Opens => 4.0,
        Mark::Due => 5.0,
        Mark::Lapsed => 6.0,
    };
    BOTTOM + number * LANE
}
