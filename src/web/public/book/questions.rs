//! `GET` and `POST /book/{id}/health/{n}`: one section of the health questions. Template: `public/book/questions.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Booking, HoldView};
use crate::app::App;
use crate::domain::questionnaire::{Answer, AnswerRefused, Answers, Kind, Question, Section, SectionRefused, TALK};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::page::{self, Ctx, Page, see_other};
use crate::web::words;
use crate::{t, tf};

/// A question as the page shows it.
pub(in crate::web) struct Asked {
    pub(in crate::web) key: String,
    pub(in crate::web) text: String,
    pub(in crate::web) why: String,
    pub(in crate::web) kind: Kind,
    pub(in crate::web) options: Vec<(String, String)>,
    pub(in crate::web) optional: bool,
    /// What was chosen or typed.
    pub(in crate::web) value: String,
    pub(in crate::web) talk: bool,
    /// What stands for an answer that she would rather talk about.
    pub(in crate::web) talk_words: &'static str,
    /// The name of the tick beside a day or a text.
    pub(in crate::web) talk_name: String,
    /// What is asked further after a yes.
    pub(in crate::web) further: Vec<Asked>,
}

impl Asked {
    fn of(question: &Question, talk_words: &'static str, value: &dyn Fn(&str) -> (String, bool)) -> Self {
        let (value, talk) = value(&question.key);
        Self {
            key: question.key.clone(),
            text: question.text.clone(),
            why: question.why.clone(),
            kind: question.kind,
            options: question.options.iter().map(|option| (option.key.clone(), option.label.clone())).collect(),
            optional: question.optional,
            value,
            talk,
            talk_words,
            talk_name: format!("{}-talk", question.key),
            further: Vec::new(),
        }
    }

    /// Questions of a section, each follow-up below the question that it follows.
    pub(in crate::web) fn all(
        section: &Section,
        talk_words: &'static str,
        value: &dyn Fn(&str) -> (String, bool),
    ) -> Vec<Self> {
        fn put(list: &mut [Asked], after: &str, asked: Asked) -> Option<Asked> {
            let mut asked = asked;
            for parent in list {
                if parent.key == after {
                    parent.further.push(asked);
                    return None;
                }
                asked = put(&mut parent.further, after, asked)?;
            }
            Some(asked)
        }
        let mut list: Vec<Self> = Vec::new();
        for question in &section.questions {
            let asked = Self::of(question, talk_words, value);
            let left = match &question.after {
                Some(after) => put(&mut list, &after.question, asked),
                None => Some(asked),
            };
            list.extend(left);
        }
        list
    }
}

/// What is stored, as a form shows it.
pub(in crate::web) fn stored(answers: &Answers, key: &str) -> (String, bool) {
    match answers.get(key) {
        Some(Answer::Yes) => ("yes".to_owned(), false),
        Some(Answer::No) => ("no".to_owned(), false),
        Some(Answer::Date(day)) => (day.to_string(), false),
        Some(Answer::Choice(option)) => (option.clone(), false),
        Some(Answer::Text(text)) => (text.clone(), false),
        Some(Answer::PreferToTalk) => (String::new(), true),
        None => (String::new(), false),
    }
}

/// What is wrong with an answer, in words.
pub(in crate::web) fn refusal(why: AnswerRefused) -> String {
    match why {
        AnswerRefused::Missing => t("Please answer, or choose “I’d rather talk about it”.").to_owned(),
        AnswerRefused::NotOnOffer | AnswerRefused::Twice => t(words::CHOOSE).to_owned(),
        AnswerRefused::NoDay => t("Please give a day of the calendar.").to_owned(),
        AnswerRefused::Future => t("That day is still to come.").to_owned(),
        AnswerRefused::TooLongAgo => t("That day is too long ago.").to_owned(),
        AnswerRefused::TooLong(most) => tf("Please use at most {most} characters.").with("most", most).to_string(),
        AnswerRefused::ControlCharacter => t("There is a character in it that can’t be written.").to_owned(),
    }
}

#[derive(Template)]
#[template(path = "public/book/questions.html")]
struct QuestionsPage {
    ctx: Ctx,
    step: usize,
    steps: usize,
    title: String,
    intro: String,
    questions: Vec<Asked>,
    errors: Errors,
    hold: Option<HoldView>,
    back: bool,
    /// The version of the questions that stand here.
    version: u32,
    /// They are others than those that she had before her.
    changed: bool,
}

impl QuestionsPage {
    fn new(ctx: Ctx, booking: &Booking, at: usize, section: &Section, refused: Option<&SectionRefused>) -> Self {
        let answers = booking.answers();
        let mut errors = Errors::new();
        for field in refused.iter().flat_map(|refused| &refused.fields) {
            errors.add(&field.key, refusal(field.why));
        }
        let value = |key: &str| match refused {
            Some(refused) => (refused.raw(key).to_owned(), refused.wants_to_talk(key)),
            None => stored(&answers, key),
        };
        Self {
            ctx,
            step: booking.first_question() + if booking.last.is_some() { 0 } else { at - 1 },
            steps: booking.steps(),
            title: section.title.clone(),
            intro: section.intro.clone(),
            questions: Asked::all(section, t("I’d rather talk about it"), &value),
            errors,
            hold: booking.hold_view(),
            back: before(booking, at).is_some(),
            version: booking.questions_version(),
            changed: false,
        }
    }
}

impl QuestionsPage {
    /// What is refused, by the words of its question: what is wrong with it stands there, and ten times the same words here
    /// would tell nobody where to look.
    fn summary(&self) -> Vec<(&str, &str)> {
        fn find<'a>(list: &'a [Asked], key: &str) -> Option<&'a str> {
            let here = list.iter().find(|asked| asked.key == key).map(|asked| asked.text.as_str());
            here.or_else(|| list.iter().find_map(|asked| find(&asked.further, key)))
        }
        let refused = self.errors.list().iter();
        refused.map(|(key, why)| (key.as_str(), find(&self.questions, key).unwrap_or(why))).collect()
    }
}

/// The page before this one.
fn before(booking: &Booking, at: usize) -> Option<String> {
    match at {
        0 | 1 if booking.last.is_some() => Some(booking.path("answers")),
        0 | 1 if booking.client.is_some() => None,
        0 | 1 => Some(booking.path("details")),
        _ => Some(booking.path(&format!("health/{}", at - 1))),
    }
}

/// The tick beside a day or a text has a name of its own on the page; the rule reads it as a second value of the field.
pub(in crate::web) fn pairs(fields: &Fields) -> Vec<(String, String)> {
    let mut pairs = fields.pairs();
    for (name, _) in &mut pairs {
        if let Some(key) = name.strip_suffix("-talk") {
            *name = key.to_owned();
        }
    }
    pairs
}

/// She says no, in one press, to every question that she left open: an answer as much as any other.
fn no_to_the_rest(section: &Section, given: &mut Vec<(String, String)>) {
    for question in section.questions.iter().filter(|question| question.kind == Kind::YesNo) {
        if !given.iter().any(|(name, value)| *name == question.key && !value.trim().is_empty()) {
            given.push((question.key.clone(), "no".to_owned()));
        }
    }
}

/// Keeps what was answered on a page, to those of its questions that are asked. Their sections stay open: she sees them again.
fn take_over(booking: &mut Booking, given: &[(String, String)]) -> Result<(), Fault> {
    let mut answers = booking.answers();
    for section in booking.sections.clone() {
        let read = section.read(given, booking.today()).unwrap_or_else(|refused| refused.read);
        for (key, answer) in read.iter() {
            answers.set(key.to_owned(), answer.clone());
            booking.mark_open(&section.key);
        }
    }
    booking.keep_answers(&answers)
}

fn there(booking: &Booking) -> Result<(), Fault> {
    let known = booking.client.is_some() || booking.person().is_ok();
    if known { Ok(()) } else { Err(Fault::SeeOther(booking.path("details"))) }
}

fn section(booking: &Booking, at: usize) -> Option<Section> {
    at.checked_sub(1).and_then(|at| booking.sections.get(at)).cloned()
}

/// Shows a section.
pub async fn get(State(app): State<App>, ctx: Ctx, Path((id, at)): Path<(String, usize)>) -> page::Answer {
    let booking = Booking::open(&app, &ctx, &id).await?;
    there(&booking)?;
    let section = section(&booking, at).ok_or(Fault::NotFound)?;
    Ok(Page::ok(QuestionsPage::new(ctx, &booking, at, &section, None)).into_response())
}

/// Keeps the answers, renews the hold, goes on when all are given.
pub async fn post(
    State(app): State<App>,
    ctx: Ctx,
    Path((id, at)): Path<(String, usize)>,
    fields: Fields,
) -> page::Answer {
    let (mut booking, sign_in) = Booking::open_for_form(&app, &ctx, &id).await?;
    there(&booking)?;
    let (section, mut given) = (section(&booking, at), pairs(&fields));
    if let Some(sign_in) = sign_in {
        // What she left open stays open, and what she gave stands there once she has signed in.
        take_over(&mut booking, &given)?;
        booking.save(&app).await?;
        return Err(sign_in);
    }
    // What was on her screen is what she answered.
    let changed = fields.get("version") != booking.questions_version().to_string();
    let Some(section) = section.filter(|_| !changed) else {
        take_over(&mut booking, &given)?;
        booking.save(&app).await?;
        booking.keep(&app).await?;
        if let Some(there) = booking.stays(&app, &fields, &format!("health/{at}")).await? {
            return Ok(see_other(&there));
        }
        let Some(section) = self::section(&booking, at) else { return Ok(see_other(&booking.next())) };
        let page = QuestionsPage::new(ctx, &booking, at, &section, None);
        return Ok(Page::conflict(QuestionsPage { changed: true, ..page }).into_response());
    };
    if fields.get("rest") == "no" {
        no_to_the_rest(&section, &mut given);
    }
    let read = section.read(&given, booking.today());
    let mut answers = booking.answers();
    match &read {
        Ok(given) => {
            answers.replace_section(&section, given.clone());
            booking.mark_done(&section.key);
        }
        // Those that could be read are kept even while others are missing.
        Err(refused) => {
            answers.replace_section(&section, refused.read.clone());
            booking.mark_open(&section.key);
        }
    }
    booking.keep_answers(&answers)?;
    booking.save(&app).await?;
    booking.keep(&app).await?;
    if let Some(there) = booking.stays(&app, &fields, &format!("health/{at}")).await? {
        return Ok(see_other(&there));
    }
    match read {
        _ if fields.ticked("back") => Ok(see_other(&before(&booking, at).unwrap_or_else(|| booking.next()))),
        Ok(_) if at < booking.sections.len() && !booking.answered() => {
            Ok(see_other(&booking.path(&format!("health/{}", at + 1))))
        }
        Ok(_) => {
            booking.tell_refused(&app, &ctx).await?;
            Ok(see_other(&booking.next()))
        }
        Err(refused) => {
            Ok(Page::refused(QuestionsPage::new(ctx, &booking, at, &section, Some(&refused))).into_response())
        }
    }
}

/// The value that stands for "rather talk about it", for the template.
const TALK_VALUE: &str = TALK;
