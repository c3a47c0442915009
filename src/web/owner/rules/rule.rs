//! `GET` and `POST /owner/rules/draft/rules/{key}` and `/owner/rules/draft/questions/{key}/rule`: one rule of the draft.
//! Template: `owner/rules/rule.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};

use super::{draft, words};
use crate::actions::rules as change;
use crate::app::App;
use crate::domain::catalogue::{Area, Chemistry};
use crate::domain::mark::Mark;
use crate::domain::questionnaire::{Kind, Question};
use crate::domain::screening::{Cause, Draft, EditRefused, Outcome, Rule, RuleTable, Scope, TestEffect, Then};
use crate::domain::span::Span;
use crate::domain::verdict::{Basis, BasisKind, Verdict};
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::owner::{done, filled, read, seen, there, tick};
use crate::web::page::{Answer, Ctx, Page};

/// The longest sentence for a client, and the longest source, in characters.
const WORDS_MOST: usize = 600;
/// The longest wait, in its unit.
const WAIT_MOST: u16 = 730;

#[derive(Template)]
#[template(path = "owner/rules/rule.html")]
struct RulePage {
    ctx: Ctx,
    /// The question, and the answers on which a rule can speak.
    question: Question,
    answers: Vec<(String, String)>,
    /// Questions that give a day.
    days: Vec<(String, String)>,
    is_new: bool,
    /// Whether it is the studio's own, so that it can go altogether.
    is_own: bool,
    /// Whether it stands on a known allergy or an active infection and ships with the program.
    guarded: bool,
    shared: String,
    details: Vec<String>,
    action: String,
    fields: Fields,
    errors: Errors,
}

impl RulePage {
    fn new(
        ctx: Ctx,
        set: &Draft,
        (rule, is_new): (Rule, bool),
        fields: Option<Fields>,
        errors: Errors,
    ) -> Result<Self, Fault> {
        let question = there(set.questionnaire.question(&rule.question).cloned())?;
        let mut answers: Vec<(String, String)> =
            question.options.iter().map(|option| (option.key.clone(), option.label.clone())).collect();
        if question.kind == Kind::YesNo {
            answers.push(("yes".to_owned(), t("Yes").to_owned()));
        }
        let days = set.questionnaire.questions().filter(|other| other.kind == Kind::Date && !other.optional);
        let asked =
            |key: &String| set.questionnaire.question(key).map_or(key.as_str(), |other| other.text.as_str()).to_owned();
        let action = if is_new {
            format!("{}/questions/{}/rule", draft::PATH, question.key)
        } else {
            format!("{}/rules/{}", draft::PATH, rule.key)
        };
        let shipped = change::shipped()?;
        Ok(Self {
            ctx,
            answers,
            days: days.map(|other| (other.key.clone(), other.text.clone())).collect(),
            guarded: shipped.rule(&rule.key).is_some_and(Rule::is_guarded),
            shared: rule.shared.iter().map(|held| crate::web::words::ingredient(*held)).collect::<Vec<_>>().join(", "),
            details: rule.details.iter().map(asked).collect(),
            fields: fields.unwrap_or_else(|| stored(&rule)),
            is_own: !is_new && shipped.rule(&rule.key).is_none(),
            question,
            is_new,
            action,
            errors,
        })
    }

    fn ticked(&self, name: &str, value: &str) -> bool {
        self.fields.many(name).any(|one| one == value)
    }
}

fn span_fields(pairs: &mut Vec<(String, String)>, field: &str, span: Option<Span>) {
    let (number, unit) = match span {
        Some(Span::Days(days)) => (days.to_string(), "days"),
        Some(Span::Months(months)) => (months.to_string(), "months"),
        None => (String::new(), "days"),
    };
    pairs.push((field.to_owned(), number));
    pairs.push((format!("{field}_unit"), unit.to_owned()));
}

fn stored(rule: &Rule) -> Fields {
    let (mut from, mut wait, mut then, mut letter) = (String::new(), None, Then::Clear, false);
    let (mut cause, mut overridable, mut lasts) = (None, false, None);
    match &rule.outcome {
        Outcome::WaitUntil { from: since, wait: span, then: left, letter: shortened } => {
            (from, wait, then, letter) = (since.clone().unwrap_or_default(), Some(*span), *left, *shortened);
        }
        Outcome::DoNotTreat { cause: why, overridable: over, letter: lifted, lasts: span } => {
            (cause, overridable, letter, lasts) = (Some(*why), *over, *lifted, *span);
        }
        Outcome::Clear | Outcome::Note | Outcome::Ask | Outcome::LetterNeeded => {}
    }
    let (test, test_days) = match rule.test {
        None => ("", String::new()),
        Some(TestEffect::DoNotTest) => ("do_not_test", String::new()),
        Some(TestEffect::Wait(Span::Days(days))) => ("wait", days.to_string()),
        Some(TestEffect::Wait(Span::Months(months))) => ("wait", (u32::from(months) * 30).to_string()),
        Some(TestEffect::Unreliable) => ("unreliable", String::new()),
        Some(TestEffect::Voids) => ("voids", String::new()),
    };
    let find = |then: Then| words::THENS.iter().find(|(_, _, one)| *one == then).map_or("", |(word, _, _)| word);
    let why = cause.and_then(|cause| words::CAUSES.iter().find(|(_, _, one)| *one == cause));
    let ground = words::GROUNDS.iter().find(|(_, _, one)| *one == rule.basis.kind);
    let mut pairs = filled([
        ("seen", Mark::of(rule).as_str().to_owned()),
        ("when", rule.when.clone()),
        ("verdict", words::of_outcome(&rule.outcome).as_str().to_owned()),
        ("from", from),
        ("then", find(then).to_owned()),
        ("letter", tick(letter)),
        ("cause", why.map_or("other", |(word, _, _)| word).to_owned()),
        ("overridable", tick(overridable)),
        ("test", test.to_owned()),
        ("test_days", test_days),
        ("basis_kind", ground.map_or("practice", |(word, _, _)| word).to_owned()),
        ("basis_text", rule.basis.text.clone()),
        ("say", rule.say.clone()),
        ("in_use", tick(!rule.off)),
    ])
    .pairs();
    span_fields(&mut pairs, "wait", wait);
    span_fields(&mut pairs, "lasts", lasts);
    pairs.extend(rule.scope.chemistries.iter().map(|one| ("many-chemistries".to_owned(), one.as_str().to_owned())));
    pairs.extend(rule.scope.areas.iter().map(|one| ("many-areas".to_owned(), words::area_word(*one).to_owned())));
    Fields::of(pairs)
}

fn read_span(errors: &mut Errors, fields: &Fields, field: &str) -> Option<Span> {
    let number = read::whole(errors, fields, field, 1..=WAIT_MOST)?;
    Some(if fields.trimmed(&format!("{field}_unit")) == "months" { Span::Months(number) } else { Span::Days(number) })
}

fn read_outcome(errors: &mut Errors, fields: &Fields, set: &Draft) -> Option<Outcome> {
    let verdict = read::choice(errors, "verdict", Verdict::parse(fields.trimmed("verdict")))?;
    let letter = fields.ticked("letter");
    Some(match verdict {
        Verdict::Clear => Outcome::Clear,
        Verdict::Note => Outcome::Note,
        Verdict::Ask => Outcome::Ask,
        Verdict::LetterNeeded => Outcome::LetterNeeded,
        Verdict::WaitUntil => {
            let from = Some(fields.trimmed("from")).filter(|key| !key.is_empty());
            let is_day = |key: &str| set.questionnaire.question(key).is_some_and(|one| one.kind == Kind::Date);
            if from.is_some_and(|key| !is_day(key)) {
                errors.add("from", t(crate::web::words::CHOOSE));
            }
            let then =
                words::THENS.iter().find(|(word, _, _)| *word == fields.trimmed("then")).map(|(_, _, then)| *then);
            let (wait, then) = (read_span(errors, fields, "wait"), read::choice(errors, "then", then));
            Outcome::WaitUntil { from: from.map(str::to_owned), wait: wait?, then: then?, letter }
        }
        Verdict::DoNotTreat => {
            let cause = words::CAUSES.iter().find(|(word, _, _)| *word == fields.trimmed("cause"));
            let cause = read::choice(errors, "cause", cause.map(|(_, _, cause)| *cause));
            let lasts = match fields.trimmed("lasts") {
                "" => None,
                _ => Some(read_span(errors, fields, "lasts")?),
            };
            let (overridable, cause) = (fields.ticked("overridable"), cause?);
            if overridable && cause != Cause::Other {
                errors.add(
                    "overridable",
                    t("A known allergy or an infection now can’t be overridden, whatever is written."),
                );
            }
            Outcome::DoNotTreat { cause, overridable, letter, lasts }
        }
    })
}

fn read_test(errors: &mut Errors, fields: &Fields) -> Option<Option<TestEffect>> {
    Some(match fields.trimmed("test") {
        "" => None,
        "do_not_test" => Some(TestEffect::DoNotTest),
        "wait" => Some(TestEffect::Wait(Span::Days(read::whole(errors, fields, "test_days", 1..=WAIT_MOST)?))),
        "unreliable" => Some(TestEffect::Unreliable),
        "voids" => Some(TestEffect::Voids),
        _ => {
            errors.add("test", t(crate::web::words::CHOOSE));
            None
        }
    })
}

fn read_rule(old: &Rule, set: &Draft, fields: &Fields) -> Result<Rule, Errors> {
    let mut errors = Errors::new();
    let can_be = set.questionnaire.question(&old.question).is_some_and(|one| one.can_be(fields.trimmed("when")));
    if !can_be {
        errors.add("when", t(crate::web::words::CHOOSE));
    }
    let outcome = read_outcome(&mut errors, fields, set);
    let test = read_test(&mut errors, fields);
    let chemistries =
        Chemistry::ALL.into_iter().filter(|one| fields.many("many-chemistries").any(|word| word == one.as_str()));
    let areas = [Area::Lash, Area::Brow].into_iter();
    let areas = areas.filter(|one| fields.many("many-areas").any(|word| word == words::area_word(*one)));
    let scope = Scope { chemistries: chemistries.collect(), areas: areas.collect() };
    let kind = words::GROUNDS.iter().find(|(word, _, _)| *word == fields.trimmed("basis_kind"));
    let kind = read::choice(&mut errors, "basis_kind", kind.map(|(_, _, kind)| *kind));
    let text = read::note(&mut errors, fields, "basis_text", WORDS_MOST);
    if kind.is_some_and(|kind| kind != BasisKind::Practice) && text.as_deref() == Some("") {
        errors.add("basis_text", t("Name the source."));
    }
    let say = read::note(&mut errors, fields, "say", WORDS_MOST);
    if say.as_deref() == Some("") {
        errors.add("say", t(crate::web::words::MISSING));
    }
    let read = || {
        Some(Rule {
            when: fields.trimmed("when").to_owned(),
            scope,
            outcome: outcome?,
            test: test?,
            basis: Basis { kind: kind?, text: text? },
            say: say?,
            off: !fields.ticked("in_use"),
            ..old.clone()
        })
    };
    read().filter(|_| errors.is_empty()).ok_or(errors)
}

/// Whether a rule can rest on what is answered: days and free words are looked at by the rules of the question before.
pub(super) fn may_rest_on(question: &Question) -> bool {
    matches!(question.kind, Kind::YesNo | Kind::Choice)
}

/// A rule for a question that has no words yet.
fn blank(set: &Draft, question: &Question) -> Rule {
    let key = |n: usize| format!("{}_{n}", question.key);
    let free = (1..).map(key).find(|key| set.rules.rule(key).is_none()).unwrap_or_default();
    Rule {
        key: free,
        question: question.key.clone(),
        when: question.options.first().map_or("yes", |option| &option.key).to_owned(),
        scope: Scope::default(),
        outcome: Outcome::Ask,
        shared: Vec::new(),
        test: None,
        details: Vec::new(),
        basis: Basis { kind: BasisKind::Practice, text: String::new() },
        say: String::new(),
        off: false,
    }
}

async fn rule_of(app: &App, key: &str, is_new: bool) -> Result<Option<(Draft, Rule)>, Fault> {
    let Some((stored, _)) = draft::load(&mut *app.db.read().await?).await? else { return Ok(None) };
    let set = stored.set;
    let rule = if is_new {
        set.questionnaire.question(key).filter(|one| may_rest_on(one)).map(|one| blank(&set, one))
    } else {
        set.rules.rule(key).cloned()
    };
    Ok(Some((set, there(rule)?)))
}

async fn look(app: &App, ctx: Ctx, key: &str, is_new: bool) -> Answer {
    let Some((set, rule)) = rule_of(app, key, is_new).await? else { return Err(Fault::NotFound) };
    Ok(Page::ok(RulePage::new(ctx, &set, (rule, is_new), None, Errors::new())?).into_response())
}

async fn save(app: &App, ctx: Ctx, team: &Team, (key, is_new): (&str, bool), fields: Fields) -> Answer {
    let Some((set, old)) = rule_of(app, key, is_new).await? else { return Err(Fault::NotFound) };
    let refused = |ctx, old, fields, errors| -> Result<Response, Fault> {
        Ok(Page::refused(RulePage::new(ctx, &set, (old, is_new), Some(fields), errors)?).into_response())
    };
    let rule = match read_rule(&old, &set, &fields) {
        Ok(rule) => rule,
        Err(errors) => return refused(ctx, old, fields, errors),
    };
    let what = format!("rule {}", rule.key);
    let seen = seen(&fields);
    let add = |set: &Draft, shipped: &RuleTable| match set.rules.rule(&rule.key) {
        // Of one that is new there is nothing yet that could have changed.
        Some(stored) if !is_new && seen.holds(&Mark::of(stored)).is_err() => Err(EditRefused::Overtaken),
        _ => set.with_rule(rule, shipped),
    };
    match there(change::edit(app, &team.actor(), &what, add).await?)? {
        Ok(()) => Ok(done(draft::PATH, "saved")),
        Err(EditRefused::Overtaken) => {
            let page = RulePage::new(ctx.overtaken(), &set, (old, is_new), Some(fields), Errors::new())?;
            Ok(Page::conflict(page).into_response())
        }
        Err(refusal) => {
            let mut errors = Errors::new();
            errors.add("verdict", words::edit(&refusal));
            refused(ctx, old, fields, errors)
        }
    }
}

/// Shows a rule.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(key): Path<String>) -> Answer {
    look(&app, ctx, &key, false).await
}

/// Changes it.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(key): Path<String>, fields: Fields) -> Answer {
    save(&app, ctx, &team, (&key, false), fields).await
}

/// Shows the form of a further rule on a question.
pub async fn get_new(State(app): State<App>, ctx: Ctx, Path(key): Path<String>) -> Answer {
    look(&app, ctx, &key, true).await
}

/// Adds it.
pub async fn post_new(State(app): State<App>, ctx: Ctx, team: Team, Path(key): Path<String>, fields: Fields) -> Answer {
    save(&app, ctx, &team, (&key, true), fields).await
}

/// Takes a rule of the studio's own away again; what ships is taken out of use instead.
pub async fn remove(State(app): State<App>, team: Team, Path(key): Path<String>, _: Fields) -> Answer {
    if change::shipped()?.rule(&key).is_some() {
        return Err(Fault::Conflict);
    }
    let what = format!("rule {key} removed");
    let edited = change::edit(&app, &team.actor(), &what, |set, shipped| set.without_rule(&key, shipped)).await?;
    there(edited)?.map_err(|refusal: EditRefused| Fault::internal(refusal))?;
    Ok(done(draft::PATH, "removed"))
}
