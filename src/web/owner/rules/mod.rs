//! `GET /owner/rules` and `GET /owner/rules/versions/{n}`: the health questions and what answers mean, in force and as
//! they stood. Template: `owner/rules/version.html`.

pub mod draft;
pub mod publish;
pub mod question;
pub mod rule;
mod words;

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Done, there};
use crate::app::App;
use crate::domain::questionnaire::Question;
use crate::domain::screening::{Draft, Rule};
use crate::store::rules::{self, Publication};
use crate::store::studio::Studio;
use crate::store::{Connection, Stored};
use crate::web::page::{Answer, Ctx, Page};
use crate::when;
use crate::{t, tf};

/// A rule in a list.
struct RuleView {
    key: String,
    when: String,
    verdict: &'static str,
    kind: &'static str,
    more: String,
    services: String,
    test: Option<String>,
    basis: String,
    say: String,
    off: bool,
    changed: bool,
}

/// A question with its rules.
struct QuestionView {
    key: String,
    text: String,
    why: String,
    facts: Vec<String>,
    rules: Vec<RuleView>,
    /// Whether a rule can rest on its answer.
    ruled: bool,
    changed: bool,
}

/// A section with its questions.
struct SectionView {
    key: String,
    title: String,
    intro: String,
    questions: Vec<QuestionView>,
    changed: usize,
}

/// Every section of a set; what differs from another set is marked.
fn sections(set: &Draft, before: Option<&Draft>) -> Vec<SectionView> {
    let none = BTreeSet::new;
    let (changed_rules, changed_questions) =
        before.map_or_else(|| (none(), none()), |before| (set.changed_rules(before), set.changed_questions(before)));
    let question = |question: &Question| {
        let rules = set.rules.rules().iter().filter(|rule| rule.question == question.key);
        let rules: Vec<RuleView> = rules.map(|rule| view(rule, question, set, &changed_rules)).collect();
        QuestionView {
            key: question.key.clone(),
            text: question.text.clone(),
            why: question.why.clone(),
            facts: facts(question, set),
            ruled: rule::may_rest_on(question),
            changed: changed_questions.contains(question.key.as_str()) || rules.iter().any(|rule| rule.changed),
            rules,
        }
    };
    let section = |section: &crate::domain::questionnaire::Section| {
        let questions: Vec<QuestionView> = section.questions.iter().map(question).collect();
        SectionView {
            key: section.key.clone(),
            title: section.title.clone(),
            intro: section.intro.clone(),
            changed: questions.iter().filter(|question| question.changed).count(),
            questions,
        }
    };
    set.questionnaire.sections().iter().map(section).collect()
}

fn view(rule: &Rule, question: &Question, set: &Draft, changed: &BTreeSet<&str>) -> RuleView {
    let verdict = words::of_outcome(&rule.outcome);
    RuleView {
        key: rule.key.clone(),
        when: words::answer(Some(question), &rule.when),
        verdict: words::verdict(verdict),
        kind: words::shape(verdict),
        more: words::outcome(rule, &set.questionnaire),
        services: words::scope(&rule.scope),
        test: words::test(rule.test),
        basis: rule.basis.to_string(),
        say: rule.say.clone(),
        off: rule.off,
        changed: changed.contains(rule.key.as_str()),
    }
}

fn facts(question: &Question, set: &Draft) -> Vec<String> {
    let kind = words::KINDS.iter().find(|(_, _, kind)| *kind == question.kind).map_or("", |(_, words, _)| t(words));
    let mut facts = vec![kind.to_owned()];
    if !question.options.is_empty() {
        let options: Vec<&str> = question.options.iter().map(|option| option.label.as_str()).collect();
        facts.push(tf("Answers: {answers}").with("answers", options.join("; ")).to_string());
    }
    if let Some(after) = &question.after {
        let earlier = set.questionnaire.question(&after.question);
        let text = earlier.map_or(after.question.as_str(), |earlier| earlier.text.as_str());
        let said = tf("Asked after “{answer}” to “{question}”").with("question", text);
        facts.push(said.with("answer", words::answer(earlier, &after.is)).to_string());
    }
    let flags = [
        (question.optional, t("May stay blank")),
        (question.core, t("One of the twelve that matter most")),
        (question.sensitive, t("Shown only to whoever treats")),
        (question.returning, t("From the second visit on")),
    ];
    facts.extend(flags.into_iter().filter(|(on, _)| *on).map(|(_, words)| words.to_owned()));
    facts
}

/// A publication in a list.
struct PublicationView {
    version: u32,
    when: String,
    by: String,
    review: String,
    reason: String,
}

impl PublicationView {
    fn of(one: &Publication, studio: &Studio) -> Self {
        let review = match one.reviewed_on {
            Some(on) => {
                tf("Reviewed by {name} on {day}").with("name", &one.reviewed_by).with("day", when::day(on)).to_string()
            }
            None => t("Nobody of the studio has reviewed it yet").to_owned(),
        };
        Self {
            version: one.rules,
            when: when::moment(studio.zone.to_civil(one.published_at)),
            by: t(&one.published_by).to_owned(),
            review,
            reason: t(&one.reason).to_owned(),
        }
    }
}

#[derive(Template)]
#[template(path = "owner/rules/version.html")]
struct VersionPage {
    ctx: Ctx,
    this: PublicationView,
    questions: u32,
    fingerprint: String,
    newest: bool,
    sections: Vec<SectionView>,
    others: Vec<PublicationView>,
    has_draft: bool,
}

async fn page(c: &mut Connection, ctx: Ctx, wanted: Option<u32>) -> Stored<Option<VersionPage>> {
    let Some(studio) = ctx.seen.studio.clone() else { return Ok(None) };
    let all = rules::publications(c).await?;
    let this = all.iter().find(|one| wanted.is_none_or(|wanted| wanted == one.rules));
    let Some(this) = this else { return Ok(None) };
    let set = Draft {
        questionnaire: (*rules::questionnaire(c, this.questionnaire).await?).clone(),
        rules: (*rules::rule_table(c, this.rules).await?).clone(),
    };
    let has_draft = rules::draft(c).await?.is_some();
    let newest = all.first().is_some_and(|first| first.rules == this.rules);
    let others = all.iter().filter(|one| one.rules != this.rules).map(|one| PublicationView::of(one, &studio));
    Ok(Some(VersionPage {
        ctx,
        this: PublicationView::of(this, &studio),
        questions: this.questionnaire,
        fingerprint: set.rules.fingerprint().to_string(),
        newest,
        sections: sections(&set, None),
        others: others.collect(),
        has_draft,
    }))
}

/// Shows what is in force.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let page = page(&mut *app.db.read().await?, ctx.saying(said), None).await?;
    Ok(Page::ok(there(page)?).into_response())
}

/// Shows a version as it stood.
pub async fn get_version(State(app): State<App>, ctx: Ctx, Path(n): Path<String>) -> Answer {
    let wanted = there(n.parse().ok())?;
    let page = page(&mut *app.db.read().await?, ctx, Some(wanted)).await?;
    Ok(Page::ok(there(page)?).into_response())
}
