//! `GET` and `POST /owner/services/{id}/rule`: when clients return, and what another rule would change.
//! Templates: `owner/rule.html`, `owner/rule_preview.html`.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use time::Date;

use super::{done, filled, id, read, seen, there};
use crate::actions::catalogue;
use crate::actions::seen::Saved;
use crate::app::App;
use crate::domain::growth::{CycleName, CycleSet};
use crate::domain::ids::{ClientId, ServiceId};
use crate::domain::mark::Mark;
use crate::domain::window::{
    Effect, GrowthRule, IntervalRefused, IntervalRule, Limits, RetouchRule, effect, parts, window,
};
use crate::store;
use crate::store::catalogue::Service;
use crate::store::{Connection, Stored, treatments};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

/// Days after a first visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Edges {
    pub(super) opens: i64,
    pub(super) due: i64,
    pub(super) lapsed: i64,
}

/// The days of a rule after a first visit.
pub(super) fn edges(rule: &RetouchRule) -> Edges {
    let first = Date::MIN;
    window(&[first], rule, &[]).map_or(Edges { opens: 0, due: 0, lapsed: 0 }, |window| {
        let days = |day: Date| (day - first).whole_days();
        Edges { opens: days(window.opens()), due: days(window.due()), lapsed: days(window.lapsed()) }
    })
}

#[derive(Template)]
#[template(path = "owner/rule.html")]
struct RulePage {
    ctx: Ctx,
    service: Service,
    cycles: Vec<CycleSet>,
    days: Edges,
    fields: Fields,
    errors: Errors,
}

impl RulePage {
    fn new(ctx: Ctx, service: Service, fields: Option<Fields>, errors: Errors) -> Self {
        let fields = fields.unwrap_or_else(|| stored(&service.retouch));
        let (cycles, days) = (cycles(&service.retouch), edges(&service.retouch));
        Self { ctx, service, cycles, days, fields, errors }
    }

    fn cycle_words(&self, set: &CycleSet) -> String {
        words::cycle(set.name(), set.figures().mean_days)
    }
}

#[derive(Template)]
#[template(path = "owner/rule_preview.html")]
struct PreviewPage {
    ctx: Ctx,
    service: Service,
    now: Edges,
    then: Edges,
    effect: Effect,
    clients: usize,
    fields: Vec<(String, String)>,
}

/// The sets on offer: those that ship, and the one in use where it is another.
fn cycles(rule: &RetouchRule) -> Vec<CycleSet> {
    let own = match rule {
        RetouchRule::Growth(rule) if rule.cycle().name() == CycleName::Own => Some(rule.cycle().clone()),
        _ => None,
    };
    CycleName::SHIPPED.into_iter().filter_map(CycleSet::shipped).chain(own).collect()
}

fn percent(share: f64) -> String {
    let hundredths = (share * 10_000.0).round();
    format!("{}", hundredths / 100.0)
}

fn stored(rule: &RetouchRule) -> Fields {
    let seen = ("seen", Mark::of(rule).as_str().to_owned());
    match rule {
        RetouchRule::Growth(rule) => {
            let limits = rule.limits();
            filled([
                seen,
                ("cycle", rule.cycle().name().as_str().to_owned()),
                ("floor_days", rule.floor_days().to_string()),
                ("two", percent(limits.two().get())),
                ("three", percent(limits.three().get())),
                ("due", percent(limits.due().get())),
                ("lapsed", percent(limits.lapsed().get())),
            ])
        }
        RetouchRule::Interval(rule) => filled([
            seen,
            ("opens_days", rule.opens_days().to_string()),
            ("due_days", rule.due_days().to_string()),
            ("lapsed_days", rule.lapsed_days().to_string()),
        ]),
    }
}

fn share(errors: &mut Errors, fields: &Fields, field: &str) -> Option<f64> {
    let text = fields.trimmed(field).replace(',', ".");
    let plain = text.bytes().all(|b| b.is_ascii_digit() || b == b'.') && text.len() <= 6;
    let percent = text.parse::<f64>().ok().filter(|percent| plain && (0.01..=100.0).contains(percent));
    if percent.is_none() {
        errors.add(field, crate::t("Write a share in percent, above 0 and at most 100."));
    }
    percent.map(|percent| percent / 100.0)
}

fn read_growth(rule: &GrowthRule, fields: &Fields, errors: &mut Errors) -> Option<RetouchRule> {
    let known = cycles(&RetouchRule::Growth(rule.clone()));
    let cycle = known.into_iter().find(|set| set.name().as_str() == fields.trimmed("cycle"));
    let cycle = read::choice(errors, "cycle", cycle);
    let floor = read::whole(errors, fields, "floor_days", 0..=365_u32);
    let [two, three, due, lapsed] = ["two", "three", "due", "lapsed"].map(|field| share(errors, fields, field));
    let limits = Limits::parse(two?, three?, due?, lapsed?);
    let limits =
        errors.take("lapsed", limits, |_| crate::t("This share must not be above the one before it.").to_owned());
    GrowthRule::parse(cycle?, limits?, floor?).ok().map(RetouchRule::Growth)
}

fn read_interval(fields: &Fields, errors: &mut Errors) -> Option<RetouchRule> {
    let days = ["opens_days", "due_days", "lapsed_days"].map(|field| read::whole(errors, fields, field, 0..=3652_u32));
    let [opens, due, lapsed] = days;
    let (opens, due, lapsed) = (opens?, due?, lapsed?);
    let field = if due < opens { "due_days" } else { "lapsed_days" };
    let rule = errors.take(field, IntervalRule::parse(opens, due, lapsed), |refusal| match refusal {
        IntervalRefused::Order => crate::t("These days must not come before the ones above.").to_owned(),
        IntervalRefused::TooLong => words::range(0, 3652),
    });
    rule.map(RetouchRule::Interval)
}

fn read_rule(current: &RetouchRule, fields: &Fields) -> Result<RetouchRule, Errors> {
    let mut errors = Errors::new();
    let rule = match current {
        RetouchRule::Growth(rule) => read_growth(rule, fields, &mut errors),
        RetouchRule::Interval(_) => read_interval(fields, &mut errors),
    };
    rule.filter(|_| errors.is_empty()).ok_or(errors)
}

/// The days on which each client had what this service is, or has in it: of a lift with a tint, the lift.
async fn histories(c: &mut Connection, service: &Service) -> Stored<Vec<Vec<Date>>> {
    let mut days: BTreeMap<ClientId, Vec<Date>> = BTreeMap::new();
    let part = parts(service.kind).first();
    for past in treatments::past(c, None).await? {
        if part.is_some_and(|part| parts(past.kind).contains(part)) {
            days.entry(past.client).or_default().push(past.on);
        }
    }
    Ok(days.into_values().collect())
}

/// Shows the rule.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(path): Path<String>) -> Answer {
    let id = id(ServiceId::parse(&path))?;
    let service = there(store::catalogue::service(&mut *app.db.read().await?, &id).await?)?;
    Ok(Page::ok(RulePage::new(ctx, service, None, Errors::new())).into_response())
}

/// Shows what another rule would change, then stores it.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, fields: Fields) -> Answer {
    let id = id(ServiceId::parse(&path))?;
    let mut c = app.db.read().await?;
    let service = there(store::catalogue::service(&mut c, &id).await?)?;
    let rule = match read_rule(&service.retouch, &fields) {
        Ok(rule) => rule,
        Err(errors) => {
            return Ok(Page::refused(RulePage::new(ctx, service, Some(fields), errors)).into_response());
        }
    };
    match fields.trimmed("step") {
        "save" => {
            drop(c);
            match catalogue::save_rule(&app, &team.actor(), &id, Some(&seen(&fields)), &rule).await? {
                Saved::Done(()) => Ok(done(&format!("/owner/services/{id}"), "saved")),
                Saved::Unknown => Err(Fault::NotFound),
                Saved::Overtaken => {
                    let page = RulePage::new(ctx.overtaken(), service, Some(fields), Errors::new());
                    Ok(Page::conflict(page).into_response())
                }
            }
        }
        "again" => Ok(Page::ok(RulePage::new(ctx, service, Some(fields), Errors::new())).into_response()),
        _ if rule == service.retouch => Ok(done(&format!("/owner/services/{id}"), "saved")),
        _ => {
            let histories = histories(&mut c, &service).await?;
            let effect = effect(histories.iter().map(Vec::as_slice), &service.retouch, &rule);
            let (now, then, clients) = (edges(&service.retouch), edges(&rule), histories.len());
            let fields = fields.pairs();
            Ok(Page::ok(PreviewPage { ctx, service, now, then, effect, clients, fields }).into_response())
        }
    }
}
