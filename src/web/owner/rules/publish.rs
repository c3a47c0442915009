//! `GET` and `POST /owner/rules/draft/publish`: whose verdicts would change, and putting the draft in force.
//! Template: `owner/rules/publish.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::{draft, words};
use crate::actions::health as looks;
use crate::actions::rules::{self as change, Change, Published, Review};
use crate::actions::verdicts;
use crate::app::App;
use crate::domain::label::Label;
use crate::domain::mark::Mark;
use crate::t;
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::owner::{done, filled, seen, there, today};
use crate::web::page::{Answer, Ctx, Page, see_other};

/// The longest reason, in characters.
const REASON_MOST: usize = 500;

#[derive(Template)]
#[template(path = "owner/rules/publish.html")]
struct PublishPage {
    ctx: Ctx,
    changes: Vec<Change>,
    clients: usize,
    rules: Vec<String>,
    questions: Vec<String>,
    misfits: Vec<(String, String)>,
    /// The sign of what is shown here.
    seen: Mark,
    fields: Fields,
    errors: Errors,
}

async fn page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    fields: Option<Fields>,
    errors: Errors,
) -> Result<Option<PublishPage>, Fault> {
    let studio = ctx.studio()?.clone();
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let Some((stored, before)) = draft::load(&mut c).await? else { return Ok(None) };
    let set = stored.set;
    let seen = change::mark_of_draft(&set, &before);
    let misfits: Vec<_> = set.misfits().iter().map(|one| words::misfit(one, &set.questionnaire, &set.rules)).collect();
    let (changes, clients) =
        if misfits.is_empty() { change::effect(&mut c, &studio, &set, now).await? } else { (Vec::new(), 0) };
    drop(c);
    looks::looked(app, &team.0, "rules.effect-seen", None, &format!("clients: {}", changes.len())).await?;
    let asked = |key: &str| {
        let question = set.questionnaire.question(key).or_else(|| before.questionnaire.question(key));
        question.map_or(key, |question| question.text.as_str()).to_owned()
    };
    let of_rule = |key: &str| {
        let rule = set.rules.rule(key).or_else(|| before.rules.rule(key));
        let Some(rule) = rule else { return key.to_owned() };
        let question = set.questionnaire.question(&rule.question);
        format!("{}: {}", asked(&rule.question), words::answer(question, &rule.when))
    };
    let rules = set.changed_rules(&before).into_iter().map(of_rule).collect();
    let questions = set.changed_questions(&before).into_iter().map(asked).collect();
    let fields = fields.unwrap_or_else(|| {
        filled([("reviewed_on", studio.zone.date_at(now).to_string()), ("reviewed_by", team.0.name.clone())])
    });
    Ok(Some(PublishPage { ctx, changes, clients, rules, questions, misfits, seen, fields, errors }))
}

/// Shows what it would change.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team) -> Answer {
    match page(&app, ctx.clone(), &team, None, Errors::new()).await? {
        Some(page) => Ok(Page::ok(page).into_response()),
        None => draft::show(&app, ctx).await,
    }
}

/// Publishes.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    let by = errors.take("reviewed_by", Label::parse(fields.get("reviewed_by"), Label::MOST), crate::web::words::text);
    let on = day::field(&mut errors, &fields, "reviewed_on");
    let today = today(&app, ctx.studio()?);
    if on.is_some_and(|on| on > today) {
        errors.add("reviewed_on", t("That day is still to come."));
    }
    let reason = errors.take("reason", Label::parse(fields.get("reason"), REASON_MOST), crate::web::words::text);
    let review = by.zip(on).zip(reason).filter(|_| errors.is_empty());
    let Some(((by, on), reason)) = review else {
        let page = page(&app, ctx, &team, Some(fields), errors).await?;
        return Ok(Page::refused(there(page)?).into_response());
    };
    let review = Review { by: by.as_str().to_owned(), on, reason: reason.as_str().to_owned() };
    match change::publish(&app, &team.actor(), &seen(&fields), review).await? {
        Published::Done(_) => {
            verdicts::watch(&app).await?;
            Ok(done("/owner/rules", "saved"))
        }
        Published::Nothing => Ok(see_other(draft::PATH)),
        // What is shown again is what the draft is now: to be looked at, and then signed as reviewed.
        Published::Overtaken => {
            let page = page(&app, ctx.overtaken(), &team, Some(fields), Errors::new()).await?;
            Ok(Page::conflict(there(page)?).into_response())
        }
        Published::Misfits => {
            let page = page(&app, ctx, &team, Some(fields), Errors::new()).await?;
            Ok(Page::refused(there(page)?).into_response())
        }
    }
}
