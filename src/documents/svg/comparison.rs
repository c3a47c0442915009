//! For the owner: how the choice of parameter set and limits moves the window.

use super::{Anchor, Canvas, Picture};
use crate::domain::window::{GrowthRule, RetouchRule, window};
use crate::{t, tf};
use time::{Date, macros::date};

/// One choice to compare.
#[derive(Debug)]
pub struct Candidate<'a> {
    /// What the owner calls it.
    pub label: &'a str,
    /// The rule.
    pub rule: &'a GrowthRule,
}

/// One line of the table: days after a lift.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CandidateRow {
    /// What the owner calls it.
    pub label: String,
    /// Days from a first lift until the window opens.
    pub opens: u32,
    /// Days from a first lift until a return is due.
    pub due: u32,
    /// Days from a first lift until it has lapsed.
    pub lapsed: u32,
    /// Days from a second lift, done on the day that the first window opens, until the next opens.
    pub opens_again: u32,
}

const WIDTH: f64 = 760.0;
const LEFT: f64 = 180.0;
const RIGHT: f64 = 730.0;
const TOP: f64 = 40.0;
const LANE: f64 = 46.0;
/// The trade's 6 to 8 weeks between lifts: common practice, no source.
const TRADE_DAYS: (f64, f64) = (42.0, 56.0);

/// Draws one bar for each choice, from the day that a first lift opens to the day that it has lapsed.
pub fn compare_rules(id: &str, candidates: &[Candidate<'_>]) -> Picture<CandidateRow> {
    let rows: Vec<CandidateRow> = candidates.iter().filter_map(row).collect();
    let bottom = TOP + LANE * rows.iter().fold(0.0, |lanes, _| lanes + 1.0);
    let last = rows.iter().map(|row| f64::from(row.lapsed)).fold(TRADE_DAYS.1, f64::max);
    let x = |days: f64| LEFT + (RIGHT - LEFT) * days / (last * 1.05);
    let mut canvas = Canvas::new(WIDTH, bottom + 40.0);

    canvas.rect("trade", (x(TRADE_DAYS.0), TOP - 14.0), (x(TRADE_DAYS.1) - x(TRADE_DAYS.0), bottom - TOP + 14.0), 0.08);
    canvas.text("tick", (x(TRADE_DAYS.0), TOP - 20.0), Anchor::Start, t("6–8 weeks, common practice"));
    let weeks = if last > 200.0 { 8 } else { 4 };
    for week in (0..).step_by(weeks).map(f64::from).take_while(|week| week * 7.0 <= last * 1.05) {
        canvas.line("grid", (x(week * 7.0), bottom), (x(week * 7.0), bottom + 5.0), 1.0, "");
        canvas.text("tick", (x(week * 7.0), bottom + 20.0), Anchor::Middle, &tf("{n} wk").with("n", week).to_string());
    }
    canvas.line("grid", (LEFT, bottom), (RIGHT, bottom), 1.0, "");
    let mut middle = TOP + 12.0;
    for row in &rows {
        draw(&mut canvas, row, middle, x);
        middle += LANE;
    }
    let svg = canvas.finish(id, t("How the choice of cycle and limits moves the window"), &description(&rows));
    Picture { svg, rows }
}

fn draw(canvas: &mut Canvas, row: &CandidateRow, middle: f64, x: impl Fn(f64) -> f64) {
    let [opens, due, lapsed] = [row.opens, row.due, row.lapsed].map(|days| x(f64::from(days)));
    canvas.text("name", (LEFT - 8.0, middle + 5.0), Anchor::End, &shortened(&row.label));
    canvas.rect("open", (opens, middle - 7.0), ((due - opens).max(1.0), 14.0), 0.15);
    canvas.rect("due", (due, middle - 7.0), ((lapsed - due).max(1.0), 14.0), 0.5);
    canvas.line("lapsed", (lapsed, middle - 10.0), (lapsed, middle + 10.0), 2.0, "");
    let words = tf("opens {opens}, due {due}, lapsed {lapsed} d").with("opens", row.opens);
    let words = words.with("due", row.due).with("lapsed", row.lapsed).to_string();
    let (at, anchor) = if opens > (LEFT + RIGHT) / 2.0 { (lapsed, Anchor::End) } else { (opens, Anchor::Start) };
    canvas.text("tick", (at, middle + 22.0), anchor, &words);
}

/// The room beside a bar holds so many letters; the table has the whole label.
fn shortened(label: &str) -> String {
    const ROOM: usize = 24;
    if label.chars().count() <= ROOM {
        return label.to_owned();
    }
    label.chars().take(ROOM - 1).chain(['…']).collect()
}

fn description(rows: &[CandidateRow]) -> String {
    let each = rows.iter().map(|row| {
        let words = tf("{choice}: opens after {opens} days, due after {due}, lapsed after {lapsed}.");
        let words = words.with("choice", &row.label).with("opens", row.opens);
        words.with("due", row.due).with("lapsed", row.lapsed).to_string()
    });
    let first = t("Days after a first lift. The shaded stripe is the 6 to 8 weeks of common practice.").to_owned();
    let last = t("The sources for the cycle disagree. The table beneath has the numbers.").to_owned();
    [first].into_iter().chain(each).chain([last]).collect::<Vec<_>>().join(" ")
}

fn row(candidate: &Candidate<'_>) -> Option<CandidateRow> {
    // Windows are a matter of spans, so that any day will do as the first.
    let first = date!(2001 - 01 - 01);
    let rule = RetouchRule::Growth(candidate.rule.clone());
    let window_after = |lifts: &[Date]| window(lifts, &rule, &[]);
    let days = |from, to: Date| u32::try_from(to.to_julian_day().checked_sub(from)?).ok();
    let start = window_after(&[first])?;
    let second = start.opens();
    let again = window_after(&[first, second])?;
    let from = first.to_julian_day();
    Some(CandidateRow {
        label: candidate.label.to_owned(),
        opens: days(from, start.opens())?,
        due: days(from, start.due())?,
        lapsed: days(from, start.lapsed())?,
        opens_again: days(second.to_julian_day(), again.opens())?,
    })
}
