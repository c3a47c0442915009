//! `GET` and `POST /me/agreements`: what she agreed to, each for itself, and taking it back.
//! Template: `client/agreements.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use serde::Deserialize;

use axum::extract::Query;

use crate::actions::consents;
use crate::app::App;
use crate::domain::consent::{Agreement, Tick};
use crate::domain::zone::Zone;
use crate::store::health;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::when;
use crate::{t, tf};

/// An agreement with where it stands.
pub(in crate::web) struct AgreementView {
    pub(in crate::web) tick: &'static str,
    pub(in crate::web) title: &'static str,
    pub(in crate::web) stands: String,
    /// It can be taken back.
    pub(in crate::web) given: bool,
}

impl AgreementView {
    pub(in crate::web) fn of((tick, agreement): (Tick, Agreement), zone: &Zone) -> Self {
        let moment = |at| when::moment(zone.to_civil(at));
        let (stands, given) = match agreement {
            Agreement::Given { at } => (tf("Agreed on {when}").with("when", moment(at)).to_string(), true),
            Agreement::Withdrawn { at } => (tf("Taken back on {when}").with("when", moment(at)).to_string(), false),
            Agreement::NotGiven => (t("Not agreed").to_owned(), false),
        };
        Self { tick: tick.as_str(), title: title(tick), stands, given }
    }
}

fn title(tick: Tick) -> &'static str {
    match tick {
        Tick::Treatment => t("Being treated"),
        Tick::HealthData => t("Keeping health answers, skin tests and records"),
        Tick::RecordPhotos => t("Photos for the record"),
        Tick::PublicityPhotos => t("Photos shown to others"),
        Tick::Marketing => t("News and offers by mail"),
    }
}

/// What taking it back means.
fn means(tick: Tick) -> &'static str {
    match tick {
        Tick::Treatment => t(
            "We won’t treat you until you sign again. Visits that are booked stay booked until you cancel them. That we \
                 keep your health answers and records is an agreement of its own, and stays.",
        ),
        Tick::HealthData => t(
            "We won’t treat you until you sign again. We add nothing more to your record, and take no more letters; what the \
             law or the studio’s insurer asks for stays as long as they ask for it.",
        ),
        Tick::RecordPhotos => t("We take no more photos for your record."),
        Tick::PublicityPhotos => t("We stop showing photos of you to others."),
        Tick::Marketing => t("You get no more news or offers. Mails about your visits still come."),
    }
}

#[derive(Template)]
#[template(path = "client/agreements.html")]
struct AgreementsPage {
    ctx: Ctx,
    agreements: Vec<AgreementView>,
    /// One that a visit needs is taken back.
    ended: bool,
    /// The one to take back: its word, its name, what that means.
    asked: Option<(&'static str, &'static str, &'static str)>,
}

/// Which one to take back.
#[derive(Deserialize)]
pub struct Ask {
    back: Option<String>,
}

/// Shows them, or asks whether she means it.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn, Query(ask): Query<Ask>) -> Answer {
    let zone = ctx.studio()?.zone.clone();
    let all = health::agreements(&mut *app.db.read().await?, &who.0).await?;
    let given = |tick: &Tick| all.iter().any(|(one, how)| one == tick && matches!(how, Agreement::Given { .. }));
    let asked = ask.back.as_deref().and_then(Tick::parse).filter(given);
    let asked = asked.map(|tick| (tick.as_str(), title(tick), means(tick)));
    let ended = all.iter().any(|(tick, how)| tick.is_needed() && matches!(how, Agreement::Withdrawn { .. }));
    let agreements = all.into_iter().map(|one| AgreementView::of(one, &zone)).collect();
    Ok(Page::ok(AgreementsPage { ctx, agreements, ended, asked }).into_response())
}

/// Takes one back.
pub async fn post(State(app): State<App>, who: SignedIn, fields: Fields) -> Answer {
    let tick = Tick::parse(fields.get("tick")).ok_or(Fault::BadRequest)?;
    let all = health::agreements(&mut *app.db.read().await?, &who.0).await?;
    // Pressed twice, it is taken back once.
    if all.into_iter().any(|(one, how)| one == tick && matches!(how, Agreement::Given { .. })) {
        consents::withdraw(&app, &who.0, tick).await?;
    }
    Ok(see_other("/me/agreements"))
}
