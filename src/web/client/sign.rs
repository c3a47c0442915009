//! `GET` and `POST /me/visits/{id}/sign`: the consent for a booked visit, when the text, a product or a health answer has
//! changed since she signed, or she took it back. Template: `client/sign.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::visits::{own, view};
use crate::actions::book;
use crate::actions::case::Known;
use crate::actions::consents::{self, Given, NotSigned};
use crate::app::App;
use crate::domain::consent::{ConsentStanding, Subject};
use crate::domain::ids::ClientId;
use crate::domain::visit::VisitState;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, health};
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::SignedIn;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::public::book::VisitView;
use crate::web::public::book::review::{Answered, answered};
use crate::web::signing::{self, ConsentForm, Wanted};
use crate::web::words;
use crate::when;

#[derive(Template)]
#[template(path = "client/sign.html")]
struct SignPage {
    ctx: Ctx,
    visit: VisitView,
    why: &'static str,
    /// When she signed what holds.
    signed: Option<String>,
    /// The text was changed while she read it.
    changed: bool,
    form: ConsentForm,
}

/// Whether a visit can still be signed for.
pub(super) fn open(visit: &Visit) -> bool {
    visit.purpose == Purpose::Treatment && matches!(visit.state, VisitState::Booked | VisitState::Arrived)
}

/// Why she is asked, in her words; nothing when there is nothing to sign.
pub(super) fn why(standing: ConsentStanding) -> Option<&'static str> {
    Some(match standing {
        ConsentStanding::SignedCurrent => return None,
        ConsentStanding::TextChanged => t("The text has changed since you signed."),
        ConsentStanding::AnswersChanged => t("A health answer has changed since you signed."),
        ConsentStanding::ProductsChanged => t("Other products are planned than when you signed."),
        ConsentStanding::OtherService => t("You signed for another service."),
        ConsentStanding::Missing => t("You haven’t signed for this visit yet."),
        ConsentStanding::Refused => t("You chose not to sign. You may change your mind."),
        ConsentStanding::Withdrawn => t("You took your consent back. You may change your mind."),
    })
}

struct Asked {
    visit: Visit,
    view: VisitView,
    standing: ConsentStanding,
    signed: Option<String>,
    subject: Subject,
    /// What she signs for.
    answers: Answered,
    wanted: Wanted,
    text: std::sync::Arc<crate::domain::consent::ConsentText>,
}

impl Asked {
    async fn load(app: &App, ctx: &Ctx, who: &SignedIn, id: &str) -> Result<Self, Fault> {
        let mut c = app.db.read().await?;
        let visit = own(&mut c, who, id).await?.visit;
        if !open(&visit) {
            return Err(Fault::NotFound);
        }
        Self::of(&mut c, app, ctx, &who.0, visit).await
    }

    async fn of(c: &mut Connection, app: &App, ctx: &Ctx, client: &ClientId, visit: Visit) -> Result<Self, Fault> {
        let studio = ctx.studio()?;
        let known = Known::load(c, studio, Some(client), &visit.service).await?;
        let answers = match known.answers() {
            Some(set) => answered(health::questionnaire(c, set.questionnaire).await?.sections(), &set.answers),
            None => Answered::new(),
        };
        Ok(Self {
            view: view(c, &visit).await?.0,
            standing: known.consent_standing(),
            signed: known.signed().map(|signed| when::day(studio.zone.date_at(signed.at))),
            subject: known.subject(),
            answers,
            text: known.in_force.consent.clone(),
            wanted: Wanted::of(&known.unsigned().readiness(visit.starts_at, app.clock.now())),
            visit,
        })
    }

    fn page(self, ctx: Ctx, fields: Fields, errors: Errors, changed: bool) -> SignPage {
        SignPage {
            ctx,
            visit: self.view,
            why: why(self.standing).unwrap_or_default(),
            signed: self.signed,
            changed,
            form: ConsentForm::new(&self.text, self.answers, self.wanted, fields, errors),
        }
    }
}

/// Shows the text.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>) -> Answer {
    let asked = Asked::load(&app, &ctx, &who, &id).await?;
    Ok(Page::ok(asked.page(ctx, Fields::default(), Errors::new(), false)).into_response())
}

/// Signs, or refuses.
pub async fn post(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>, fields: Fields) -> Answer {
    let asked = Asked::load(&app, &ctx, &who, &id).await?;
    // Ticks to other words, and a refusal of them, say nothing of these.
    if !signing::shows(&fields, &asked.text) {
        return Ok(Page::conflict(asked.page(ctx, Fields::default(), Errors::new(), true)).into_response());
    }
    let given = if fields.ticked("refuse") {
        app.limits.count(What::Refusal, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
        Given::Refused
    } else {
        match signing::read(&fields, asked.wanted, book::consent_id(&app), asked.subject.clone()) {
            Ok(offer) => Given::Signed(Box::new(offer)),
            Err(errors) => return Ok(Page::refused(asked.page(ctx, fields, errors, false)).into_response()),
        }
    };
    match consents::give(&app, ctx.studio()?, &asked.visit, &who.0, given).await {
        Ok(()) => Ok(see_other("/me")),
        Err(NotSigned::Changed) => {
            let asked = Asked::load(&app, &ctx, &who, &id).await?;
            Ok(Page::conflict(asked.page(ctx, Fields::default(), Errors::new(), true)).into_response())
        }
        Err(NotSigned::Tick(missing)) => {
            let mut errors = Errors::new();
            errors.add(missing.0.as_str(), words::CHOOSE);
            Ok(Page::refused(asked.page(ctx, fields, errors, false)).into_response())
        }
        Err(NotSigned::Store(error)) => Err(error.into()),
    }
}
