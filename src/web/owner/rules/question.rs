//! `GET` and `POST /owner/rules/draft/questions/{key}`, `/owner/rules/draft/sections/{key}/question`, and
//! `POST …/retire`: one question of the draft. Template: `owner/rules/question.html`.

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{draft, words};
use crate::actions::rules as change;
use crate::app::App;
use crate::domain::label::Label;
use crate::domain::mark::Mark;
use crate::domain::questionnaire::{After, ChoiceOption, Kind, Question};
use crate::domain::screening::{Draft, EditRefused, RuleTable};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::owner::{done, filled, read, seen, there, tick};
use crate::web::page::{Answer, Ctx, Page};
use crate::{t, tf};

/// The longest question, reason or answer on offer, in characters.
const WORDS_MOST: usize = 300;

#[derive(Template)]
#[template(path = "owner/rules/question.html")]
struct QuestionPage {
    ctx: Ctx,
    question: Question,
    is_new: bool,
    /// The answers after which it can be asked: the word of the form, and what it says.
    befores: Vec<(String, String)>,
    /// How many questions and rules go with it.
    with_it: (usize, usize),
    action: String,
    fields: Fields,
    errors: Errors,
}

/// Where a question stands: its section, and itself once it is there.
struct Place {
    set: Draft,
    section: String,
    question: Question,
    is_new: bool,
}

fn blank() -> Question {
    Question {
        key: String::new(),
        text: String::new(),
        why: String::new(),
        kind: Kind::YesNo,
        options: Vec::new(),
        after: None,
        optional: false,
        core: false,
        sensitive: false,
        returning: false,
    }
}

async fn place(app: &App, key: &str, is_new: bool) -> Result<Place, Fault> {
    let set = there(draft::load(&mut *app.db.read().await?).await?)?.0.set;
    let holds = |section: &&crate::domain::questionnaire::Section| {
        if is_new { section.key == key } else { section.questions.iter().any(|question| question.key == key) }
    };
    let section = there(set.questionnaire.sections().iter().find(holds).map(|section| section.key.clone()))?;
    let question = if is_new { blank() } else { there(set.questionnaire.question(key).cloned())? };
    Ok(Place { set, section, question, is_new })
}

impl QuestionPage {
    fn new(ctx: Ctx, place: Place, fields: Option<Fields>, errors: Errors) -> Self {
        let Place { set, section, question, is_new } = place;
        let action = if is_new {
            format!("{}/sections/{section}/question", draft::PATH)
        } else {
            format!("{}/questions/{}", draft::PATH, question.key)
        };
        let here = set.questionnaire.sections().iter().find(|one| one.key == section);
        let earlier = here.into_iter().flat_map(|one| &one.questions).take_while(|one| one.key != question.key);
        let befores = earlier.flat_map(|one| {
            let words = one.options.iter().map(|option| (option.key.clone(), option.label.clone()));
            let yes = (one.kind == Kind::YesNo).then(|| ("yes".to_owned(), t("Yes").to_owned()));
            words.chain(yes).map(move |(word, label)| {
                let said = tf("“{answer}” to “{question}”").with("answer", label).with("question", &one.text);
                (format!("{}={word}", one.key), said.to_string())
            })
        });
        let shipped = change::shipped().ok();
        let without = shipped.and_then(|shipped| set.without_question(&question.key, &shipped).ok());
        let with_it = without.map_or((0, 0), |left| {
            let questions =
                set.questionnaire.questions().count().saturating_sub(left.questionnaire.questions().count());
            (questions.saturating_sub(1), set.rules.rules().len().saturating_sub(left.rules.rules().len()))
        });
        let fields = fields.unwrap_or_else(|| stored(&question));
        Self { ctx, befores: befores.collect(), with_it, action, fields, errors, question, is_new }
    }
}

fn stored(question: &Question) -> Fields {
    let kind = words::KINDS.iter().find(|(_, _, kind)| *kind == question.kind).map_or("", |(word, _, _)| word);
    let after = question.after.as_ref().map_or(String::new(), |after| format!("{}={}", after.question, after.is));
    let mut pairs = filled([
        ("seen", Mark::of(question).as_str().to_owned()),
        ("text", question.text.clone()),
        ("why", question.why.clone()),
        ("kind", kind.to_owned()),
        ("after", after),
        ("optional", tick(question.optional)),
        ("sensitive", tick(question.sensitive)),
        ("returning", tick(question.returning)),
    ])
    .pairs();
    pairs.extend(question.options.iter().map(|option| (format!("option_{}", option.key), option.label.clone())));
    Fields::of(pairs)
}

/// A key of a few of the words, with a number where it is taken.
fn key_of(text: &str, taken: impl Fn(&str) -> bool) -> String {
    let plain = text.to_lowercase();
    let plain = plain.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| word.len() > 2).take(4);
    let base: String = plain.collect::<Vec<_>>().join("_").chars().take(40).collect();
    let base = if base.is_empty() { "own".to_owned() } else { base };
    let numbered = (2..).map(|n| format!("{base}_{n}"));
    let free = std::iter::once(base.clone()).chain(numbered).find(|key| !taken(key));
    free.unwrap_or(base)
}

fn read_options(errors: &mut Errors, old: &Question, fields: &Fields) -> Vec<ChoiceOption> {
    let mut options = Vec::new();
    for option in &old.options {
        let field = format!("option_{}", option.key);
        if !fields.trimmed(&field).is_empty() {
            let label = errors.take(&field, Label::parse(fields.get(&field), WORDS_MOST), crate::web::words::text);
            let label = label.map(|label| label.as_str().to_owned());
            options.extend(label.map(|label| ChoiceOption { key: option.key.clone(), label }));
        }
    }
    let mut taken: BTreeSet<String> =
        old.options.iter().map(|option| option.key.clone()).chain(["yes", "no", "talk"].map(str::to_owned)).collect();
    for line in fields.get("new_options").lines().filter(|line| !line.trim().is_empty()) {
        let label = errors.take("new_options", Label::parse(line, WORDS_MOST), crate::web::words::text);
        if let Some(label) = label {
            let key = key_of(label.as_str(), |key| taken.contains(key));
            taken.insert(key.clone());
            options.push(ChoiceOption { key, label: label.as_str().to_owned() });
        }
    }
    options
}

fn read_question(place: &Place, fields: &Fields) -> Result<Question, Errors> {
    let mut errors = Errors::new();
    let old = &place.question;
    let text = errors.take("text", Label::parse(fields.get("text"), WORDS_MOST), crate::web::words::text);
    let why = read::note(&mut errors, fields, "why", WORDS_MOST);
    let kind = words::KINDS.iter().find(|(word, _, _)| *word == fields.trimmed("kind")).map(|(_, _, kind)| *kind);
    let kind = if place.is_new { read::choice(&mut errors, "kind", kind) } else { Some(old.kind) };
    let after = match fields.trimmed("after") {
        "" => None,
        text => {
            let after =
                text.split_once('=').map(|(question, is)| After { question: question.to_owned(), is: is.to_owned() });
            let can = |after: &After| {
                place.set.questionnaire.question(&after.question).is_some_and(|one| one.can_be(&after.is))
            };
            read::choice(&mut errors, "after", after.filter(can))
        }
    };
    let follows = !fields.trimmed("after").is_empty();
    if !follows && why.as_deref() == Some("") {
        errors.add("why", t("Say in a short sentence why it is asked."));
    }
    let optional = fields.ticked("optional");
    if optional && !follows {
        errors.add(
            "optional",
            t("Only a question that follows an answer may stay blank: a blank is never taken for a no."),
        );
    }
    let options = read_options(&mut errors, old, fields);
    if kind == Some(Kind::Choice) && options.len() < 2 {
        errors.add("new_options", t("A question of this kind needs at least two answers, one a line."));
    } else if kind.is_some_and(|kind| kind != Kind::Choice) && !options.is_empty() {
        errors.add("new_options", t("Only a question with several answers has these. Leave them empty."));
    }
    let read = || {
        let text = text?.as_str().to_owned();
        let taken = |key: &str| place.set.questionnaire.question(key).is_some() || place.set.rules.rule(key).is_some();
        Some(Question {
            key: if place.is_new { key_of(&text, taken) } else { old.key.clone() },
            text,
            why: why?,
            kind: kind?,
            options,
            after,
            optional,
            core: old.core,
            sensitive: fields.ticked("sensitive"),
            returning: fields.ticked("returning"),
        })
    };
    read().filter(|_| errors.is_empty()).ok_or(errors)
}

async fn save(app: &App, ctx: Ctx, team: &Team, place: Place, fields: Fields) -> Answer {
    let question = match read_question(&place, &fields) {
        Ok(question) => question,
        Err(errors) => {
            return Ok(Page::refused(QuestionPage::new(ctx, place, Some(fields), errors)).into_response());
        }
    };
    let (section, what) = (place.section.clone(), format!("question {}", question.key));
    // A question that nothing is said about yet needs a rule next.
    let wants_rule = place.is_new && matches!(question.kind, Kind::YesNo | Kind::Choice);
    let next = format!("{}/questions/{}/rule", draft::PATH, question.key);
    let (key, seen) = (place.question.key.clone(), seen(&fields));
    let add = |set: &Draft, shipped: &RuleTable| {
        // Of one that is new there is nothing yet that could have changed.
        match set.questionnaire.question(&key) {
            Some(stored) if seen.holds(&Mark::of(stored)).is_err() => Err(EditRefused::Overtaken),
            _ => set.with_question(&section, question, shipped),
        }
    };
    match there(change::edit(app, &team.actor(), &what, add).await?)? {
        Ok(()) => Ok(if wants_rule { done(&next, "added") } else { done(draft::PATH, "saved") }),
        Err(EditRefused::Overtaken) => {
            let page = QuestionPage::new(ctx.overtaken(), place, Some(fields), Errors::new());
            Ok(Page::conflict(page).into_response())
        }
        Err(refusal) => {
            let mut errors = Errors::new();
            errors.add(if place.question.options.is_empty() { "text" } else { "new_options" }, words::edit(&refusal));
            Ok(Page::refused(QuestionPage::new(ctx, place, Some(fields), errors)).into_response())
        }
    }
}

/// Shows a question.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(key): Path<String>) -> Answer {
    let place = place(&app, &key, false).await?;
    Ok(Page::ok(QuestionPage::new(ctx, place, None, Errors::new())).into_response())
}

/// Changes it.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(key): Path<String>, fields: Fields) -> Answer {
    let place = place(&app, &key, false).await?;
    save(&app, ctx, &team, place, fields).await
}

/// Shows the form of a further question in a section.
pub async fn get_new(State(app): State<App>, ctx: Ctx, Path(key): Path<String>) -> Answer {
    let place = place(&app, &key, true).await?;
    Ok(Page::ok(QuestionPage::new(ctx, place, None, Errors::new())).into_response())
}

/// Adds it.
pub async fn post_new(State(app): State<App>, ctx: Ctx, team: Team, Path(key): Path<String>, fields: Fields) -> Answer {
    let place = place(&app, &key, true).await?;
    save(&app, ctx, &team, place, fields).await
}

/// Asks it no longer.
pub async fn retire(State(app): State<App>, ctx: Ctx, team: Team, Path(key): Path<String>, _: Fields) -> Answer {
    let place = place(&app, &key, false).await?;
    let what = format!("question {key} retired");
    let edited = change::edit(&app, &team.actor(), &what, |set, shipped| set.without_question(&key, shipped)).await?;
    match there(edited)? {
        Ok(()) => Ok(done(draft::PATH, "removed")),
        Err(refusal) => {
            let mut errors = Errors::new();
            let said = match refusal {
                EditRefused::Softened(_) => {
                    t("It can’t be retired: a rule on it stands on a known allergy or an infection now.").to_owned()
                }
                other => words::edit(&other),
            };
            errors.add("text", said);
            Ok(Page::refused(QuestionPage::new(ctx, place, None, errors)).into_response())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_made_of_plain_words_and_is_free() {
        assert_eq!(key_of("Do you use a sun bed?", |_| false), "you_use_sun_bed");
        assert_eq!(key_of("Do you use a sun bed?", |key| key == "you_use_sun_bed"), "you_use_sun_bed_2");
        assert_eq!(key_of("é?", |_| false), "own");
    }
}
