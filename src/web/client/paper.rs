//! `GET /me/papers/{id}`: what she signed, word for word. Template: `client/paper.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use crate::app::App;
use crate::domain::consent::{ConsentRecord, Drawing};
use crate::store::health;
use crate::web::error::Fault;
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::public::book::review::{Answered, answered};
use crate::when;

#[derive(Template)]
#[template(path = "client/paper.html")]
struct PaperPage {
    ctx: Ctx,
    when: String,
    version: u32,
    hash: String,
    paragraphs: Vec<(String, String)>,
    ticks: Vec<(String, bool)>,
    typed_name: String,
    /// Each stroke as the points of an SVG polyline.
    strokes: Vec<String>,
    withdrawn: Option<String>,
    refused: bool,
    answers: Answered,
}

fn polylines(drawing: &Drawing) -> Vec<String> {
    drawing.text().split(';').map(str::to_owned).collect()
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>) -> Answer {
    let zone = ctx.studio()?.zone.clone();
    let mut c = app.db.read().await?;
    let all = health::consents(&mut c, &who.0).await?;
    let paper = all.into_iter().find(|paper| paper.id.as_str() == id).ok_or(Fault::NotFound)?;
    let text = health::consent_text(&mut c, paper.text_version).await?;
    let mut answers = Answered::new();
    if let Some(given) =
        health::answers(&mut c, &who.0).await?.into_iter().find(|given| Some(&given.id) == paper.answers.as_ref())
    {
        let questions = health::questionnaire(&mut c, given.set.questionnaire).await?;
        answers = answered(questions.sections(), &given.set.answers);
    }
    let signed = match &paper.record {
        ConsentRecord::Signed(signed) => Some(signed),
        ConsentRecord::Refused { .. } => None,
    };
    let page = PaperPage {
        when: when::moment(zone.to_civil(paper.given_at)),
        version: paper.text_version,
        hash: text.fingerprint().to_string(),
        paragraphs: text.paragraphs().iter().map(|p| (p.title.clone(), p.text.clone())).collect(),
        ticks: text
            .ticks()
            .iter()
            .map(|t| (t.text.clone(), signed.is_some_and(|s| s.ticks.contains(&t.tick))))
            .collect(),
        typed_name: signed.map(|s| s.name.as_str().to_owned()).unwrap_or_default(),
        strokes: signed.and_then(|s| s.drawing.as_ref()).map(polylines).unwrap_or_default(),
        withdrawn: signed.and_then(|s| s.withdrawn_at).map(|at| when::moment(zone.to_civil(at))),
        refused: signed.is_none(),
        answers,
        ctx,
    };
    Ok(Page::ok(page).into_response())
}
