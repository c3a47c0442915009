//! `GET` and `POST /book/{id}/answers`: a returning client confirms her last answers, or goes on to change them; later she
//! sees here what she has answered now.
//! Template: `public/book/answers.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::decide::to_know;
use super::{Booking, HoldView, VisitView};
use crate::app::App;
use crate::domain::questionnaire::{Answer, Answers, Kind, Question, Section};
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::page::{self, Ctx, Page, see_other};
use crate::when;
use crate::{msg, t};

struct SectionView {
    title: String,
    href: String,
    answers: Vec<(String, String)>,
}

/// What she sees before she books at once.
struct AtOnce {
    visits: Vec<VisitView>,
    price: String,
    to_know: Vec<String>,
    signed: (String, String),
}

#[derive(Template)]
#[template(path = "public/book/answers.html")]
struct AnswersPage {
    ctx: Ctx,
    step: usize,
    steps: usize,
    /// The day of her last answers, as long as they wait to be confirmed.
    given_on: Option<String>,
    sections: Vec<SectionView>,
    /// Whether there is an answer to everything.
    complete: bool,
    /// With these answers it is booked at once, since an earlier signature holds.
    at_once: Option<AtOnce>,
    hold: Option<HoldView>,
}

/// What stands for an answer that isn’t there.
const NOT_ANSWERED: &str = msg("Not answered");

/// An answer in words.
fn in_words(question: &Question, answer: Option<&Answer>) -> String {
    answer.map_or_else(|| t(NOT_ANSWERED).to_owned(), |answer| question.in_words(answer))
}

fn is_asked(section: &Section, question: &Question, answers: &Answers) -> bool {
    let open = |after: &crate::domain::questionnaire::After| {
        section.questions.iter().any(|parent| parent.key == after.question)
            && answers.get(&after.question).is_some_and(|answer| answer.opens(&after.is))
    };
    question.after.as_ref().is_none_or(open)
}

/// Every question of a section that is open after the answers, with its answer in words.
fn section_in_words(section: &Section, answers: &Answers) -> Vec<(String, String)> {
    let asked = section.questions.iter().filter(|question| is_asked(section, question, answers));
    asked.map(|question| (question.text.clone(), in_words(question, answers.get(&question.key)))).collect()
}

/// Sections by their titles, each with what was answered in it.
pub(in crate::web) type Answered = Vec<(String, Vec<(String, String)>)>;

/// Everything that was answered, section by section.
pub(in crate::web) fn answered<'a>(sections: impl IntoIterator<Item = &'a Section>, answers: &Answers) -> Answered {
    let lines = |section: &Section| {
        let mut lines = section_in_words(section, answers);
        lines.retain(|(_, answer)| answer != t(NOT_ANSWERED));
        (section.title.clone(), lines)
    };
    sections.into_iter().map(lines).filter(|(_, lines)| !lines.is_empty()).collect()
}

/// Her last answers as they wait to be confirmed, if with "nothing has changed" they answer everything that is asked now.
fn confirmed(booking: &Booking) -> Option<Answers> {
    let mut answers = booking.last.as_ref().filter(|_| booking.to_confirm())?.set.answers.clone();
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

/// Whether confirming these answers can book at once.
async fn at_once(app: &App, ctx: &Ctx, booking: &Booking, answers: Answers) -> Result<Option<AtOnce>, Fault> {
    let judged = booking.judge(app, answers).await?;
    let Some(signed) = booking.held(&judged) else { return Ok(None) };
    if booking.not_yet(ctx, &judged).is_some() {
        return Ok(None);
    }
    let (visits, price) = (booking.visit_views(), booking.price());
    Ok(Some(AtOnce { visits, price, to_know: to_know(&judged.readiness), signed }))
}

/// Shows her last answers, or those that she has given since.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> page::Answer {
    let booking = open(&app, &ctx, &id).await?;
    let confirmed = confirmed(&booking);
    let answers = confirmed.clone().unwrap_or_else(|| booking.answers());
    let sections = booking.sections.iter().enumerate().map(|(at, section)| SectionView {
        title: section.title.clone(),
        href: booking.path(&format!("health/{}", at + 1)),
        answers: section_in_words(section, &answers),
    });
    let page = AnswersPage {
        at_once: match &confirmed {
            Some(answers) => at_once(&app, &ctx, &booking, answers.clone()).await?,
            None => None,
        },
        step: booking.first_question(),
        steps: booking.steps(),
        given_on: booking.last.as_ref().filter(|_| booking.to_confirm()).map(|last| when::day(last.set.given_on)),
        sections: sections.collect(),
        complete: confirmed.is_some(),
        hold: booking.hold_view(),
        ctx,
    };
    Ok(Page::ok(page).into_response())
}

/// Takes her last answers over as today's, goes on with those that she has given since, or begins with the first section.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, fields: Fields) -> page::Answer {
    let mut booking = open(&app, &ctx, &id).await?;
    let answers = confirmed(&booking).filter(|_| fields.get("nothing") == "changed");
    let again = fields.get("nothing") == "check";
    if let Some(answers) = &answers {
        booking.keep_answers(answers)?;
        for section in booking.sections.clone() {
            booking.mark_done(&section.key);
        }
    } else if again {
        booking.mark_all_open();
    }
    booking.save(&app).await?;
    booking.keep(&app).await?;
    if let Some(there) = booking.stays(&app, &fields, "answers").await? {
        return Ok(see_other(&there));
    }
    if let Some(answers) = answers.filter(|_| fields.ticked("at_once"))
        && at_once(&app, &ctx, &booking, answers).await?.is_some()
    {
        return booking.finish(&app, None).await;
    }
    booking.tell_refused(&app, &ctx).await?;
    let first = again || booking.to_confirm();
    Ok(see_other(&if first { booking.path("health/1") } else { booking.next() }))
}
