//! `GET` and `POST /book/{id}/answers`: a returning client confirms her last answers, or goes on to change them.
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
    given_on: String,
    sections: Vec<SectionView>,
    complete: bool,
    /// With these answers it is booked at once, since an earlier signature holds.
    at_once: Option<AtOnce>,
    hold: Option<HoldView>,
}

/// What stands for an answer that isn’t there.
pub(in crate::web) const NOT_ANSWERED: &str = msg("Not answered");

/// An answer in words.
pub(in crate::web) fn in_words(question: &Question, answer: Option<&Answer>) -> String {
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

/// Whether confirming these answers can book at once.
async fn at_once(app: &App, ctx: &Ctx, booking: &Booking, answers: Answers) -> Result<Option<AtOnce>, Fault> {
    let judged = booking.judge(app, answers).await?;
    let Some(signed) = booking.held(&judged) else { return Ok(None) };
    if booking.not_yet(ctx, &judged.readiness).is_some() {
        return Ok(None);
    }
    let (visits, price) = (booking.visit_views(), booking.price());
    Ok(Some(AtOnce { visits, price, to_know: to_know(&judged.readiness), signed }))
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
    let confirmed = confirmed(&booking);
    let page = AnswersPage {
        at_once: match &confirmed {
            Some(answers) => at_once(&app, &ctx, &booking, answers.clone()).await?,
            None => None,
        },
        step: booking.first_question(),
        steps: booking.steps(),
        given_on: when::day(last.set.given_on),
        sections: sections.collect(),
        complete: confirmed.is_some(),
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
    if let Some(there) = booking.stays(&app, &fields, "answers").await? {
        return Ok(see_other(&there));
    }
    if fields.ticked("at_once")
        && same
        && let Some(answers) = answers.clone()
        && at_once(&app, &ctx, &booking, answers).await?.is_some()
    {
        return booking.finish(&app, None).await;
    }
    let next = if same && answers.is_some() { booking.next() } else { booking.path("health/1") };
    Ok(see_other(&next))
}
