//! `GET` and `POST /book/{id}/answers`: a returning client confirms her last answers, or goes on to change them.
//! Template: `public/book/answers.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Booking, HoldView};
use crate::app::App;
use crate::domain::questionnaire::{Answer, Answers, Kind, Question, Section};
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::page::{self, Ctx, Page, see_other};
use crate::when;

struct SectionView {
    title: String,
    href: String,
    answers: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "public/book/answers.html")]
struct AnswersPage {
    ctx: Ctx,
    step: usize,
    steps: usize,
    given_on: String,
    sections: Vec<SectionView>,
    complete: bool,
    hold: Option<HoldView>,
}

/// An answer in words.
pub(in crate::web) fn in_words(question: &Question, answer: Option<&Answer>) -> String {
    answer.map_or_else(|| "Not answered".to_owned(), |answer| question.in_words(answer))
}

fn is_asked(section: &Section, question: &Question, answers: &Answers) -> bool {
    let open = |after: &crate::domain::questionnaire::After| {
        section.questions.iter().any(|parent| parent.key == after.question)
            && answers.get(&after.question).is_some_and(|answer| answer.opens(&after.is))
    };
    question.after.as_ref().is_none_or(open)
}

/// Every question of a section that is open after the answers, with its answer in words.
pub(in crate::web) fn section_in_words(section: &Section, answers: &Answers) -> Vec<(String, String)> {
    let asked = section.questions.iter().filter(|question| is_asked(section, question, answers));
    asked.map(|question| (question.text.clone(), in_words(question, answers.get(&question.key)))).collect()
}

/// Whether her last answers, with "nothing has changed", answer everything that is asked now.
fn confirmed(booking: &Booking) -> Option<Answers> {
    let mut answers = booking.last.as_ref()?.set.answers.clone();
    let all =
        booking.sections.iter().flat_map(|section| section.questions.iter().map(move |question| (section, question)));
    for (section, question) in all {
        if question.returning && question.kind == Kind::YesNo {
            answers.set(question.key.clone(), Answer::No);
        }
        if is_asked(section, question, &answers) && !question.optional && answers.get(&question.key).is_none() {
            return None;
        }
    }
    Some(answers)
}

async fn open(app: &App, ctx: &Ctx, id: &str) -> Result<Booking, Fault> {
    let booking = Booking::open(app, ctx, id).await?;
    if booking.last.is_none() { Err(Fault::SeeOther(booking.path("health/1"))) } else { Ok(booking) }
}

/// Shows her last answers.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> page::Answer {
    let booking = open(&app, &ctx, &id).await?;
    let Some(last) = &booking.last else { return Err(Fault::NotFound) };
    let sections = booking.sections.iter().enumerate().map(|(at, section)| SectionView {
        title: section.title.clone(),
        href: booking.path(&format!("health/{}", at + 1)),
        answers: section_in_words(section, &last.set.answers),
    });
    let page = AnswersPage {
        step: booking.first_question(),
        steps: booking.steps(),
        given_on: when::day(last.set.given_on),
        sections: sections.collect(),
        complete: confirmed(&booking).is_some(),
        hold: booking.hold_view(),
        ctx,
    };
    Ok(Page::ok(page).into_response())
}

/// Takes her last answers over as today's, or begins with the first section.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, fields: Fields) -> page::Answer {
    let mut booking = open(&app, &ctx, &id).await?;
    let same = fields.get("nothing") == "changed";
    let answers = if same { confirmed(&booking) } else { booking.last.as_ref().map(|last| last.set.answers.clone()) };
    if let Some(answers) = &answers {
        booking.draft.answers = serde_json::to_string(answers).map_err(Fault::internal)?;
        if same {
            for section in booking.sections.clone() {
                booking.mark_done(&section.key);
            }
        }
        booking.save(&app).await?;
    }
    booking.keep(&app).await?;
    match (fields.ticked("more_time"), same && answers.is_some()) {
        (true, _) => Ok(see_other(&booking.path("answers"))),
        (false, true) => Ok(see_other(&booking.next())),
        (false, false) => Ok(see_other(&booking.path("health/1"))),
    }
}
