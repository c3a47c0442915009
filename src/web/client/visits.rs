//! `GET /me`: her visits, and what she signed. Template: `client/visits.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use time::OffsetDateTime;

use crate::actions::case::Known;
use crate::actions::own_visits::Own;
use crate::actions::test_reports;
use crate::app::App;
use crate::domain::ids::{ClientId, VisitId};
use crate::domain::verdict::Verdict;
use crate::domain::visit::VisitState;
use crate::store::studio::Studio;
use crate::store::visits::Visit;
use crate::store::{Connection, catalogue, drafts, health, practitioners, skin_tests, verdicts, visits, wishes};
use crate::t;
use crate::web::error::Fault;
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::public::book::VisitView;
use crate::when;

struct Coming {
    id: VisitId,
    what: String,
    when: String,
    length: String,
    with: String,
    may_change: bool,
    /// Why there is something to sign.
    sign: Option<&'static str>,
    /// An earlier time can be wished for.
    may_wish: bool,
    wished: bool,
    /// Something stands against it.
    needs: bool,
}

#[derive(Template)]
#[template(path = "client/visits.html")]
struct VisitsPage {
    ctx: Ctx,
    coming: Vec<Coming>,
    past: Vec<(String, String, &'static str)>,
    papers: Vec<(String, String)>,
    /// Skin tests that she is asked about: id, when, and what she told so far.
    tests: Vec<(String, String, String)>,
    /// Bookings that she has not finished: where they go on, and the service.
    unfinished: Vec<(String, String)>,
    cancel_hours: i64,
}

fn state_words(state: VisitState) -> &'static str {
    match state {
        VisitState::Held | VisitState::HoldExpired => t("Not booked"),
        VisitState::Booked => t("Booked"),
        VisitState::Arrived | VisitState::InTreatment => t("Under way"),
        VisitState::Done => t("Done"),
        VisitState::CancelledByClient => t("Cancelled by you"),
        VisitState::CancelledByStudio => t("Cancelled by the studio"),
        VisitState::NoShow => t("Missed"),
    }
}

/// A visit of hers in words, with whom included.
pub(in crate::web) async fn view(c: &mut Connection, visit: &Visit) -> Result<(VisitView, String), Fault> {
    let service =
        catalogue::service(c, &visit.service).await?.ok_or_else(|| Fault::internal("a visit without its service"))?;
    let practitioner = practitioners::get(c, &visit.practitioner).await?;
    Ok((VisitView::of(visit, &service), practitioner.map(|p| p.name).unwrap_or_default()))
}

/// One visit of hers that she may look at, or nothing.
pub(in crate::web) async fn own(c: &mut Connection, who: &SignedIn, id: &str) -> Result<Own, Fault> {
    let id = VisitId::parse(id).map_err(|_| Fault::NotFound)?;
    Own::load(c, &who.0, &id).await?.ok_or(Fault::NotFound)
}

/// Skin tests of the last days, those applied together once.
async fn tests(
    c: &mut Connection,
    client: &ClientId,
    studio: &Studio,
    now: OffsetDateTime,
) -> Result<Vec<(String, String, String)>, Fault> {
    let mut found: Vec<(OffsetDateTime, (String, String, String))> = Vec::new();
    for one in skin_tests::of_client(c, client).await? {
        let (test, at) = (&one.test, one.test.applied_at);
        let together = found.iter().any(|(other, _)| (*other - at).abs() <= test_reports::TOGETHER);
        if test.voided.is_some() || now - at > test_reports::LINK_LASTS || together {
            continue;
        }
        let told = one.notes.iter().any(|(_, by)| by == "client");
        let told = if told { t("You told us what you saw.") } else { t("You haven’t told us yet what you see.") };
        found.push((at, (test.id.to_string(), when::moment(studio.zone.to_civil(at)), told.to_owned())));
    }
    Ok(found.into_iter().map(|(_, view)| view).collect())
}

/// Shows them.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn) -> Answer {
    let studio: Studio = ctx.studio()?.clone();
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let (mut coming, mut past) = (Vec::new(), Vec::new());
    for visit in visits::of_client(&mut c, &who.0).await? {
        let (words, with) = view(&mut c, &visit).await?;
        if visit.state.is_over() || visit.ends_at <= now {
            past.push((words.what, words.when, state_words(visit.state)));
        } else {
            let sign = if super::sign::open(&visit) {
                let known = Known::load(&mut c, &studio, Some(&who.0), &visit.service).await?;
                super::sign::why(known.consent_standing())
            } else {
                None
            };
            let own = Own { visit, partners: Vec::new(), test_is_shared: false };
            let may_change = own.may_change(now, &studio);
            let may_wish = own.visit.state == VisitState::Booked && own.visit.starts_at > now;
            let wished = may_wish && wishes::of_visit(&mut c, &own.visit.id).await?.is_some();
            let said = verdicts::of_visit(&mut c, &own.visit.id).await?;
            let needs = said.is_some_and(|said| said.latest.verdict >= Verdict::Ask);
            coming.push(Coming {
                id: own.visit.id,
                what: words.what,
                when: words.when,
                length: words.length,
                with,
                may_change,
                sign,
                may_wish,
                wished,
                needs,
            });
        }
    }
    coming.reverse();
    let papers = health::consents(&mut c, &who.0).await?;
    let papers =
        papers.into_iter().map(|paper| (paper.id.to_string(), when::moment(studio.zone.to_civil(paper.given_at))));
    let tests = tests(&mut c, &who.0, &studio, now).await?;
    let unfinished = drafts::open_of(&mut c, &who.0).await?.into_iter();
    let unfinished = unfinished.map(|(id, service)| (format!("/book/{id}"), service)).collect();
    let page = VisitsPage {
        tests,
        unfinished,
        ctx,
        coming,
        past,
        papers: papers.collect(),
        cancel_hours: studio.cancel_limit_hours,
    };
    Ok(Page::ok(page).into_response())
}
