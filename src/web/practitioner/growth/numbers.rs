//! Windows, shares, the personal fit and the picture of one client.

use time::{Date, OffsetDateTime};

use crate::actions::case::Known;
use crate::documents::svg::{Belief, Picture, ShareInput, ShareRow, share_over_time};
use crate::domain::catalogue::ServiceKind;
use crate::domain::growth::{
    Count, CycleFigures, CycleName, CycleRefused, CycleSet, Disturbance, LiftHistory, NotFitted, PersonalFit, Prior,
    Range, Share,
};
use crate::domain::ids::ClientId;
use crate::domain::retouch::{Done, returns};
use crate::domain::window::{GrowthRule, RetouchRule, Wait, Window, parts, window, window_range};
use crate::language::decimal;
use crate::store::catalogue::{self, Service};
use crate::store::studio::Studio;
use crate::store::{Connection, treatments};
use crate::web::error::Fault;
use crate::web::page::Drawing;
use crate::web::why;
use crate::when;
use crate::{msg, t, tc, tf};

/// The window of one service.
pub(super) struct WindowView {
    pub(super) service: String,
    pub(super) state: String,
    /// What it is called, and the day.
    pub(super) edges: [(&'static str, String); 3],
    /// Why not earlier, until when, whether it decides.
    pub(super) contributors: Vec<(String, String, bool)>,
}

impl WindowView {
    fn of(service: &Service, window: &Window, today: Date) -> Self {
        let [opens, due, lapsed] = [window.opens(), window.due(), window.lapsed()].map(when::day);
        let contributors = window.contributors().iter();
        let binding = window.binding();
        Self {
            service: service.name.clone(),
            state: why::state(window, today),
            edges: [(t("Opens"), opens), (tc("a window", "Due"), due), (tc("a window", "Lapsed"), lapsed)],
            contributors: contributors
                .map(|one| (why::reason(&one.reason), when::day(one.date), one == binding))
                .collect(),
        }
    }
}

/// What the counts say, or why they say nothing.
pub(super) enum Fit {
    /// How many counts; what is told, the middle, from and to.
    Fitted(usize, Vec<(&'static str, String, String, String)>),
    /// Why not.
    Not(&'static str),
}

/// One share: what it is of, today's, that of the day of choice.
pub(super) struct ShareView {
    pub(super) what: String,
    pub(super) today: String,
    pub(super) on: Option<String>,
}

/// Everything about the lash lifts.
pub(super) struct Lifts {
    pub(super) days: Vec<String>,
    pub(super) set: &'static str,
    pub(super) figures: CycleFigures,
    pub(super) source: String,
    pub(super) floor: u32,
    /// The day of choice in words.
    pub(super) on: Option<String>,
    pub(super) shares: Vec<ShareView>,
    pub(super) grown_out: String,
    pub(super) fit: Fit,
    pub(super) drawing: Drawing,
    /// Day, share, from, to, what falls on it.
    pub(super) rows: Vec<(String, String, String, String, String)>,
}

/// What the lifts rest on.
struct Basis {
    rule: GrowthRule,
    history: LiftHistory,
    waits: Vec<Wait>,
    fit: Result<PersonalFit, NotFitted>,
    today: Date,
    on: Option<Date>,
}

/// The windows of every service that she keeps returning for, and the numbers of the lifts if she ever had one.
pub(super) async fn load(
    c: &mut Connection,
    studio: &Studio,
    client: &ClientId,
    now: OffsetDateTime,
    on: Option<Date>,
) -> Result<(Vec<WindowView>, Option<Lifts>), Fault> {
    let today = studio.zone.date_at(now);
    let services = catalogue::services(c).await?;
    let past = treatments::past(c, Some(client)).await?;
    let place = |one: &treatments::Past| services.iter().position(|service| service.id == one.service);
    let done: Vec<Done> =
        past.iter().filter_map(|one| Some(Done { service: place(one)?, kind: one.kind, on: one.on })).collect();
    let (mut windows, mut lifts) = (Vec::new(), None);
    for service in returns(&done).iter().filter_map(|one| services.get(one.service)) {
        let known = Known::load(c, studio, Some(client), &service.id).await?;
        let waits = known.waits(now);
        windows.extend(known.window(now, &waits).map(|window| WindowView::of(service, &window, today)));
        if service.kind.lifts_lashes()
            && let Some(RetouchRule::Growth(rule)) = known.rule(ServiceKind::LashLift)
        {
            let history = history(&done, today)?;
            let stopped: Vec<Date> = past.iter().filter(|one| one.stopped).map(|one| one.on).collect();
            let counts = counts(c, studio, client, (&history, &stopped)).await?;
            let disturbed = known.answers().map(|set| Disturbance::told_by(&set.answers)).unwrap_or_default();
            let fit = PersonalFit::new(rule.cycle(), Prior::default(), &counts, &disturbed);
            lifts =
                Lifts::of(&Basis { rule: rule.clone(), history, waits, fit, today, on }).map_err(Fault::internal)?;
        }
    }
    Ok((windows, lifts))
}

fn history(done: &[Done], today: Date) -> Result<LiftHistory, Fault> {
    let lifted = done.iter().filter(|one| parts(one.kind).contains(&ServiceKind::LashLift) && one.on <= today);
    let mut days: Vec<Date> = lifted.map(|one| one.on).collect();
    days.sort_unstable();
    days.dedup();
    LiftHistory::parse(days, today).map_err(Fault::internal)
}

/// The counts at her return visits, as the newest version of each record has them; but for those after a treatment that was
/// stopped, since nobody knows how many lashes that lifted.
async fn counts(
    c: &mut Connection,
    studio: &Studio,
    client: &ClientId,
    (history, stopped): (&LiftHistory, &[Date]),
) -> Result<Vec<Count>, Fault> {
    let records = treatments::of_client(c, client).await?;
    let count = |record: &treatments::Treatment| {
        let version = record.current()?;
        let (seen, lifted) = version.count?;
        let on = studio.zone.date_at(version.started_at);
        if history.before(on).is_some_and(|lift| stopped.contains(&lift)) {
            return None;
        }
        // A count before the first lift here looks back to a lift that nobody knows.
        Count::parse(lifted.into(), seen.into(), history, on).ok()
    };
    Ok(records.iter().filter_map(count).collect())
}

impl Lifts {
    fn of(basis: &Basis) -> Result<Option<Self>, CycleRefused> {
        let Basis { rule, history, waits, fit, today, on } = basis;
        let growth = RetouchRule::Growth(rule.clone());
        let Some(window) = window(history.days(), &growth, waits) else { return Ok(None) };
        let (mean_days, belief) = match fit {
            Ok(fit) => (fit.mean_days(), Belief::Counted(fit.counts())),
            Err(_) => (Prior::default().mean_days(rule.cycle()), Belief::Assumed),
        };
        let input = ShareInput { id: "share", rule, mean_days, belief, lifts: history, window: &window, today: *today };
        let Some(picture) = share_over_time(&input)? else { return Ok(None) };
        let cycles = Range {
            median: rule.cycle().with_mean(mean_days.median)?,
            low: rule.cycle().with_mean(mean_days.low)?,
            high: rule.cycle().with_mean(mean_days.high)?,
        };
        let fit = match fit {
            Ok(fit) => fitted(basis, fit)?,
            Err(why) => Fit::Not(not_fitted(why)),
        };
        let since =
            history.newest(1, *today).map_or(0.0, |lift| f64::from(today.to_julian_day() - lift.to_julian_day()));
        Ok(Some(Self {
            days: history.days().iter().rev().map(|&day| when::day(day)).collect(),
            set: set_words(rule.cycle().name()),
            figures: rule.cycle().figures(),
            source: t(rule.cycle().source()).to_owned(),
            floor: rule.floor_days(),
            on: on.map(when::day),
            shares: shares(&cycles, history, *today, *on),
            grown_out: format!("{} mm", decimal(&format!("{:.1}", rule.cycle().grown_out_mm(since)))),
            fit,
            drawing: Drawing::of(&picture),
            rows: rows(&picture),
        }))
    }
}

/// A set of figures in a word.
fn set_words(name: CycleName) -> &'static str {
    match name {
        CycleName::Observed => t("observed"),
        CycleName::Textbook => t("textbook"),
        CycleName::Review => t("review"),
        CycleName::Own => t("own"),
    }
}

/// A share in per cent.
fn percent(share: Share) -> String {
    format!("{} %", decimal(&format!("{:.1}", share.get() * 100.0)))
}

fn spread(share: &Range<Share>) -> String {
    tf("{share} ({low} to {high})")
        .with("share", percent(share.median))
        .with("low", percent(share.low))
        .with("high", percent(share.high))
        .to_string()
}

/// What the three lines are called, and how they are counted for the `m`-th newest lift.
type Kind = ([&'static str; 3], fn(&CycleSet, &LiftHistory, usize, Date) -> Share);

const LASHES: Kind = (
    [
        msg("Still lifted"),
        msg("Would carry two lifts or more, if lifted that day"),
        msg("Would carry three lifts or more, if lifted that day"),
    ],
    CycleSet::carrying,
);
const LONG_LASHES: Kind = (
    [
        msg("Still lifted, of the lashes long enough to be lifted"),
        msg("Would carry two lifts or more, if lifted that day, of the lashes long enough to be lifted"),
        msg("Would carry three lifts or more, if lifted that day, of the lashes long enough to be lifted"),
    ],
    CycleSet::carrying,
);
const ALL_LASHES: Kind = (
    [
        msg("Still lifted, of all lashes"),
        msg("Would carry two lifts or more, if lifted that day, of all lashes"),
        msg("Would carry three lifts or more, if lifted that day, of all lashes"),
    ],
    CycleSet::carrying_of_all,
);

fn shares(cycles: &Range<CycleSet>, history: &LiftHistory, today: Date, on: Option<Date>) -> Vec<ShareView> {
    let kinds: &[Kind] = if cycles.median.liftable_age_days() > 0.0 { &[LONG_LASHES, ALL_LASHES] } else { &[LASHES] };
    let mut views = Vec::new();
    for (lines, share) in kinds {
        let at = |m, day| match history.newest(1, day) {
            Some(_) => spread(&cycles.map(|cycle| share(cycle, history, m, day))),
            None => t("no lift before that day").to_owned(),
        };
        // Those that carry the last lift now carry two after another one.
        views.extend(lines.iter().zip([1, 1, 2]).map(|(what, m)| ShareView {
            what: t(what).to_owned(),
            today: at(m, today),
            on: on.map(|day| at(m, day)),
        }));
    }
    views
}

fn fitted(basis: &Basis, fit: &PersonalFit) -> Result<Fit, CycleRefused> {
    let mean = fit.mean_days();
    let days = |days: f64| tf("{days} days").with("days", format!("{days:.0}")).to_string();
    let mut told = vec![(t("Mean life of her lashes"), days(mean.median), days(mean.low), days(mean.high))];
    if let Some(windows) = window_range(basis.history.days(), &basis.rule, mean, &basis.waits)? {
        for (edge, of) in [
            (t("Opens"), Window::opens as fn(&Window) -> Date),
            (tc("a window", "Due"), Window::due),
            (tc("a window", "Lapsed"), Window::lapsed),
        ] {
            let [median, low, high] = [&windows.median, &windows.low, &windows.high].map(|one| when::day(of(one)));
            told.push((edge, median, low, high));
        }
    }
    Ok(Fit::Fitted(fit.counts(), told))
}

fn not_fitted(why: &NotFitted) -> &'static str {
    match why {
        NotFitted::NoCount => t(
            "Nothing has been counted yet. When she returns, count the lashes in a marked stretch and how many of them \
             are still lifted, and write both into the treatment record.",
        ),
        // Which answer it is stands on her own page, for those who may read it.
        NotFitted::Disturbed(_) => t(
            "Her counts are not fitted: a health answer tells of something that puts lashes out of their steady state, \
             so that counts say nothing of her cycle.",
        ),
        NotFitted::Contradiction => {
            t("Her counts are not fitted: no cycle near the set’s could give them. Look at them again.")
        }
    }
}

fn rows(picture: &Picture<ShareRow>) -> Vec<(String, String, String, String, String)> {
    let row = |row: &ShareRow| {
        let marks: Vec<&str> = row.marks.iter().map(|mark| t(mark.label())).collect();
        let Range { median, low, high } = row.share.map(|share| percent(*share));
        (when::day(row.date), median, low, high, marks.join(", "))
    };
    picture.rows.iter().map(row).collect()
}
