//! `GET /me/visits/{id}/needs`: what a visit of hers still needs, and what she can do. Template: `client/needs.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::visits::{own, view};
use crate::actions::case::Known;
use crate::app::App;
use crate::domain::ids::VisitId;
use crate::domain::verdict::{Clears, Earliest, Reason, Verdict};
use crate::store::visits::Purpose;
use crate::web::error::Fault;
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page};
use crate::when;
use crate::{t, tf};

/// Something that stands against a visit, as the client reads it.
struct Need {
    say: String,
    does: Vec<Step>,
}

/// What she can do, and where.
struct Step {
    words: String,
    link: Option<(String, &'static str)>,
}

#[derive(Template)]
#[template(path = "client/needs.html")]
struct NeedsPage {
    ctx: Ctx,
    id: String,
    what: String,
    when: String,
    needs: Vec<Need>,
    notes: Vec<String>,
    may_change: bool,
}

fn does(clears: Clears, from: Option<Earliest>) -> String {
    match (clears, from) {
        (Clears::Waiting, Some(from)) => {
            tf("It is possible from {day}. You can move your visit.").with("day", when::day(from.day())).to_string()
        }
        (Clears::Waiting, None) => t("It takes a little time. You can move your visit.").to_owned(),
        (Clears::Talk, _) => t("Please call or write to us, so that we can talk about it.").to_owned(),
        (Clears::Answer, _) => t("Please answer it at your visit, or call us.").to_owned(),
        (Clears::Letter, _) => {
            t("A short letter from your doctor helps. Please bring it, or send it before.").to_owned()
        }
        (Clears::SkinTest, _) => t("Please come for a skin test first, or ask us for a time.").to_owned(),
        (Clears::Reading, _) => t("Please tell us how the skin test looks.").to_owned(),
        (Clears::OtherProduct, _) => t("Please call or write to us: another product may do.").to_owned(),
        (Clears::Signature, _) => t("Please read and sign before you come.").to_owned(),
        (Clears::Guardian, _) => t("Please bring a parent or guardian who signs with you.").to_owned(),
    }
}

fn link(clears: Clears, visit: &VisitId) -> Option<(String, &'static str)> {
    match clears {
        Clears::Letter => Some(("/me/letters".to_owned(), t("Send the letter"))),
        Clears::Signature => Some((format!("/me/visits/{visit}/sign"), t("Read and sign"))),
        Clears::Reading => Some(("/me".to_owned(), t("Your skin tests"))),
        Clears::Waiting
        | Clears::Talk
        | Clears::Answer
        | Clears::SkinTest
        | Clears::OtherProduct
        | Clears::Guardian => None,
    }
}

impl Need {
    fn of(reason: &Reason, visit: &VisitId) -> Self {
        let step = |clears: &Clears| Step { words: does(*clears, reason.from), link: link(*clears, visit) };
        let does = reason.clears.iter().map(step).collect::<Vec<_>>();
        let none = does.is_empty().then(|| Step {
            words: t("Please call or write to us, so that we can find what is possible.").to_owned(),
            link: None,
        });
        Self { say: reason.say.clone(), does: does.into_iter().chain(none).collect() }
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>) -> Answer {
    let (studio, now) = (ctx.studio()?.clone(), app.clock.now());
    let mut c = app.db.read().await?;
    let own = own(&mut c, &who, &id).await?;
    if own.visit.purpose != Purpose::Treatment || own.visit.state.is_over() {
        return Err(Fault::NotFound);
    }
    let readiness = Known::of_visit(&mut c, &studio, &own.visit).await?.readiness(own.visit.starts_at.max(now), now);
    let (shown, _) = view(&mut c, &own.visit).await?;
    let (needs, notes): (Vec<&Reason>, Vec<&Reason>) =
        readiness.reasons.iter().partition(|reason| reason.verdict >= Verdict::Ask);
    Ok(Page::ok(NeedsPage {
        id: own.visit.id.to_string(),
        what: shown.what.clone(),
        when: shown.when.clone(),
        needs: needs.into_iter().map(|reason| Need::of(reason, &own.visit.id)).collect(),
        notes: notes.into_iter().map(|reason| reason.say.clone()).collect(),
        may_change: own.may_change(now, &studio),
        ctx,
    })
    .into_response())
}
