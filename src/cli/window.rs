//! `palpebra window`: shares and window for a list of lifts, from the command line.

mod answer;

use crate::domain::growth::{
    Count, CountRefused, CycleFigures, CycleName, CycleRefused, CycleSet, Disturbance, HistoryRefused, LiftHistory,
    NotFitted, PersonalFit, Prior,
};
use crate::domain::window::{GrowthRule, Limits, LimitsRefused, RuleRefused};
use answer::Answer;
use time::Date;
use time::macros::format_description;

/// When may lashes with these lifts be lifted again, and why?
///
/// Everything is read as text, so that whatever cannot be read is refused in one line.
#[derive(Debug, Clone, clap::Args)]
pub struct WindowArgs {
    /// Days of the past lifts, oldest first: 2026-01-05,2026-02-23
    #[arg(long, value_name = "DATES", allow_hyphen_values = true)]
    pub lifts: String,
    /// The day asked about [default: today]
    #[arg(long, value_name = "DATE", allow_hyphen_values = true)]
    pub on: Option<String>,
    /// Which figures of the growth cycle: observed, textbook, review, or own with --mean-days and --cv
    #[arg(long, value_name = "SET", default_value = "observed", allow_hyphen_values = true)]
    pub cycle: String,
    /// Mean life of a lash in days, instead of the set's
    #[arg(long, value_name = "DAYS", allow_hyphen_values = true)]
    pub mean_days: Option<String>,
    /// Spread between lashes (coefficient of variation, 0.001 to 1), instead of the set's
    #[arg(long, value_name = "NUMBER", allow_hyphen_values = true)]
    pub cv: Option<String>,
    /// Growth of a growing lash in mm a day, instead of the set's
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub growth_mm_per_day: Option<String>,
    /// The studio's shortest time between two lifts
    #[arg(long, value_name = "DAYS", default_value = "42", allow_hyphen_values = true)]
    pub floor_days: String,
    /// Largest share of lashes that may carry two lifts or more
    #[arg(long, value_name = "SHARE", default_value = "0.5", allow_hyphen_values = true)]
    pub limit_two: String,
    /// Largest share of lashes that may carry three lifts or more
    #[arg(long, value_name = "SHARE", default_value = "0.2", allow_hyphen_values = true)]
    pub limit_three: String,
    /// Share still lifted at which a return is due
    #[arg(long, value_name = "SHARE", default_value = "0.4", allow_hyphen_values = true)]
    pub due: String,
    /// Share still lifted at which a return counts as a first visit
    #[arg(long, value_name = "SHARE", default_value = "0.1", allow_hyphen_values = true)]
    pub lapsed: String,
    /// Length from which a lash can be lifted; 0 counts every lash
    #[arg(long, value_name = "MM", default_value = "0", allow_hyphen_values = true)]
    pub liftable_mm: String,
    /// A count at a return visit, before any lift of that day: 31/60@2026-02-23 (repeatable)
    #[arg(long = "count", value_name = "LIFTED/SEEN@DATE", allow_hyphen_values = true)]
    pub counts: Vec<String>,
    /// How far clients differ before anything is counted (standard deviation of ln mean)
    #[arg(long, value_name = "NUMBER", default_value = "0.25", allow_hyphen_values = true)]
    pub prior_sd: String,
    /// What keeps the lashes out of balance, so that counts are not fitted: drug, serum, chemotherapy,
    /// extensions, pulling, pregnancy (repeatable)
    #[arg(long = "disturbed", value_name = "KIND", allow_hyphen_values = true)]
    pub disturbed: Vec<String>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Why the command has no answer: one line for the person who typed it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WindowRefused {
    /// The list of lifts is empty.
    #[error("--lifts names no lift: there is no window before a first lift")]
    NoLift,
    /// A text is not a day.
    #[error("{option}: {text:?} is not a day like 2026-02-23")]
    Day {
        /// The option it was given for.
        option: &'static str,
        /// What was typed.
        text: String,
    },
    /// A text is not a number of the kind asked for.
    #[error("{option}: {text:?} is not {wanted}")]
    Number {
        /// The option it was given for.
        option: &'static str,
        /// What was typed.
        text: String,
        /// What would have been one.
        wanted: &'static str,
    },
    /// A word is not one of those known.
    #[error("{option}: {text:?} is not one of {known}")]
    Word {
        /// The option it was given for.
        option: &'static str,
        /// What was typed.
        text: String,
        /// The words there are.
        known: String,
    },
    /// `--cycle own` without figures.
    #[error("--cycle own needs --mean-days and --cv")]
    OwnFigures,
    /// The lifts are out of order, repeated or in the future.
    #[error("--lifts: {0}")]
    History(#[from] HistoryRefused),
    /// The figures make no cycle.
    #[error("{0}")]
    Cycle(#[from] CycleRefused),
    /// The limits are none.
    #[error("{0}")]
    Limits(#[from] LimitsRefused),
    /// The minimum is none.
    #[error("--floor-days: {0}")]
    Floor(#[from] RuleRefused),
    /// A text is not a count.
    #[error("--count: {0:?} is not a count like 31/60@2026-02-23")]
    CountText(String),
    /// A count cannot be.
    #[error("--count: {0}")]
    Count(#[from] CountRefused),
    /// A count lies after the day asked about.
    #[error("--count: {0} is later than the day asked about")]
    CountLater(Date),
    /// No client near the set's mean could give these counts.
    #[error("--count: no cycle near the set's could give these counts")]
    Contradiction,
}

impl WindowRefused {
    /// The exit code of the command: 2, a wrong question.
    pub const EXIT_CODE: u8 = 2;
}

/// The command's output for its arguments; `today` stands in for an absent `--on`.
///
/// # Errors
/// [`WindowRefused`] names the first thing that cannot be read or cannot be.
pub fn run(args: &WindowArgs, today: Date) -> Result<String, WindowRefused> {
    let on = args.on.as_deref().map_or(Ok(today), |text| day("--on", text))?;
    let history = history(&args.lifts, on)?;
    let rule = rule(args)?;
    let fit = fit(args, rule.cycle(), &history, on)?;
    let answer = Answer::new(&history, on, &rule, fit)?;
    Ok(if args.json { answer.json() } else { answer.text() })
}

fn history(text: &str, on: Date) -> Result<LiftHistory, WindowRefused> {
    if text.trim().is_empty() {
        return Err(WindowRefused::NoLift);
    }
    let days = text.split(',').map(|part| day("--lifts", part)).collect::<Result<Vec<_>, _>>()?;
    Ok(LiftHistory::parse(days, on)?)
}

fn rule(args: &WindowArgs) -> Result<GrowthRule, WindowRefused> {
    let limits = Limits::parse(
        number("--limit-two", &args.limit_two)?,
        number("--limit-three", &args.limit_three)?,
        number("--due", &args.due)?,
        number("--lapsed", &args.lapsed)?,
    )?;
    let floor_days = args.floor_days.trim().parse().map_err(|_| WindowRefused::Number {
        option: "--floor-days",
        text: args.floor_days.clone(),
        wanted: "a whole number of days, 0 or more",
    })?;
    Ok(GrowthRule::parse(cycle(args)?, limits, floor_days)?)
}

fn cycle(args: &WindowArgs) -> Result<CycleSet, WindowRefused> {
    let name = word("--cycle", &args.cycle, CycleName::parse, &CycleName::ALL.map(CycleName::as_str))?;
    let given = |option, text: &Option<String>| text.as_deref().map(|text| number(option, text)).transpose();
    let mean_days = given("--mean-days", &args.mean_days)?;
    let cv = given("--cv", &args.cv)?;
    let growth = given("--growth-mm-per-day", &args.growth_mm_per_day)?;
    let base = CycleSet::shipped(name).unwrap_or_default();
    let shipped = base.figures();
    if name == CycleName::Own && (mean_days.is_none() || cv.is_none()) {
        return Err(WindowRefused::OwnFigures);
    }
    let mean = mean_days.unwrap_or(shipped.mean_days);
    let figures = CycleFigures {
        mean_days: mean,
        cv: cv.unwrap_or(shipped.cv),
        growth_mm_per_day: growth.unwrap_or(shipped.growth_mm_per_day),
        growing_days: shipped.growing_days.min(mean),
        liftable_mm: number("--liftable-mm", &args.liftable_mm)?,
    };
    let untouched = CycleFigures { liftable_mm: shipped.liftable_mm, ..figures } == shipped;
    if untouched && name != CycleName::Own {
        return Ok(CycleSet::parse(name, base.source(), figures)?);
    }
    let source =
        format!("Figures typed on the command line over the set {:?}. {}", base.name().as_str(), base.source());
    Ok(CycleSet::parse(CycleName::Own, &source, figures)?)
}

fn fit(
    args: &WindowArgs,
    cycle: &CycleSet,
    history: &LiftHistory,
    on: Date,
) -> Result<Result<PersonalFit, NotFitted>, WindowRefused> {
    let counts = args.counts.iter().map(|text| count(text, history, on)).collect::<Result<Vec<_>, _>>()?;
    let sd = number("--prior-sd", &args.prior_sd)?;
    let prior = Prior::parse(sd).map_err(|_| WindowRefused::Number {
        option: "--prior-sd",
        text: args.prior_sd.clone(),
        wanted: "from 0.01 to 0.5",
    })?;
    let known = Disturbance::ALL.map(Disturbance::as_str);
    let disturbed = args
        .disturbed
        .iter()
        .map(|text| word("--disturbed", text, Disturbance::parse, &known))
        .collect::<Result<Vec<_>, _>>()?;
    match PersonalFit::new(cycle, prior, &counts, &disturbed) {
        Err(NotFitted::Contradiction) => Err(WindowRefused::Contradiction),
        fit => Ok(fit),
    }
}

fn count(text: &str, history: &LiftHistory, on: Date) -> Result<Count, WindowRefused> {
    let unread = || WindowRefused::CountText(text.to_owned());
    let (numbers, at) = text.split_once('@').ok_or_else(unread)?;
    let (lifted, seen) = numbers.split_once('/').ok_or_else(unread)?;
    let whole = |text: &str| text.trim().parse().map_err(|_| unread());
    let at = day("--count", at)?;
    if at > on {
        return Err(WindowRefused::CountLater(at));
    }
    Ok(Count::parse(whole(lifted)?, whole(seen)?, history, at)?)
}

fn day(option: &'static str, text: &str) -> Result<Date, WindowRefused> {
    Date::parse(text.trim(), format_description!("[year]-[month]-[day]"))
        .map_err(|_| WindowRefused::Day { option, text: text.to_owned() })
}

fn number(option: &'static str, text: &str) -> Result<f64, WindowRefused> {
    text.trim().parse().ok().filter(|number: &f64| number.is_finite()).ok_or_else(|| WindowRefused::Number {
        option,
        text: text.to_owned(),
        wanted: "a number",
    })
}

fn word<T>(option: &'static str, text: &str, parse: fn(&str) -> Option<T>, known: &[&str]) -> Result<T, WindowRefused> {
    parse(text.trim()).ok_or_else(|| WindowRefused::Word { option, text: text.to_owned(), known: known.join(", ") })
}
