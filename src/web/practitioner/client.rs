//! `GET /desk/clients/{id}`: a client's whole record. Template: `practitioner/client.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::reaction_view::level_within;
use super::record_view::RecordView;
use super::view::{AnswersView, ConsentView, Names, TestView};
use super::words;
use crate::actions::case::judged;
use crate::actions::{health as looks, treating};
use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::role::Role;
use crate::domain::skin_test::NOT_DIAGNOSTIC;
use crate::store::clients::Client;
use crate::store::studio::Studio;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, clients, health, letters, reactions, takeovers, treatments, visits};
use crate::web::client::agreements::AgreementView;
use crate::web::error::Fault;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::when;
use crate::{t, tf};

#[derive(Template)]
#[template(path = "practitioner/client.html")]
struct ClientPage {
    ctx: Ctx,
    client: Client,
    born: String,
    visits: Vec<VisitRow>,
    /// Visits from before the studio came here: day, service, note.
    before: Vec<(String, String, String)>,
    tests: Vec<TestView>,
    answers: Vec<AnswersView>,
    consents: Vec<ConsentView>,
    agreements: Vec<AgreementView>,
    records: Vec<RecordView>,
    letters: usize,
    /// Id and words of each report.
    reactions: Vec<(String, String)>,
    /// Letters that the client added and nobody has read.
    unread: usize,
    not_diagnostic: &'static str,
    /// Whether she who looks owns the studio.
    owner: bool,
}

struct VisitRow {
    href: String,
    when: String,
    what: String,
    with: String,
    state: &'static str,
}

impl VisitRow {
    fn of(visit: &Visit, names: &Names) -> Self {
        let service = names.service(&visit.service);
        Self {
            href: format!("/desk/visits/{}", visit.id),
            when: when::moment(visit.civil),
            what: match visit.purpose {
                Purpose::Treatment => service.to_owned(),
                Purpose::SkinTest => words::skin_test_for(service),
            },
            with: names.practitioner(&visit.practitioner).to_owned(),
            state: words::state(visit.state),
        }
    }
}

async fn load(app: &App, c: &mut Connection, ctx: Ctx, studio: &Studio, client: Client) -> Stored<ClientPage> {
    let names = Names::load(c, studio).await?;
    let (id, now) = (client.id.clone(), app.clock.now());
    let mut answers = Vec::new();
    for given in health::answers(c, &id).await? {
        // Whoever may open this page treats or treated her, or owns the studio.
        answers.push(AnswersView::of(c, &given, &names, true).await?);
    }
    let tests = judged(c, studio, &id, now).await?;
    let consents = health::consents(c, &id).await?;
    let letters = letters::of_client(c, &id).await?;
    let reactions = reactions::of_client(c, &id).await?;
    let reaction = |one: &reactions::Reaction| {
        let state = if one.state.is_open() { t("open") } else { t("settled") };
        let words = format!("{}: {}, {state}", names.moment(one.reported_at), level_within(one.level));
        (one.id.to_string(), words)
    };
    Ok(ClientPage {
        born: tf("{day}, {age} years old")
            .with("day", when::day(client.born.date()))
            .with("age", client.born.age_on(studio.zone.date_at(now)))
            .to_string(),
        visits: visits::of_client(c, &id).await?.iter().map(|visit| VisitRow::of(visit, &names)).collect(),
        before: takeovers::visits_of(c, &id)
            .await?
            .into_iter()
            .map(|past| past.visit)
            .map(|past| (when::day(past.on), names.service(&past.service).to_owned(), past.note))
            .collect(),
        tests: tests.iter().map(|test| TestView::of(&test.stored, &names, now)).collect(),
        answers,
        agreements: health::agreements(c, &id)
            .await?
            .into_iter()
            .map(|one| AgreementView::of(one, &studio.zone))
            .collect(),
        consents: consents.iter().map(|consent| ConsentView::of(consent, &names)).collect(),
        records: treatments::of_client(c, &id).await?.iter().map(|one| RecordView::of(one, &names)).collect(),
        unread: letters.iter().filter(|one| one.read.is_none() && one.set_aside.is_none()).count(),
        letters: letters.len(),
        reactions: reactions.iter().map(reaction).collect(),
        not_diagnostic: NOT_DIAGNOSTIC,
        owner: ctx.seen.member.as_ref().is_some_and(|member| member.role == Role::Owner),
        ctx,
        client,
    })
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let id = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    let studio = ctx.studio()?.clone();
    let mut c = app.db.read().await?;
    let client = clients::get(&mut c, &id).await?.ok_or(Fault::NotFound)?;
    if !treating::may_see(&mut c, &team.0, &id).await? {
        return Err(Fault::NotFound);
    }
    let page = load(&app, &mut c, ctx, &studio, client).await?;
    drop(c);
    looks::looked(&app, &team.0, "client.seen", Some(&id), "").await?;
    Ok(Page::ok(page).into_response())
}
