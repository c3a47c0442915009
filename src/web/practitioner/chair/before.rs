//! The check before starting: the verdict of this moment, what is looked at on the day, hygiene, and the start.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use time::OffsetDateTime;

use super::{Place, found};
use crate::actions::case::Known;
use crate::actions::chair::LookedAt;
use crate::actions::steps as own;
use crate::actions::treating::{self, Beginning, Refused};
use crate::app::App;
use crate::domain::catalogue::Area;
use crate::domain::checklist::ListName;
use crate::domain::growth::CycleSet;
use crate::domain::ids::{ClientId, ProductId};
use crate::domain::mark::Mark;
use crate::domain::steps::Trait;
use crate::domain::verdict::{About, Clears, Start};
use crate::domain::visit::VisitState;
use crate::store::types::sha256_hex;
use crate::store::visits::Visit;
use crate::store::{Connection, steps};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::practitioner::view::{Names, Said};
use crate::web::practitioner::{read, today, words};
use crate::{msg, t};

/// How long a reason for starting may be, in characters.
const REASON_MOST: usize = 1000;
/// Lashes count as lifted before as long as more than this share of them still is. A design choice.
const STILL_LIFTED: f64 = 0.1;

#[derive(Template)]
#[template(path = "practitioner/before.html")]
pub(super) struct BeforePage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    before: Before,
}

/// What stands before the start.
pub(super) struct Before {
    place: Place,
    said: Said,
    mark: Mark,
    on_the_day: Vec<String>,
    hygiene: Vec<String>,
    traits: Vec<(&'static str, &'static str)>,
    /// Those that the records tell of.
    known_traits: Vec<Trait>,
    /// Products that have times of their own.
    products: Vec<(ProductId, String)>,
}

impl Before {
    pub(super) async fn load(
        c: &mut Connection,
        ctx: &Ctx,
        visit: &Visit,
        client: &ClientId,
        now: OffsetDateTime,
    ) -> Result<Self, Fault> {
        let studio = ctx.studio()?;
        let names = Names::load(c, studio).await?;
        let place = Place::load(c, &names, visit, client).await?;
        let known = Known::of_visit(c, studio, visit).await?;
        let readiness = known.readiness(today::judged_at(visit, now), now);
        let said = Said::of(&readiness, &names, &known.in_force.questionnaire, known.answers());
        let today = studio.zone.date_at(now);
        let carries = |days: i64| {
            let days = u16::try_from(days).map_or(f64::MAX, f64::from);
            CycleSet::default().still_lifted(days).get() > STILL_LIFTED
        };
        let lifts = known.past().iter().filter(|one| one.kind.lifts_lashes());
        let lifted = lifts.map(|one| (today - one.on).whole_days()).min().is_some_and(carries);
        let products = steps::products_with_plan(c, &visit.service).await?.into_iter();
        let traits = if place.kind.area() == Area::Lash { &Trait::ALL[..] } else { &[] };
        Ok(Self {
            said,
            mark: readiness.mark(),
            on_the_day: own::list(c, ListName::OnTheDay).await?,
            hygiene: own::list(c, ListName::Hygiene).await?,
            traits: traits.iter().map(|&one| (one.as_str(), words::lashes(one))).collect(),
            known_traits: if lifted && !traits.is_empty() { vec![Trait::Lifted] } else { Vec::new() },
            products: products.map(|id| (id.clone(), names.product(&id).to_owned())).collect(),
            place,
        })
    }

    /// The lists as a short text: a tick counts only for the words that it stood beside.
    fn stamp(&self) -> String {
        let all = [self.on_the_day.join("\n"), self.hygiene.join("\n")].join("\n\n");
        sha256_hex(&all).chars().take(16).collect()
    }

    pub(super) fn page(self, ctx: Ctx, fields: Option<Fields>, errors: Errors) -> BeforePage {
        let known = self.known_traits.iter().map(|one| ("many-traits".to_owned(), one.as_str().to_owned()));
        let fields = fields.unwrap_or_else(|| Fields::of(known.collect()));
        BeforePage { ctx, fields, errors, before: self }
    }

    fn read(&self, fields: &Fields, errors: &mut Errors) -> Option<LookedAt> {
        const EACH: &str = msg("Look at every point and tick it. Without it nothing starts.");
        if fields.get("stamp") != self.stamp() {
            errors.add("many-day", t("The list has changed in the meantime. Look at it again."));
            return None;
        }
        let ticked = |name: &str, list: &[String]| {
            let has = |n: usize| fields.many(name).any(|value| value == n.to_string());
            list.iter().enumerate().filter(|(n, _)| has(*n)).map(|(_, words)| words.clone()).collect::<Vec<_>>()
        };
        let (on_the_day, hygiene) = (ticked("many-day", &self.on_the_day), ticked("many-hygiene", &self.hygiene));
        for (name, ticked, all) in
            [("many-day", &on_the_day, &self.on_the_day), ("many-hygiene", &hygiene, &self.hygiene)]
        {
            if ticked.len() < all.len() {
                errors.add(name, t(EACH));
            }
        }
        let traits = Trait::ALL.into_iter().filter(|one| fields.many("many-traits").any(|word| word == one.as_str()));
        let product = self.products.iter().find(|(id, _)| id.as_str() == fields.get("product"));
        Some(LookedAt { on_the_day, hygiene, traits: traits.collect(), product: product.map(|(id, _)| id.clone()) })
    }
}

impl BeforePage {
    fn ticked(&self, name: &str, value: &str) -> bool {
        self.fields.many(name).any(|one| one == value)
    }
}

/// Other reasons than those that were read: a tick that they were read counts no longer.
fn changed(ctx: Ctx, before: Before, fields: Fields) -> Response {
    let mut errors = Errors::new();
    errors.add("main", t(words::CHANGED));
    Page::conflict(before.page(ctx, Some(fields.without("notes_read")), errors)).into_response()
}

/// The treatment begins.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut c = app.db.read().await?;
    let (visit, client) = match found(&mut c, &team, &id).await {
        // What stands against it is told where it was pressed.
        Err(Fault::SeeOther(_)) => return Err(Fault::Conflict),
        other => other?,
    };
    if visit.state != VisitState::Arrived {
        return Err(Fault::Conflict);
    }
    let before = Before::load(&mut c, &ctx, &visit, &client, app.clock.now()).await?;
    drop(c);
    let shown = Mark::sent(fields.get("shown"));
    if before.said.start == Start::No {
        let mut errors = Errors::new();
        errors.add("main", t("This treatment may not start. No written reason changes that."));
        return Ok(Page::conflict(before.page(ctx, Some(fields), errors)).into_response());
    }
    if shown.holds(&before.mark).is_err() {
        return Ok(changed(ctx, before, fields));
    }
    let mut errors = Errors::new();
    let reason = read::text(&mut errors, &fields, "reason", REASON_MOST, false);
    let looked_at = before.read(&fields, &mut errors);
    let (Some(reason), Some(looked_at), true) = (reason, looked_at, errors.is_empty()) else {
        return Ok(Page::refused(before.page(ctx, Some(fields), errors)).into_response());
    };
    let said = Beginning { shown, reason, notes_read: fields.ticked("notes_read"), looked_at: Some(looked_at) };
    let refusal = match treating::start(&app, ctx.studio()?, &team.0, &visit.id, said).await {
        Ok(()) => return Ok(see_other(&format!("/desk/visits/{}/chair", visit.id))),
        Err(refusal) => refusal,
    };
    let (field, said) = match &refusal {
        Refused::WantsReason => ("reason", t("Write down why you start against the verdict.").to_owned()),
        Refused::WantsNotes => ("notes_read", t("Read the notes above and tick that you did.").to_owned()),
        Refused::MayNotStart => ("main", t("This treatment may not start. No written reason changes that.").to_owned()),
        Refused::Changed(_) => {
            let mut c = app.db.read().await?;
            let before = Before::load(&mut c, &ctx, &visit, &client, app.clock.now()).await?;
            return Ok(changed(ctx, before, fields));
        }
        _ => match words::stands(&refusal) {
            Some(said) => said,
            None => return Err(refusal.into()),
        },
    };
    let typed = matches!(refusal, Refused::WantsReason | Refused::WantsNotes);
    errors.add(field, said);
    let page = before.page(ctx, Some(fields), errors);
    Ok(if typed { Page::refused(page) } else { Page::conflict(page) }.into_response())
}
