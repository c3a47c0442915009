//! What the command answers, as text and as JSON.

use super::WindowRefused;
use crate::domain::growth::{CAUTION, CycleSet, LiftHistory, NotFitted, PersonalFit, Range, Share, days_between};
use crate::domain::window::{Contributor, GrowthRule, RetouchRule, Window, WindowState, window, window_range};
use serde::Serialize;
use serde_json::{Value, json};
use std::fmt::Write as _;
use time::Date;

/// Shares of lashes on the day asked about, as they would be if lifted on that day.
#[derive(Debug, Clone, Copy, Serialize)]
struct Shares {
    share_lifted: f64,
    share_two_or_more: f64,
    share_three_or_more: f64,
}

/// A personal fit with what it says of the shares and windows.
#[derive(Debug)]
struct Fitted {
    counts: usize,
    mean_days: Range<f64>,
    lifted: Range<f64>,
    windows: Range<Window>,
}

/// Everything that is told.
#[derive(Debug)]
pub(super) struct Answer {
    on: Date,
    set: CycleSet,
    /// The set, about the client's own mean where it was fitted.
    cycle: CycleSet,
    days_since: f64,
    shares: Shares,
    of_all_lashes: Option<Shares>,
    window: Window,
    fitted: Result<Fitted, NotFitted>,
}

impl Answer {
    /// Shares and window; those at the median of the fit when there is one.
    pub(super) fn new(
        history: &LiftHistory,
        on: Date,
        rule: &GrowthRule,
        fit: Result<PersonalFit, NotFitted>,
    ) -> Result<Self, WindowRefused> {
        let last = history.newest(1, on).ok_or(WindowRefused::NoLift)?;
        let days_since = days_between(last, on);
        let fitted = match fit {
            Ok(fit) => Ok(fitted(history, days_since, rule, &fit)?),
            Err(why) => Err(why),
        };
        let (cycle, window) = match &fitted {
            Ok(fitted) => (rule.cycle().with_mean(fitted.mean_days.median)?, fitted.windows.median.clone()),
            Err(_) => {
                let window = window(history.days(), &RetouchRule::Growth(rule.clone()), &[]);
                (rule.cycle().clone(), window.ok_or(WindowRefused::NoLift)?)
            }
        };
        let shares = shares(&cycle, history, on, CycleSet::carrying);
        let of_all_lashes =
            (cycle.liftable_age_days() > 0.0).then(|| self::shares(&cycle, history, on, CycleSet::carrying_of_all));
        Ok(Self { on, set: rule.cycle().clone(), cycle, days_since, shares, of_all_lashes, window, fitted })
    }

    /// One JSON object, dates in ISO 8601.
    pub(super) fn json(&self) -> String {
        let mut object = json!({
            "on": iso(self.on),
            "cycle": self.cycle.name(),
            "source": self.cycle.source(),
            "mean_days": self.cycle.figures().mean_days,
            "cv": self.cycle.figures().cv,
            "share_lifted": self.shares.share_lifted,
            "share_two_or_more": self.shares.share_two_or_more,
            "share_three_or_more": self.shares.share_three_or_more,
            "grown_out_mm": self.cycle.grown_out_mm(self.days_since),
            "opens": iso(self.window.opens()),
            "due": iso(self.window.due()),
            "lapsed": iso(self.window.lapsed()),
            "state": self.window.state(self.on),
            "binding": self.window.binding().reason.as_str(),
            "contributors": self.window.contributors().iter().map(contributor_json).collect::<Vec<_>>(),
            "caution": CAUTION,
        });
        if let Value::Object(keys) = &mut object {
            if let Some(shares) = &self.of_all_lashes {
                keys.insert("of_all_lashes".to_owned(), json!(shares));
            }
            match &self.fitted {
                Ok(fitted) => {
                    let dates = |of: fn(&Window) -> Date| json!(fitted.windows.map(|window| iso(of(window))));
                    keys.insert("mean_days".to_owned(), json!(fitted.mean_days));
                    let ranges = json!({
                        "share_lifted": fitted.lifted,
                        "opens": dates(Window::opens),
                        "due": dates(Window::due),
                        "lapsed": dates(Window::lapsed),
                    });
                    keys.insert("ranges".to_owned(), ranges);
                }
                Err(NotFitted::Disturbed(kinds)) => {
                    keys.insert("not_fitted".to_owned(), json!(kinds));
                }
                Err(_) => {}
            }
        }
        format!("{object:#}\n")
    }

    /// Lines for a person.
    pub(super) fn text(&self) -> String {
        let figures = self.set.figures();
        let mut out = format!(
            "{}, {} days after the last lift\nCycle set {}: mean {} days, spread {}\n  {}\n",
            iso(self.on),
            self.days_since,
            self.set.name().as_str(),
            figures.mean_days,
            figures.cv,
            self.set.source()
        );
        // Writing to a String cannot fail.
        let _ = self
            .write_fit(&mut out)
            .and_then(|()| self.write_shares(&mut out))
            .and_then(|()| self.write_window(&mut out));
        out
    }

    fn write_fit(&self, out: &mut String) -> std::fmt::Result {
        match &self.fitted {
            Ok(Fitted { counts, mean_days, windows, .. }) => {
                let Range { median, low, high } = mean_days;
                writeln!(out, "Fitted to {counts} count(s): mean {median:.0} days, 90 % from {low:.0} to {high:.0}")?;
                for (edge, of) in
                    [("opens", Window::opens as fn(&Window) -> Date), ("due", Window::due), ("lapsed", Window::lapsed)]
                {
                    writeln!(out, "  {edge:<7} {} to {}", iso(of(&windows.low)), iso(of(&windows.high)))?;
                }
                Ok(())
            }
            Err(NotFitted::Disturbed(kinds)) => {
                let kinds: Vec<&str> = kinds.iter().map(|kind| kind.as_str()).collect();
                writeln!(out, "Counts not fitted, the lashes are out of balance: {}", kinds.join(", "))
            }
            Err(_) => Ok(()),
        }
    }

    fn write_shares(&self, out: &mut String) -> std::fmt::Result {
        let lines = |out: &mut String, shares: &Shares| {
            writeln!(out, "  still lifted                     {:5.1} %", 100.0 * shares.share_lifted)?;
            writeln!(out, "  would carry two lifts or more    {:5.1} %", 100.0 * shares.share_two_or_more)?;
            writeln!(out, "  would carry three lifts or more  {:5.1} %", 100.0 * shares.share_three_or_more)
        };
        if let Some(all) = &self.of_all_lashes {
            writeln!(out, "Of all lashes")?;
            lines(out, all)?;
            writeln!(out, "Of the lashes from {} mm", self.cycle.figures().liftable_mm)?;
        } else {
            writeln!(out, "Of all lashes")?;
        }
        lines(out, &self.shares)?;
        writeln!(out, "Grown out at most {:.1} mm", self.cycle.grown_out_mm(self.days_since))
    }

    fn write_window(&self, out: &mut String) -> std::fmt::Result {
        let state = match self.window.state(self.on) {
            WindowState::NotYet => "not yet open",
            WindowState::Open => "open",
            WindowState::Due => "due",
            WindowState::Lapsed => "lapsed: treat as a first visit",
        };
        writeln!(out, "Window ({state})")?;
        writeln!(out, "  opens   {}", iso(self.window.opens()))?;
        writeln!(out, "  due     {}", iso(self.window.due()))?;
        writeln!(out, "  lapsed  {}", iso(self.window.lapsed()))?;
        writeln!(out, "Because")?;
        for contributor in self.window.contributors() {
            let binds = if contributor == self.window.binding() { "  (decides)" } else { "" };
            writeln!(out, "  not before {}: {}{binds}", iso(contributor.date), contributor.reason)?;
        }
        writeln!(out, "{CAUTION}")
    }
}

fn fitted(
    history: &LiftHistory,
    days_since: f64,
    rule: &GrowthRule,
    fit: &PersonalFit,
) -> Result<Fitted, WindowRefused> {
    let windows = window_range(history.days(), rule, fit.mean_days(), &[])?.ok_or(WindowRefused::NoLift)?;
    let mean_days = fit.mean_days();
    let lifted = |mean| rule.cycle().with_mean(mean).map(|cycle| cycle.still_lifted(days_since).get());
    let lifted =
        Range { median: lifted(mean_days.median)?, low: lifted(mean_days.low)?, high: lifted(mean_days.high)? };
    Ok(Fitted { counts: fit.counts(), mean_days, lifted, windows })
}

fn shares(
    cycle: &CycleSet,
    history: &LiftHistory,
    on: Date,
    share: fn(&CycleSet, &LiftHistory, usize, Date) -> Share,
) -> Shares {
    let carrying = |m| share(cycle, history, m, on).get();
    // Those that carry the last lift are those still lifted, and with one more they carry two.
    Shares { share_lifted: carrying(1), share_two_or_more: carrying(1), share_three_or_more: carrying(2) }
}

fn contributor_json(contributor: &Contributor) -> Value {
    let mut value = json!(contributor.reason);
    if let Value::Object(keys) = &mut value {
        keys.insert("date".to_owned(), json!(iso(contributor.date)));
    }
    value
}

/// ISO 8601; `time::Date` displays so for the years 0 to 9999.
fn iso(date: Date) -> String {
    date.to_string()
}
