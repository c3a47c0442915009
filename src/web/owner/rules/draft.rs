//! `GET` and `POST /owner/rules/draft`: the next version while it is edited. Template: `owner/rules/draft.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::{SectionView, sections, words};
use crate::actions::rules as change;
use crate::app::App;
use crate::domain::screening::Draft;
use crate::store::rules::{self, StoredDraft};
use crate::store::{Connection, Stored};
use crate::tf;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::owner::Done;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::when;

/// Where the draft is.
pub(super) const PATH: &str = "/owner/rules/draft";

#[derive(Template)]
#[template(path = "owner/rules/draft.html")]
struct DraftPage {
    ctx: Ctx,
    draft: Option<DraftView>,
}

struct DraftView {
    from: u32,
    changed: String,
    sections: Vec<SectionView>,
    /// Words, and the question to look at.
    misfits: Vec<(String, String)>,
    rules: usize,
    questions: usize,
    /// Questions that are no longer there.
    retired: Vec<String>,
}

/// The draft beside what is in force.
pub(super) async fn load(c: &mut Connection) -> Stored<Option<(StoredDraft, Draft)>> {
    let Some(draft) = rules::draft(c).await? else { return Ok(None) };
    Ok(Some((draft, change::in_force(c).await?)))
}

/// The draft's page in place of one that needs a draft.
pub(super) async fn show(app: &App, ctx: Ctx) -> Answer {
    let zone = ctx.studio()?.zone.clone();
    let loaded = load(&mut *app.db.read().await?).await?;
    let draft = loaded.map(|(stored, before)| {
        let (set, gone) = (&stored.set, &before.questionnaire);
        let retired = gone.questions().filter(|question| set.questionnaire.question(&question.key).is_none());
        DraftView {
            from: stored.from,
            changed: tf("{when} by {who}")
                .with("when", when::moment(zone.to_civil(stored.changed_at)))
                .with("who", &stored.changed_by)
                .to_string(),
            misfits: set.misfits().iter().map(|one| words::misfit(one, &set.questionnaire, &set.rules)).collect(),
            rules: set.changed_rules(&before).len(),
            questions: set.changed_questions(&before).len(),
            retired: retired.map(|question| question.text.clone()).collect(),
            sections: sections(set, Some(&before)),
        }
    });
    Ok(Page::ok(DraftPage { ctx, draft }).into_response())
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    show(&app, ctx.saying(said)).await
}

/// Starts it, or throws it away.
pub async fn post(State(app): State<App>, team: Team, fields: Fields) -> Answer {
    match fields.trimmed("step") {
        "start" => {
            change::start(&app, &team.actor()).await?;
            Ok(see_other(PATH))
        }
        "discard" => {
            change::discard(&app, &team.actor()).await?;
            Ok(see_other("/owner/rules"))
        }
        _ => Err(Fault::BadRequest),
    }
}
